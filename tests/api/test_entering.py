"""What people enter: checked with the whole site, kept with its past, never overwritten unseen."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from api.book import form_revision
from api.bookkeeping import Bookkeeping
from api.entering import (
    ANY_REVISION,
    Change,
    Refused,
    Seeing,
    TooLate,
    UnknownThing,
    change,
    enter_observation,
    take_back,
)
from api.records.entries import ChangedMeanwhile, Kind, known
from api.records.session import open_records, reading
from api.records.tables import instant
from api.trail import Difference, Done, trail_of

DEMO = Path(__file__).parents[2] / "demo_data"
NOW = instant(1_794_668_400_000)


class Office:
    """A book over the demo's files, and what is entered into it."""

    def __init__(self, records_at) -> None:
        self.records = open_records(records_at)
        self.keeping = Bookkeeping(DEMO / "site.toml", DEMO / "plans", self.records)

    @property
    def now(self):
        return self.keeping.book.now

    def change(self, kind, key, body, revision=ANY_REVISION, **more):
        given = {"by": "tobin", "at": NOW, **more}
        kept = change(self.records, self.keeping.book, [Change(kind, key, body, revision)], **given)
        self.keeping.refresh()
        return kept[0]

    def batch(self, code="MG-07"):
        return self.now.written(Kind.BATCH, code)

    def trail(self, kind, key):
        with reading(self.records) as db:
            return trail_of(db, kind, key)

    def kept(self):
        with reading(self.records) as db:
            return known(db)


@pytest.fixture
def office(records_at):
    made = Office(records_at)
    yield made
    made.records.dispose()


def test_a_batch_that_is_entered_is_in_force_with_its_past(office):
    new = {**office.batch(), "code": "MG-77", "count": 12}
    kept = office.change(Kind.BATCH, "MG-77", new, "none", note="from the tray by the door")
    assert office.batch("MG-77") == new
    assert kept.revision == form_revision(new)
    assert "MG-77" in {one.code for one in office.now.watchlist.batches}
    changed = office.change(Kind.BATCH, "MG-77", {**new, "count": 11}, kept.revision, by="wren")
    assert office.batch("MG-77")["count"] == 11
    first, second = office.trail(Kind.BATCH, "MG-77")
    assert (first.done, first.by, first.note) == (
        Done.ENTERED,
        "tobin",
        "from the tray by the door",
    )
    assert (second.done, second.by, second.differences) == (
        Done.CHANGED,
        "wren",
        (Difference("count", 12, 11),),
    )
    assert (changed.number, office.kept().entries) == (second.number, second.number)
    office.change(Kind.BATCH, "MG-77", None)
    assert office.batch("MG-77") is None
    assert office.trail(Kind.BATCH, "MG-77")[-1].done is Done.TAKEN_AWAY
    back = office.change(Kind.BATCH, "MG-77", new, "none")
    assert back.number is not None
    assert len(office.trail(Kind.BATCH, "MG-77")) == 4


def test_an_entry_wins_over_the_file_and_the_trail_says_what_the_file_had(office):
    before = office.batch()
    seen = next(one for one in office.now.site.batch if one.code == "MG-07").observation
    office.change(Kind.BATCH, "MG-07", {**before, "count": before["count"] - 1})
    assert office.batch()["count"] == before["count"] - 1
    in_file, changed = office.trail(Kind.BATCH, "MG-07")
    assert (in_file.done, in_file.by) == (Done.IN_FILE, "")
    assert changed.differences == (Difference("count", before["count"], before["count"] - 1),)
    batch = next(one for one in office.now.site.batch if one.code == "MG-07")
    assert batch.observation == seen, "the file's observations stay with the batch"


def test_a_probe_is_moved_by_an_entry_of_its_sensor(office):
    name = next(one.id for one in office.now.site.sensor if one.position)
    form = office.now.written(Kind.SENSOR, name)
    *_, last = form["position"]
    moved_at = NOW.isoformat()
    bench = office.now.site.bench[0].id
    moved = [*form["position"][:-1], {**last, "until": moved_at}]
    moved.append({"since": moved_at, "bench": bench})
    office.change(Kind.SENSOR, name, {**form, "position": moved, "serial": "A-113"})
    sensor = next(one for one in office.now.site.sensor if one.id == name)
    assert (sensor.position[-1].bench, sensor.serial) == (bench, "A-113")
    overlapping = [*form["position"], {"since": moved_at, "bench": bench}]
    with pytest.raises(Refused, match="speaks for another place at the same time"):
        office.change(Kind.SENSOR, name, {**form, "position": overlapping})


@pytest.mark.parametrize(
    ("wrong", "field", "said"),
    [
        ({"bench": "b-none"}, "batch[MG-77].bench", 'there is no bench "b-none"'),
        ({"plan": "none"}, "batch[MG-77].plan", 'there is no plan "none"'),
        ({"count": 0}, "batch[MG-77].count", "is 0"),
        ({"scion": "leafi"}, "batch[MG-77].scion", '"leafi" is not a word for this'),
        ({"grafted_on": "03/11/2026"}, "batch[MG-77].grafted_on", '"03/11/2026" is not a date'),
        ({"colour": "red"}, "batch[MG-77].colour", "is not a field that belongs here"),
        ({"observation": []}, "batch[MG-77].observation", "is not part of a batch here"),
        ({"code": "MG-78"}, "batch[MG-77].code", 'says "MG-78", and this is about "MG-77"'),
        ({"stage": []}, "batch[MG-77].stage", "is empty"),
    ],
)
def test_what_would_make_the_site_faulty_is_refused_and_nothing_is_kept(office, wrong, field, said):
    new = {**office.batch(), "code": "MG-77"} | wrong
    with pytest.raises(Refused) as trouble:
        office.change(Kind.BATCH, "MG-77", new, "none")
    (fault,) = [one for one in trouble.value.faults if one.field == field]
    assert fault.problem == said
    assert fault.fix
    assert office.kept().entries == 0
    assert office.batch("MG-77") is None


def test_of_several_changes_one_fault_keeps_all_out(office):
    new = office.batch()
    good = Change(Kind.BATCH, "MG-77", {**new, "code": "MG-77"}, "none")
    bad = Change(Kind.BATCH, "MG-78", {**new, "code": "MG-78", "bench": "nowhere"}, "none")
    with pytest.raises(Refused, match=r"batch\[MG-78\]\.bench"):
        change(office.records, office.keeping.book, [good, bad], by="tobin", at=NOW)
    assert office.kept().entries == 0
    dry = change(office.records, office.keeping.book, [good], by="tobin", at=NOW, dry=True)
    assert [one.form["code"] for one in dry] == ["MG-77"]
    assert office.kept().entries == 0


def test_what_others_depend_on_is_not_taken_away(office):
    with pytest.raises(Refused, match='there is no person "wren"'):
        office.change(Kind.PERSON, "wren", None)
    with pytest.raises(UnknownThing):
        office.change(Kind.PERSON, "nobody", None)


def test_two_who_change_the_same_thing_do_not_overwrite_each_other(office):
    form = office.batch()
    seen = form_revision(form)
    office.change(Kind.BATCH, "MG-07", {**form, "count": 5}, seen)
    with pytest.raises(ChangedMeanwhile, match="was changed"):
        office.change(Kind.BATCH, "MG-07", {**form, "count": 6}, seen)
    with pytest.raises(ChangedMeanwhile, match="is there already"):
        office.change(Kind.BATCH, "MG-07", form, "none")
    with pytest.raises(ChangedMeanwhile, match="is not there"):
        office.change(Kind.BATCH, "MG-79", {**form, "code": "MG-79"}, seen)
    assert office.batch()["count"] == 5


def test_the_same_entered_again_is_no_change(office):
    assert office.change(Kind.BATCH, "MG-07", office.batch()).number is None
    assert office.kept().entries == 0


def test_nobody_enters_anything_in_a_name_that_is_not_known(office):
    with pytest.raises(Refused, match='by: nobody has the id "ghost"'):
        office.change(Kind.BATCH, "MG-07", {**office.batch(), "count": 5}, by="ghost")
    with pytest.raises(Refused, match="ghost"):
        enter_observation(
            office.records, office.now, Seeing("MG-07", {"seen": "watered"}, "ghost"), at=NOW
        )


def observed(office, **fields):
    seeing = Seeing("MG-07", {"seen": "watered"} | fields, "tobin", "phone-1")
    return enter_observation(office.records, office.now, seeing, at=NOW)


def test_an_observation_sent_again_is_kept_once_and_can_be_taken_back(office):
    count = len(next(b for b in office.now.site.batch if b.code == "MG-07").observation)
    number, new = observed(office)
    assert (observed(office), new) == ((number, False), True)
    office.keeping.refresh()
    in_force = next(b for b in office.now.site.batch if b.code == "MG-07").observation
    assert len(in_force) == count + 1
    later = NOW + timedelta(minutes=15)
    take_back(office.records, office.now, number, by="wren", at=later, note="wrong bag")
    take_back(office.records, office.now, number, by="wren", at=later + timedelta(days=1))
    office.keeping.refresh()
    in_force = next(b for b in office.now.site.batch if b.code == "MG-07").observation
    assert len(in_force) == count
    lines = office.trail(Kind.BATCH, "MG-07")
    assert [(one.done, one.number, one.by) for one in lines] == [
        (Done.OBSERVED, number, "tobin"),
        (Done.TAKEN_BACK, number, "wren"),
    ]
    assert lines[1].note == "wrong bag"


def test_what_was_entered_a_while_ago_is_not_taken_back(office):
    number, _ = observed(office)
    with pytest.raises(TooLate, match="over 15 minutes ago"):
        take_back(
            office.records,
            office.now,
            number,
            by="tobin",
            at=NOW + timedelta(minutes=15, seconds=1),
        )
    with pytest.raises(UnknownThing):
        take_back(office.records, office.now, number + 1, by="tobin", at=NOW)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"seen": "danced"}, "seen"),
        ({"share": 0.5}, "share"),
        ({"seen": "checked"}, "check"),
        ({"at": NOW + timedelta(minutes=6)}, "at"),
        ({"seen": "cover_opened", "share": 2.0}, "share"),
    ],
)
def test_an_observation_that_says_nothing_sensible_is_refused(office, fields, field):
    with pytest.raises(Refused) as trouble:
        observed(office, **fields)
    assert [one.field for one in trouble.value.faults] == [field]
    assert office.kept().observations == 0


def test_an_observation_of_a_batch_that_is_not_there_is_refused(office):
    with pytest.raises(UnknownThing):
        enter_observation(
            office.records, office.now, Seeing("MG-00", {"seen": "watered"}, "tobin"), at=NOW
        )
