"""A photo at the bench as a plain form, small on the page of the batch, removed by the lead."""

from __future__ import annotations

import io
import re
from html import unescape

import httpx
import pytest
from PIL import Image

from api.photos.readying import MOST_BYTES
from api.web.words.photos import ENGLISH, SPANISH


def text_of(page: httpx.Response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page.text)).split())


def photo(colour: str = "green") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (500, 200), colour).save(out, "JPEG")
    return out.getvalue()


def post(client, number, sent: bytes, *, by="tobin", name="leaf.jpg", kind="image/jpeg"):
    return client.post(
        "/bench/MG-07/photo",
        data={"number": str(number), "by": by},
        files={"photo": (name, sent, kind)},
    )


@pytest.fixture
def number(client) -> int:
    client.post("/bench/MG-07", data={"what": "mould", "by": "tobin"})
    page = client.get("/bench/MG-07").text
    assert ENGLISH.hint in unescape(page)
    form = re.search(r'<form class="photo".*?</form>', page, re.DOTALL)[0]
    assert 'enctype="multipart/form-data"' in form
    assert 'capture="environment"' in form
    return int(re.search(r'name="number" value="(\d+)"', form)[1])


def test_a_photo_goes_with_what_was_just_written_and_the_lead_removes_it(
    client, tern_hollow, number
):
    sent = post(client, number, photo())
    assert (sent.status_code, sent.headers["location"]) == (303, "/bench/MG-07")
    bench = client.get("/bench/MG-07").text
    assert 'class="photo" method' not in bench
    for page in (bench, client.get("/batches/MG-07").text):
        link, small, alt = re.search(
            r'<a class="photo" href="([^"]+)"><img src="([^"]+)" alt="([^"]+)"', page
        ).groups()
        assert unescape(alt).startswith("Photo: mould")
        assert Image.open(io.BytesIO(client.get(link).content)).size == (500, 200)
        assert Image.open(io.BytesIO(client.get(unescape(small)).content)).size == (320, 128)
    form = f"/batches/MG-07/photos/{number}/remove"
    assert f'action="{form}"' in client.get("/batches/MG-07").text
    refused = client.post(form, data={"by": "tobin"})
    assert refused.status_code == 403
    assert "only a lead removes a photo" in text_of(refused)
    assert client.get(link).status_code == 200
    gone = client.post(form, data={"by": tern_hollow.parts.site.lead, "why": "blurred"})
    assert gone.status_code == 303
    assert client.get(link).status_code == 404
    assert "<img" not in client.get("/batches/MG-07").text
    assert "mould" in text_of(client.get("/batches/MG-07"))


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (b"<html><script>alert(1)</script>", "Send a JPEG, PNG or WebP picture: this is none."),
        (photo()[:-100], "Send the photo once more, or take it again"),
        (b"", "Choose a photo first"),
        (b"\xff" * (MOST_BYTES + 1), "a photo may have at most 8 MB"),
        (b"\xff" * (MOST_BYTES + 100_000), "a photo may have at most 8 MB"),
    ],
    ids=["html", "cut off", "empty", "a byte too large", "far too large"],
)
def test_a_bad_photo_is_told_on_a_page_and_what_was_written_stays(client, number, sent, said):
    answer = post(client, number, sent)
    assert 400 <= answer.status_code < 500
    assert said in text_of(answer)
    assert "mould" in text_of(client.get("/bench/MG-07"))
    assert 'class="photo" method' in client.get("/bench/MG-07").text


def test_a_form_that_makes_no_sense_is_refused(client, number):
    assert post(client, number, photo(), by="ghost").status_code == 422
    assert post(client, number + 9, photo()).status_code == 404
    assert post(client, "one", photo()).status_code == 422
    assert post(client, 10**30, photo()).status_code == 422
    twice = [("photo", ("a.jpg", photo(), "image/jpeg"))] * 2
    data = {"number": str(number), "by": "tobin"}
    assert client.post("/bench/MG-07/photo", data=data, files=twice).status_code == 400
    elsewhere = client.post("/bench/XX-99/photo", data=data, files=twice[:1])
    assert elsewhere.status_code == 404
    lead = {"by": "wren"}
    assert client.post(f"/batches/XX-99/photos/{number}/remove", data=lead).status_code == 404
    assert client.post(f"/batches/MG-07/photos/{number + 9}/remove", data=lead).status_code == 404


def test_both_languages_say_everything_about_photos():
    for name in ENGLISH.__slots__:
        english, spanish = getattr(ENGLISH, name), getattr(SPANISH, name)
        assert english != spanish, name
        assert re.findall(r"{\w+}", english) == re.findall(r"{\w+}", spanish), name
