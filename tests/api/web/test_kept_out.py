"""A file with a fault is kept out while all runs, and the page of sensors and the API say so."""

from __future__ import annotations

import httpx

from rules.model.fault import Fault

FAULT = Fault("site.toml", 7, "site.title", "7 is not text", "Put it between double quotes.")


def test_the_page_of_sensors_and_the_api_say_which_fault_keeps_the_files_out(tern_hollow, client):
    book = tern_hollow.parts.book
    watch = client.get("/api/v1/watch").json()
    assert watch["book"] == {
        "revision": book.now.revision,
        "observations": 0,
        "entries": 0,
        "kept_out": [],
    }
    assert "last good state" not in client.get("/sensors").text
    book.trouble = (FAULT,)
    (said,) = client.get("/api/v1/watch").json()["book"]["kept_out"]
    assert said == {
        "file": "site.toml",
        "line": 7,
        "field": "site.title",
        "problem": "7 is not text",
        "fix": "Put it between double quotes.",
    }
    page = client.get("/sensors").text
    assert "Mend the files" in page
    assert str(FAULT) in page
    spanish = client.get("/sensors", headers={"accept-language": "es"}).text
    assert "Corrija los archivos" in spanish


def test_a_batch_that_is_new_in_the_book_has_its_page_before_the_watch_has_judged_it(
    tern_hollow, client: httpx.Client
):
    from api.book import in_force_of

    parts = tern_hollow.parts
    site = parts.site
    first = site.batch[0]
    more = site.model_copy(
        update={"batch": (*site.batch, first.model_copy(update={"code": "NEW-1"}))}
    )
    assert client.get("/batches/NEW-1").status_code == 404
    parts.book.put(in_force_of(more, parts.plans))
    for path in ("/", "/batches/NEW-1", "/sensors", "/works", "/api/v1/batches/NEW-1"):
        assert client.get(path).status_code == 200, path
    parts.book.put(in_force_of(site.model_copy(update={"batch": site.batch[1:]}), parts.plans))
    for path in ("/", "/sensors", "/alarms", "/api/v1/batches"):
        assert client.get(path).status_code == 200, path
    assert client.get(f"/batches/{first.code}").status_code == 404
