"""Who may replay, and that a large form passes the door without being held in memory."""

from __future__ import annotations

import pytest

from api.accounts.roles import Role
from api.web.door import MOST_BODY_BYTES

FIELDS = [("look", (None, "true"))]
FILE = b"time,Temp (\xc2\xb0C)\n2026-11-14 14:00,25.0\n"


@pytest.mark.parametrize(
    ("role", "status"), [(Role.LOOK, 403), (Role.TEND, 403), (Role.TECHNICIAN, 202)]
)
def test_technician_and_lead_replay_and_everybody_looks(house, role, status):
    house.invite("odell", role)
    one = house.signed_in("odell")
    sent = [*FIELDS, ("file", ("bag-07.csv", FILE))]
    assert one.post("/api/v1/replays", files=sent).status_code == status
    page = one.get("/replay")
    assert page.status_code == 200
    assert ('action="/replay' in page.text) == (status == 202)
    shown = house.signed_in("wren").get("/replay").text
    assert ('name="press"' in shown) == (status == 202)


def test_a_form_that_is_larger_than_any_other_is_taken(house):
    rows = b"".join(
        b"2026-%02d-%02d %02d:%02d,25.0\n" % (month, day, hour, minute)
        for month in range(1, 11)
        for day in range(1, 29)
        for hour in range(24)
        for minute in range(60)
    )
    files = [("file", (f"bag-{n:02d}.csv", FILE + rows)) for n in (7, 9)]
    assert sum(len(one[1][1]) for one in files) > MOST_BODY_BYTES
    told = house.signed_in("wren").post("/api/v1/replays", files=[*FIELDS, *files])
    assert told.status_code == 202, told.text
    assert [one["name"] for one in told.json()["files"]] == ["bag-07.csv", "bag-09.csv"]
