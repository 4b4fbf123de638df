"""A plan is changed by a new version that is checked, kept for good, and counts from then on."""

from __future__ import annotations

import shutil
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest

from api.bookkeeping import Bookkeeping, FilesFaulty, compiled_up_to
from api.entering import ANY_REVISION, Change, Refused, UnknownThing, change
from api.plan_versions import (
    keep_version,
    newest_version,
    next_minute,
    plan_revision,
    text_of,
    versions_kept,
    versions_of,
)
from api.records.entries import ChangedMeanwhile, Kind, history, known
from api.records.session import open_records, reading
from api.records.tables import instant
from rules.model.plan import plan_in_force

DEMO = Path(__file__).parents[2] / "demo_data"
NOW = instant(1_794_668_412_000)
PLAN = "leafy-bag"


class Office:
    """A book over a copy of the demo's files."""

    def __init__(self, folder: Path, records_at) -> None:
        self.folder = folder
        self.records = open_records(records_at)
        self.keeping = Bookkeeping(folder / "site.toml", folder / "plans", self.records)

    @property
    def now(self):
        return self.keeping.book.now

    @property
    def newest(self):
        return newest_version(self.now.plans[PLAN])

    @property
    def text(self):
        return text_of(self.now, self.newest)

    def keep(self, text, **more):
        given = {
            "revision": plan_revision(self.newest), "by": "wren", "note": "hot week", "at": NOW
        } | more  # fmt: skip
        draft = keep_version(self.records, self.keeping.book, PLAN, text=text, **given)
        self.keeping.refresh()
        return draft


@contextmanager
def office_in(folder: Path, records_at):
    shutil.copy(DEMO / "site.toml", folder / "site.toml")
    shutil.copytree(DEMO / "plans", folder / "plans")
    made = Office(folder, records_at)
    yield made
    made.records.dispose()


@pytest.fixture
def office(tmp_path):
    with office_in(tmp_path, tmp_path / "records.db") as made:
        yield made


@pytest.fixture
def office_anywhere(tmp_path, records_at):
    """An office whose records are in a file, and one whose records PostgreSQL keeps."""
    with office_in(tmp_path, records_at) as made:
        yield made


def drier(text: str, was="bound = 80.0", now="bound = 84.0") -> str:
    assert was in text
    return text.replace(was, now, 1)


def bound_of(plan, name="air-dry-danger"):
    return next(one.bound for one in plan.stage["healing"].limit if one.id == name)


def test_a_new_version_is_in_force_from_the_next_minute_and_not_before(office):
    office.keep(drier(office.text))
    first, second = office.now.plans[PLAN]
    assert (first.version, second.version) == (1, 2)
    assert second.in_force_from == next_minute(NOW) == NOW + timedelta(seconds=48)
    assert (bound_of(first), bound_of(second)) == (80.0, 84.0)
    versions = office.now.plans[PLAN]
    assert plan_in_force(versions, NOW).version == 1
    assert plan_in_force(versions, NOW + timedelta(seconds=48)).version == 2


def test_comments_and_order_of_the_text_are_kept(office):
    typed = drier(office.text) + "\n# asked for by the night hand\n"
    office.keep(typed)
    kept = office.text
    assert kept.endswith("# asked for by the night hand\n")
    assert "# Healing: bag tied" in kept
    assert [line for line in typed.splitlines() if line not in kept.splitlines()] == ["version = 1"]


def test_who_wrote_a_version_when_and_why_stays_known(office_anywhere):
    office = office_anywhere
    office.keep(drier(office.text))
    office.keep(drier(office.text, "bound = 84.0", "bound = 83.0"), by="tobin", note="too early",
                at=NOW + timedelta(minutes=3))  # fmt: skip
    kept = versions_kept(office.records, PLAN)
    assert [(one.version, one.by, one.note) for one in kept.values()] == [
        (2, "wren", "hot week"), (3, "tobin", "too early")
    ]  # fmt: skip
    assert kept[3].at == NOW + timedelta(minutes=3)


def test_a_version_once_kept_is_never_changed(office):
    office.keep(drier(office.text))
    second = office.text
    office.keep(drier(second, "bound = 84.0", "bound = 83.0"), at=NOW + timedelta(minutes=3))
    by_number = {one.version: one for one in office.now.plans[PLAN]}
    assert text_of(office.now, by_number[2]) == second
    with reading(office.records) as db:
        assert len(history(db, Kind.PLAN, f"{PLAN} 2")) == 1
        assert len(history(db, Kind.PLAN, f"{PLAN} 3")) == 1


def test_a_plan_that_another_changed_meanwhile_is_not_written_over(office):
    looked_at = plan_revision(office.newest)
    mine = drier(office.text)
    office.keep(drier(office.text, "bound = 80.0", "bound = 78.0"), by="tobin")
    with pytest.raises(ChangedMeanwhile, match="version 2 is the newest"):
        office.keep(mine, revision=looked_at)
    assert len(office.now.plans[PLAN]) == 2
    assert bound_of(office.newest) == 78.0


def test_a_file_changed_in_its_place_counts_as_changed_meanwhile(office):
    looked_at, mine = plan_revision(office.newest), drier(office.text)
    file = office.folder / "plans" / "leafy-bag.toml"
    file.write_text(drier(file.read_text(), "bound = 80.0", "bound = 79.0"))
    office.keeping.refresh()
    with pytest.raises(ChangedMeanwhile):
        office.keep(mine, revision=looked_at)


@pytest.mark.parametrize(
    ("was", "now", "field", "said"),
    [
        ("bound = 80.0", 'bound = "80"', "stage.healing.limit[air-dry-danger].bound", "a number"),
        ("on_delay_min = 10", "on_delay_min = 2000", "on_delay_min", "is 2000"),
        ('id = "leafy-bag"', 'id = "leafy"', "id", "must stay"),
        ("bound = 80.0", "bound = 120.0", "bound", ""),
        ("version = 1", "version = 1\nin_force_from = 2020-01-01T00:00:00Z", "in_force_from",
         "is over"),
        ("version = 1", "version = 1\nin_force_from = 2030-01-01T00:00:00", "in_force_from",
         "no time zone"),
        ("version = 1", 'version = 1\nin_force_from = "soon"', "in_force_from", "date and time"),
        ("bound = 80.0", "bound = ", "column", "not TOML"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_its_line_and_nothing_is_kept(office, was, now, field, said):
    typed = drier(office.text, was, now)
    with pytest.raises(Refused) as refused:
        office.keep(typed)
    (fault,) = refused.value.faults
    assert field in fault.field
    assert said in fault.problem
    assert fault.fix
    line = typed.splitlines()[fault.line - 1]
    assert line == now.splitlines()[-1]
    with reading(office.records) as db:
        assert known(db).entries == 0


def test_a_text_that_says_the_same_makes_no_version(office):
    with pytest.raises(Refused, match="says the same as version 1"):
        office.keep(office.text + "\n# nothing else\n")


def test_a_plan_without_the_stage_of_its_scion_is_refused_with_the_checks_of_files(office):
    """The checks that need the whole site are asked as well: the batches stay as they are."""
    with pytest.raises(Refused, match="another scion or cover"):
        office.keep(drier(office.text, 'cover = ["tied_bag", "tent"]', 'cover = ["tied_bag"]'))


def test_nobody_unknown_writes_a_plan_and_no_plan_is_made_out_of_nothing(office):
    with pytest.raises(Refused, match='nobody has the id "nobody"'):
        office.keep(drier(office.text), by="nobody")
    with pytest.raises(UnknownThing):
        keep_version(office.records, office.keeping.book, "none", text=office.text, revision="x",
                     by="wren", note="", at=NOW)  # fmt: skip


def test_a_later_moment_that_the_text_names_is_kept(office):
    later = "version = 1\nin_force_from = 2026-12-24T06:00:00+11:00"
    office.keep(drier(drier(office.text), "version = 1", later))
    assert office.newest.in_force_from.isoformat() == "2026-12-24T06:00:00+11:00"
    assert plan_in_force(office.now.plans[PLAN], NOW + timedelta(days=3)).version == 1


def test_of_two_edits_within_a_minute_the_later_counts_and_the_first_never_did(office):
    first = office.keep(drier(office.text))
    second = office.keep(drier(office.text, "bound = 84.0", "bound = 83.0"), by="tobin",
                         at=NOW + timedelta(seconds=20))  # fmt: skip
    assert (first.begins, second.begins) == (next_minute(NOW), next_minute(NOW))
    assert (first.overtakes, second.overtakes) == ((), (2,))
    assert second.before.version == 1
    assert [one.version for one in office.now.plans[PLAN]] == [1, 3]
    assert bound_of(plan_in_force(office.now.plans[PLAN], next_minute(NOW))) == 83.0
    assert [one.version for one in versions_of(office.now, PLAN)] == [1, 2, 3]
    assert "bound = 84.0" in text_of(office.now, versions_of(office.now, PLAN)[1])
    third = office.keep(drier(office.text, "bound = 83.0", "bound = 82.0"),
                        at=NOW + timedelta(minutes=2))  # fmt: skip
    assert (third.plan.version, third.overtakes, third.before.version) == (4, (), 3)
    assert [one.version for one in office.now.plans[PLAN]] == [1, 3, 4]


def test_an_urgent_edit_takes_the_place_of_one_that_is_still_to_come(office):
    later = "version = 1\nin_force_from = 2026-12-24T06:00:00+11:00"
    office.keep(drier(drier(office.text), "version = 1", later))
    line = "in_force_from = 2026-12-24T06:00:00+11:00\n"
    same_moment = office.keep(drier(office.text, "bound = 84.0", "bound = 83.0"), dry=True)
    assert (same_moment.begins.isoformat(), same_moment.overtakes) == (
        "2026-12-24T06:00:00+11:00", (2,)
    )  # fmt: skip
    urgent = office.keep(drier(office.text, line, ""))
    assert (urgent.begins, urgent.overtakes) == (next_minute(NOW), (2,))
    assert [one.version for one in office.now.plans[PLAN]] == [1, 3]
    assert bound_of(plan_in_force(office.now.plans[PLAN], NOW + timedelta(days=90))) == 84.0


def test_an_older_version_is_taken_up_again_as_a_new_one(office):
    office.keep(drier(office.text))
    office.keep(drier(office.text, "bound = 84.0", "bound = 83.0"), at=NOW + timedelta(minutes=3))
    second = text_of(office.now, office.now.plans[PLAN][1])
    again = office.keep(second, at=NOW + timedelta(hours=1))
    assert again.plan.version == 4
    assert again.begins == next_minute(NOW + timedelta(hours=1))
    assert bound_of(office.newest) == 84.0


def test_a_reason_is_asked_for_when_a_version_is_kept_and_not_before(office):
    text = drier(office.text)
    assert office.keep(text, note="", dry=True).plan.version == 2
    for note, said in ((" ", "note: is missing"), ("x" * 301, "longer than 300")):
        with pytest.raises(Refused, match=said):
            office.keep(text, note=note)
    assert len(office.now.plans[PLAN]) == 1


def test_what_was_known_before_can_be_made_again(office_anywhere):
    office = office_anywhere
    with reading(office.records) as db:
        before = known(db)
    then = office.now.revision
    office.keep(drier(office.text))
    assert office.now.revision != then
    with reading(office.records) as db:
        again = compiled_up_to(db, office.now.base, before)
        now = compiled_up_to(db, office.now.base, known(db))
    assert again.revision == then
    assert now.revision == office.now.revision


def test_another_process_and_a_start_anew_find_the_version(office_anywhere, records_at):
    office = office_anywhere
    office.keep(drier(office.text))
    other = Office(office.folder, records_at)
    assert other.now.revision == office.now.revision
    assert other.text == office.text
    other.keep(drier(other.text, "bound = 84.0", "bound = 83.0"), at=NOW + timedelta(minutes=3))
    assert office.newest.version == 2
    office.keeping.refresh()
    assert office.newest.version == 3
    other.records.dispose()


def test_other_entries_are_checked_with_the_version(office):
    """A batch may still be changed once its plan has a version that no file holds."""
    office.keep(drier(office.text))
    form = {**office.now.written(Kind.BATCH, "MG-07"), "count": 20}
    change(office.records, office.keeping.book, [Change(Kind.BATCH, "MG-07", form, ANY_REVISION)],
           by="wren", at=NOW)  # fmt: skip
    office.keeping.refresh()
    assert office.now.written(Kind.BATCH, "MG-07")["count"] == 20
    assert len(office.now.plans[PLAN]) == 2


def test_a_file_with_the_number_of_a_version_that_was_entered_is_kept_out(office):
    office.keep(drier(office.text))
    text = (office.folder / "plans" / "leafy-bag.toml").read_text()
    mine = "version = 2\nin_force_from = 2026-12-01T00:00:00Z"
    file = office.folder / "plans" / "leafy-bag-2.toml"
    file.write_text(drier(text, "version = 1", mine))
    office.keeping.refresh()
    assert "already the id of the plan in entered" in str(office.keeping.book.trouble[0])
    assert bound_of(office.newest) == 84.0
    with pytest.raises(FilesFaulty):
        Bookkeeping(office.folder / "site.toml", office.folder / "plans", office.records)
    file.unlink()
    office.keeping.refresh()
    assert office.keeping.book.trouble == ()


def test_a_new_file_of_the_next_number_goes_on_from_what_was_entered(office):
    office.keep(drier(office.text))
    mine = "version = 3\nin_force_from = 2026-12-01T00:00:00Z"
    text = (office.folder / "plans" / "leafy-bag.toml").read_text()
    (office.folder / "plans" / "leafy-bag-3.toml").write_text(drier(text, "version = 1", mine))
    office.keeping.refresh()
    assert [one.version for one in office.now.plans[PLAN]] == [1, 2, 3]
