"""Photos over the API: sent as they are, served as pictures and nothing else, removed by a lead."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from api.photos.readying import MOST_BYTES


def photo(colour: str = "green", kind: str = "JPEG") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (500, 200), colour).save(out, kind)
    return out.getvalue()


@pytest.fixture
def number(client) -> int:
    said = {"by": "tobin", "seen": "mould"}
    return client.post("/api/v1/batches/MG-07/observations", json=said).json()["number"]


def address(number: int) -> str:
    return f"/api/v1/observations/{number}/photo"


def test_a_photo_is_sent_read_known_again_and_removed(client, tern_hollow, number):
    to, lead = address(number), tern_hollow.parts.site.lead
    assert client.get(to).status_code == 404
    sent = client.post(f"{to}?by=tobin", content=photo(), headers={"content-type": "image/jpeg"})
    assert sent.status_code == 201, sent.text
    told = sent.json()
    assert (told["observation"], told["width"], told["height"]) == (number, 500, 200)
    again = client.post(f"{to}?by=tobin", content=photo())
    assert (again.status_code, again.json()) == (200, told)
    other = client.post(f"{to}?by=tobin", content=photo("red"))
    assert other.status_code == 409
    assert other.headers["content-type"] == "application/problem+json"
    assert [one["where"] for one in other.json()["errors"]] == ["en", "es"]

    large, small = client.get(to), client.get(f"{to}?size=small")
    assert told["size"] == len(large.content)
    assert Image.open(io.BytesIO(small.content)).size == (320, 128)
    for one in (large, small):
        assert one.headers["content-type"] == "image/jpeg"
        assert one.headers["x-content-type-options"] == "nosniff"
        assert one.headers["cache-control"] == "private, max-age=3600"
        assert one.headers["content-disposition"].startswith("inline;")
        known = client.get(one.url, headers={"if-none-match": one.headers["etag"]})
        assert (known.status_code, known.content) == (304, b"")
    assert client.get(f"{to}?size=huge").status_code == 422
    (entered,) = client.get("/api/v1/batches/MG-07/observations").json()
    assert (entered["number"], entered["photo"]) == (number, True)

    refused = client.delete(to, params={"by": "tobin"})
    assert refused.status_code == 403
    assert client.get(to).content == large.content
    for _ in range(2):
        gone = client.delete(to, params={"by": lead, "note": "a face in it"})
        assert gone.status_code == 204
    assert client.get(to).status_code == 404
    assert not client.get("/api/v1/batches/MG-07/observations").json()[0]["photo"]
    trail = client.get("/api/v1/batches/MG-07/history").json()["trail"]
    assert [(one["done"], one["by"]) for one in trail if one["number"] == number] == [
        ("observed", "tobin"),
        ("photo_added", "tobin"),
        ("photo_removed", lead),
    ]


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"", 422),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", 415),
        (photo()[:-200], 422),
        (b"\xff" * (MOST_BYTES + 1), 413),
        (photo("red", "PNG")[:40], 415),
    ],
    ids=["empty", "svg", "cut off", "too large", "head of a png"],
)
def test_what_is_no_photo_is_refused_whatever_it_calls_itself(client, number, sent, status):
    headers = {"content-type": "image/jpeg"}
    answer = client.post(f"{address(number)}?by=tobin", content=sent, headers=headers)
    assert answer.status_code == status
    said = {one["where"]: one["detail"] for one in answer.json()["errors"]}
    assert said["en"] == answer.json()["detail"]
    assert said["es"] != said["en"]
    assert client.get(address(number)).status_code == 404


def test_who_is_nobody_and_what_is_not_there_is_told(client, number):
    assert client.post(f"{address(number)}?by=ghost", content=photo()).status_code == 422
    assert client.post(address(number), content=photo()).status_code == 422
    assert client.post(f"{address(number + 9)}?by=tobin", content=photo()).status_code == 404
    assert client.post(f"{address(0)}?by=tobin", content=photo()).status_code == 422
