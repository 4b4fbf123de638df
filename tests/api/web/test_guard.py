"""No other site can read our pages under its name or send our forms from its own."""

from __future__ import annotations

from dataclasses import replace

import httpx
import pytest

from api.settings import Settings


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "", "evil.example:80"])
def test_foreign_name_is_refused(looking, host):
    assert looking.get("/", headers={"host": host}).status_code == 421
    answer = looking.get("/api/v1/batches", headers={"host": host})
    assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("host", ["localhost", "localhost:8484", "127.0.0.1:1", "[::1]:8484"])
def test_loopback_names_are_ours(looking, host):
    assert looking.get("/", headers={"host": host}).status_code == 200


def test_name_of_base_url_is_ours(tern_hollow, serving):
    settings = Settings(base_url="https://watch.nursery.example")
    with serving(replace(tern_hollow.parts, settings=settings)) as address:
        ours = {"host": "watch.nursery.example", "origin": "https://watch.nursery.example"}
        assert httpx.post(f"{address}/choose", headers=ours).status_code == 303
        proxied = {"origin": "https://watch.nursery.example"}
        assert httpx.post(f"{address}/choose", headers=proxied).status_code == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "cross-site", "origin": "http://127.0.0.1:8484"},
    ],
)
@pytest.mark.parametrize(
    "path", ["/acknowledge", "/choose", "/api/v1/alarms/1/acknowledge", "/api/v1/readings/a/b"]
)
def test_form_of_another_site_is_refused(client, path, headers):
    form = {"alarm": "1", "by": "wren"}
    assert client.post(path, data=form, headers=headers).status_code == 403
    alarm = client.get("/api/v1/alarms/1").json()
    assert alarm["acknowledged_by"] is None


def test_own_page_and_plain_clients_may_post(client):
    ours = {"sec-fetch-site": "same-origin"}
    assert client.post("/choose", headers=ours).status_code == 303
    here = str(client.base_url).rstrip("/")
    assert client.post("/choose", headers={"origin": here}).status_code == 303
    assert client.post("/choose").status_code == 303


@pytest.mark.parametrize(
    "path", ["/", "/nothing", "/static/page.js", "/api/v1/watch", "/api/v1/no", "/healthz"]
)
def test_every_answer_carries_the_security_headers(looking, path):
    headers = looking.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


def test_whoever_came_by_https_is_told_to_stay_with_it(serving, tern_hollow, client):
    assert "strict-transport-security" not in client.get("/").headers
    settings = tern_hollow.parts.settings.model_copy(
        update={"base_url": "https://watch.tern-hollow.invalid"}
    )
    with serving(replace(tern_hollow.parts, settings=settings)) as address:
        for path in ("/", "/nothing", "/api/v1/no", "/static/style.css"):
            headers = httpx.get(f"{address}{path}").headers
            assert headers["strict-transport-security"] == "max-age=31536000"
        refused = httpx.get(f"{address}/", headers={"host": "elsewhere.invalid"})
        assert refused.status_code == 421
        assert "strict-transport-security" in refused.headers


def test_a_body_too_large_is_refused_where_no_accounts_are_kept_too(client):
    told = client.post("/api/v1/batches/MG-07/observations", content=b" " * (17 << 20))
    assert told.status_code == 413
    assert told.headers["content-type"] == "application/problem+json"
    assert client.get("/").status_code == 200
