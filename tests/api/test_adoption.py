"""A device is adopted by appending to the site file, and only if the whole would check."""

from __future__ import annotations

import json
import shutil
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.adoption import Adoption, CannotAdopt, append_to, block_of, suggested, takeable
from api.cli.main import main
from api.site_files import read_nursery, read_site
from collector.gate import Gate, Heard, Message, Unclaimed
from collector.guess import candidate_of
from collector.stores.sqlite_file import SqliteFile
from collector.waiting import Waiting, WaitingList

GOOD = Path(__file__).parents[1] / "faulty" / "good"
NOW_MS = 1_772_000_000_000


@pytest.fixture
def site(tmp_path):
    shutil.copytree(GOOD, tmp_path / "site")
    return tmp_path / "site" / "site.toml"


@pytest.fixture
def adopt(site, tmp_path, capsys):
    """Run the command over a waiting list of what is given as topic: payload."""

    def run(heard: dict[str, object], *words: str) -> tuple[int, str, str]:
        file = SqliteFile(tmp_path / "readings.sqlite")
        WaitingList(file).add(
            [
                Unclaimed(topic, "", p if isinstance(p, bytes) else json.dumps(p).encode(), NOW_MS)
                for topic, p in heard.items()
            ]
        )
        file.close()
        code = main(["adopt", *words, "--data", str(tmp_path), "--site", str(site)])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def candidate(topic: str, payload: object, device: str = ""):
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return candidate_of(Waiting(topic, device, raw, len(raw), NOW_MS, NOW_MS, 1, None))


SENDERS = {
    "json": ("new/b9", {"ts": NOW_MS, "air": {"temp": 21.5, "rh": 90}, "lux": 900}, ""),
    "tenths": ("new/b9", {"temperature": 217}, ""),
    "senml": ("packs", [{"bn": "d:b9:", "n": "t", "u": "Cel", "v": 21.5}], "d:b9:"),
    "plain": ("new/b9/temperature", b"21.5", ""),
    "plain-alone": ("temperature", b"21.5", ""),
    "lines": ("lines", f"m,device=b9 temp=21.5 {NOW_MS}".encode(), "device=b9"),
}


@pytest.mark.parametrize("kind", sorted(SENDERS))
def test_what_is_adopted_is_read_from_the_very_next_message(kind, site):
    topic, payload, device = SENDERS[kind]
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    before, _ = read_site(site)
    one = candidate(topic, payload, device)
    append_to(site, block_of(suggested(one, before)), plans=site.parent / "plans")
    after, faults = read_site(site)
    assert after is not None, faults
    assert len(after.sensor) == len(before.sensor) + 1
    heard = Heard()
    Gate(after.sensor).judge(Message(topic, raw, NOW_MS), heard)
    assert heard.rejects == []
    assert heard.unclaimed == []
    expected = {round(found.value * found.meant.scale, 9) for found in one.found}
    assert {reading.value for reading in heard.readings} == expected
    assert len(heard.readings) == len(takeable(one))


def test_every_byte_that_was_there_is_kept(site):
    old = b"\xef\xbb\xbf" + site.read_bytes().rstrip(b"\n").replace(b"\n", b"\r\n") + b"  # end"
    site.write_bytes(old)
    before, _ = read_site(site)
    append_to(
        site,
        block_of(suggested(candidate("new/b9", {"temp": 20}), before)),
        plans=site.parent / "plans",
    )
    new = site.read_bytes()
    assert new.startswith(old + b"\r\n\r\n[[sensor]]\r\n")
    assert b"\n" not in new.replace(b"\r\n", b"")
    assert read_site(site)[0].sensor[-1].topic == "new/b9"
    assert [path.name for path in site.parent.iterdir() if path.suffix == ".new"] == []


def test_what_someone_else_writes_meanwhile_is_never_lost(site, monkeypatch):
    before, _ = read_site(site)
    block = block_of(suggested(candidate("new/b9", {"temp": 20}), before))

    def read_while_someone_edits(*args, **more):
        site.write_text(site.read_text() + "# a note of Mei's\n")
        return read_nursery(*args, **more)

    monkeypatch.setattr("api.adoption.read_nursery", read_while_someone_edits)
    with pytest.raises(CannotAdopt, match="changed by someone else"):
        append_to(site, block, plans=site.parent / "plans")
    assert site.read_text().endswith("# a note of Mei's\n")


def test_the_mode_and_a_link_to_the_file_are_kept(site, tmp_path):
    site.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(site)
    before, _ = read_site(site)
    block = block_of(suggested(candidate("new/b9", {"temp": 20}), before))
    append_to(link, block, plans=site.parent / "plans")
    assert link.is_symlink()
    assert stat.S_IMODE(site.stat().st_mode) == 0o640
    assert site.read_text().endswith(block)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda text: text.replace('unit = "degC"', 'unit = "F"'), "is not a unit"),
        (lambda text: text + '\ntitle = "no end\n', "TOML"),
        (lambda text: text + '\n[[sensor]]\nid = "b9"\n', "is missing"),
    ],
)
def test_a_file_that_would_not_check_is_left_alone_and_the_fault_told(site, spoil, said):
    before, _ = read_site(site)
    block = block_of(suggested(candidate("new/b9", {"temp": 20}), before))
    site.write_text(spoil(site.read_text()))
    old = site.read_bytes()
    with pytest.raises(CannotAdopt, match=said) as caught:
        append_to(site, block, plans=site.parent / "plans")
    assert site.read_bytes() == old
    assert ".new" not in str(caught.value)
    assert sorted(path.name for path in site.parent.iterdir()) == ["plans", "site.toml"]


def test_a_name_or_a_topic_in_use_is_refused(site):
    one = candidate("valley/bag-07", {"temp": 20})
    for adoption, said in (
        (Adoption("new", "new", one), "already the topic"),
        (Adoption("bag-07", "x", candidate("new/b9", {"temp": 20})), "already the id"),
        (Adoption("no good", "x", candidate("new/b9", {"temp": 20})), "cannot stand here"),
    ):
        with pytest.raises(CannotAdopt, match=said):
            append_to(site, block_of(adoption), plans=site.parent / "plans")


def test_a_missing_file_is_said(tmp_path):
    with pytest.raises(CannotAdopt, match="--site"):
        append_to(tmp_path / "none.toml", "x", plans=tmp_path)


@given(
    topic=st.text(
        st.characters(codec="utf-8", exclude_characters="+#\x00"), min_size=1, max_size=60
    ),
    name=st.text(st.characters(codec="utf-8", exclude_characters="."), min_size=1, max_size=20),
)
def test_no_topic_or_path_whatever_breaks_out_of_the_block(topic, name, tmp_path_factory):
    before, _ = read_site(GOOD / "site.toml")
    one = candidate(topic, {f"{name} temp": 20})
    if not takeable(one):
        return
    folder = tmp_path_factory.mktemp("site")
    shutil.copytree(GOOD, folder, dirs_exist_ok=True)
    block = block_of(suggested(one, before))
    try:
        append_to(folder / "site.toml", block, plans=folder / "plans")
    except CannotAdopt:
        assert topic.startswith("$")
        return
    after, _ = read_site(folder / "site.toml")
    assert after.sensor[-1].topic == topic
    assert after.sensor[-1].channel[0].path == f"{name} temp"
    assert len(after.sensor) == len(before.sensor) + 1


def test_the_command_lists_who_waits_and_adopts_one(adopt, site):
    heard = {"new/b9": {"temp": 21.5, "rh": 90, "x": 1}, "new/b8": b"online"}
    code, out, _ = adopt(heard)
    assert code == 1
    assert "temp = 21.5: air_temperature in degC; its name says so" in out
    assert "x = 1: left out; nothing in its name says what it is" in out
    assert "new/b8: not recognised" in out
    old = site.read_bytes()
    code, out, _ = adopt({}, "new/b9", "--dry-run")
    assert (code, site.read_bytes()) == (0, old)
    code, out, _ = adopt({}, "new/b9", "--bench", "b1", "--title", "By the door")
    assert code == 0
    assert "takes it up within seconds" in out
    sensor = read_site(site)[0].sensor[-1]
    assert (sensor.id, sensor.title, sensor.position[0].bench) == ("b9", "By the door", "b1")
    assert [channel.id for channel in sensor.channel] == ["air", "humidity"]
    code, _, err = adopt({}, "new/b9")
    assert (code, "nobody waits" in err) == (2, True)


def test_a_sensor_of_the_same_make_is_taken_for_its_like(adopt, site):
    heard = {"valley/bag-09": {"t": NOW_MS // 1000, "temperature": 20, "humidity": 90, "z": 5}}
    code, out, _ = adopt(heard, "valley/bag-09", "--cover-of", "MG-07")
    assert code == 0
    assert 'like = "bag-07"' in out
    sensor = read_site(site)[0].sensor[-1]
    assert [channel.id for channel in sensor.channel] == ["air", "humidity"]
    assert sensor.position[0].cover_of == "MG-07"
    assert adopt({}, "--json")[1].count("topic") == 0


def test_a_guess_is_corrected_by_hand(adopt, site):
    heard = {"new/b9": {"a": 0.3, "b": 5, "temp": 20}}
    code, _, _ = adopt(
        heard, "new/b9", "--as", "a=substrate_moisture:fraction", "--only", "a", "--id", "pot"
    )
    assert code == 0
    sensor = read_site(site)[0].sensor[-1]
    assert [(c.quantity.value, c.unit, c.path) for c in sensor.channel] == [
        ("substrate_moisture", "fraction", "a")
    ]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nowhere",), "nobody waits"),
        (("new/b8",), "none of the payloads"),
        (("new/b7",), "--as PATH"),
        (("new/b9", "--as", "q=battery:V"), "no number at"),
        (("new/b9", "--as", "temp=warmth:V"), "not known"),
        (("new/b9", "--as", "temp=battery:degC"), "no unit of battery"),
        (("new/b9", "--only", "q"), "no number at"),
        (("new/b9", "--like", "nobody"), "there is no sensor"),
        (("new/b9", "--cover-of", "XX-01"), "there is no batch"),
        (("new/b9", "--id", "bag-07"), "already the id"),
    ],
)
def test_what_cannot_be_adopted_is_said_and_nothing_written(adopt, site, words, said):
    heard = {"new/b9": {"temp": 21.5}, "new/b8": b"online", "new/b7": {"x": 1}}
    old = site.read_bytes()
    code, _, err = adopt(heard, *words)
    assert code == 2
    assert said in err
    assert site.read_bytes() == old
