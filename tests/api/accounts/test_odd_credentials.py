"""Whatever stands in a cookie, a token or a link: refused as a stranger's, and nothing falls."""

from __future__ import annotations

import numpy as np
import pytest

from api.accounts.roles import Role
from api.web.identity import SESSION_COOKIE
from collector.tokens import DeviceTokens

TRIES = 25


def torn(text: str, rng: np.random.Generator) -> str:
    """Return a text of the same kind with something changed, cut or put in."""
    letters = [chr(one) for one in rng.integers(33, 127, 6)]
    at = int(rng.integers(len(text)))
    match rng.integers(4):
        case 0:
            return text[:at] + letters[0] + text[at + 1 :]
        case 1:
            return text[:at]
        case 2:
            return text[:at] + "".join(letters) + text[at:]
        case _:
            return text * int(rng.integers(2, 40))


def odd(good: str, rng: np.random.Generator) -> list[str]:
    made = [torn(good, rng) for _ in range(TRIES)]
    return [one for one in (*made, "", "null", "%00", "..", "a" * 4000) if one != good]


@pytest.mark.parametrize("path", ["/", "/api/v1/watch", "/account"])
def test_no_torn_cookie_opens_anything(house, path):
    rng = np.random.default_rng(3)
    good = house.signed_in("wren").cookies[SESSION_COOKIE]
    stranger = house.program(None)
    for cookie in odd(good, rng):
        sent = cookie.replace(";", "").replace('"', "")
        if sent == good:
            continue
        answer = stranger.get(path, headers={"cookie": f"{SESSION_COOKIE}={sent}"})
        assert answer.status_code in (303, 401), sent
    assert stranger.get(path, headers={"cookie": f"{SESSION_COOKIE}={good}"}).status_code == 200


def test_no_torn_token_opens_anything_nor_pushes(house):
    house.invite("tobin", Role.LOOK)
    # From the first token on, nobody pushes without one.
    DeviceTokens(house.parts.rejects.file).make("gate", sensor=None, at_ms=0)
    rng = np.random.default_rng(4)
    stranger = house.program(None)
    for token in odd("gvp_" + "k" * 43, rng):
        sent = {"authorization": f"Bearer {token}".strip()}
        assert stranger.get("/api/v1/watch", headers=sent).status_code == 401, token
        pushed = stranger.post("/api/v1/readings/x", content=b"1", headers=sent)
        assert pushed.status_code in (401, 403), token
    for path in ("/answer/", "/answer/all/", "/invited/"):
        for token in odd("12.34.tobin.19a.c2lnbmF0dXJl", rng)[:8]:
            written = "".join(one if one.isalnum() else f"%{ord(one):02x}" for one in token)
            answer = stranger.get(f"{path}{written or 'x'}")
            assert answer.status_code in (303, 400, 403, 404, 410), (path, token)
