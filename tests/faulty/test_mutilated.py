"""Whatever is done to a good file, check answers with faults and never with a traceback."""

from __future__ import annotations

from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.site_files import read_nursery, read_plan

GOOD = Path(__file__).parent / "good"
SITE = (GOOD / "site.toml").read_bytes()
PLAN = (GOOD / "plans" / "leafy-bag.toml").read_bytes()
FRAGMENTS = [
    b"[", b"]", b"[[", b"]]", b'"', b"'", b"'''", b"=", b".", b"\n", b"#", b"\\", b"{", b"}", b"-",
    b"nan", b"inf", b"true", b"1e999", b"9" * 5000, b"[" * 3000, b"\0", b"\xff", b"\xef\xbb\xbf",
    b'[""]\n', b"[sensor.channel.x]\n", b"[[batch]]\n", b"id", b"id = 1\n", b"0001-01-01T00:00:00Z",
    b"9999-12-31T23:59:59-12:00", "é".encode(), "\u202e".encode(),
]  # fmt: skip
cuts = st.tuples(st.floats(0, 1), st.integers(0, 60), st.sampled_from([b"", *FRAGMENTS]))


def mutilated(good: bytes, slashes: list[tuple[float, int, bytes]]) -> bytes:
    for share, length, put_in in slashes:
        at = int(share * len(good))
        good = good[:at] + put_in + good[at + length :]
    return good


def assert_told(text: bytes, path: Path, faults) -> None:
    lines = text.count(b"\n") + 1
    for fault in faults:
        assert fault.file
        assert fault.field
        assert "\n" not in str(fault)
        assert 1 <= fault.line <= lines or Path(fault.file) != path
        assert str(fault).endswith((".", "?"))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(slashes=st.lists(cuts, min_size=1, max_size=4))
def test_a_mutilated_site_is_told_in_plain_words(slashes, tmp_path):
    path = tmp_path / "site.toml"
    text = mutilated(SITE, slashes)
    path.write_bytes(text)
    nursery = read_nursery(path, GOOD / "plans")
    assert (nursery.site is None) == bool(nursery.faults)
    assert_told(text, path, nursery.faults)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(slashes=st.lists(cuts, min_size=1, max_size=4))
def test_a_mutilated_plan_is_told_in_plain_words(slashes, tmp_path):
    path = tmp_path / "plan.toml"
    text = mutilated(PLAN, slashes)
    path.write_bytes(text)
    plan, faults = read_plan(path)
    assert (plan is None) == bool(faults)
    assert_told(text, path, faults)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.binary(max_size=400))
def test_noise_is_told_in_plain_words(text, tmp_path):
    path = tmp_path / "site.toml"
    path.write_bytes(text)
    nursery = read_nursery(path, GOOD / "plans")
    assert nursery.site is None
    assert nursery.faults
    assert_told(text, path, nursery.faults)
