"""The picture of an alarm over HTTP, at both of its addresses."""

from __future__ import annotations

import io

from PIL import Image


def test_a_picture_can_be_fetched_by_page_and_by_api(looking):
    number = looking.get("/api/v1/alarms").json()[0]["id"]
    by_api = looking.get(f"/api/v1/alarms/{number}/picture")
    assert by_api.headers["content-type"] == "image/png"
    assert Image.open(io.BytesIO(by_api.content)).size[0] == 720
    assert looking.get(f"/alarms/{number}/picture.png").content == by_api.content
    spanish = looking.get(f"/api/v1/alarms/{number}/picture?language=es&unit=degF")
    assert spanish.content != by_api.content


def test_no_alarm_no_picture(looking):
    answer = looking.get("/api/v1/alarms/9999/picture")
    assert answer.status_code == 404
    assert answer.json()["detail"] == "There is no alarm 9999."
    assert looking.get("/api/v1/alarms/1/picture?language=xx").status_code == 422
