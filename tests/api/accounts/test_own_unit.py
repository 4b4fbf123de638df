"""Who is signed in reads temperatures in their own unit, a shared device in that chosen on it."""

from __future__ import annotations

from api.accounts.roles import Role


def units_in(page: str) -> set[str]:
    said = page.split('<div class="choices">')[0]
    return {unit for unit in ("°C", "°F") if unit in said}


def reads_fahrenheit(house, person: str) -> None:
    lead = house.signed_in("wren")
    told = lead.get(f"/api/v1/written/person/{person}")
    body = {"form": {**told.json()["form"], "temperature_unit": "degF"}}
    headers = {"if-match": told.headers["etag"]}
    answer = lead.put(f"/api/v1/written/person/{person}", json=body, headers=headers)
    assert answer.status_code == 200, answer.text


def test_own_unit_counts_until_one_is_chosen_and_a_shared_device_has_none_of_its_own(house):
    reads_fahrenheit(house, "tobin")
    house.invite("tobin", Role.TEND)
    house.invite("hut", Role.TEND, ("tobin",))
    tobin, hut = house.signed_in("tobin"), house.signed_in("hut")
    assert units_in(tobin.get("/sensors").text) == {"°F"}
    assert units_in(hut.get("/sensors").text) == {"°C"}
    for one, unit, shown in ((tobin, "degC", "°C"), (hut, "degF", "°F")):
        assert one.post("/choose", data={"unit": unit}).status_code == 303
        assert units_in(one.get("/sensors").text) == {shown}
