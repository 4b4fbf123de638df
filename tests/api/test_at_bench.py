"""At the bench: kept once, held against the plan, overridden by the lead alone, taken back."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from api.at_bench import AgainstPlan, LeadOnly, declare, undo, write_down
from api.bookkeeping import Bookkeeping
from api.entering import Refused, Seeing, TooLate
from api.records.entries import Kind
from api.records.session import open_records, reading
from api.records.tables import instant
from api.trail import Done, trail_of
from rules.model.batch import Seen, Stage
from rules.stages import Guard

DEMO = Path(__file__).parents[2] / "demo_data"
NOW = instant(1_794_668_400_000)


class Bench:
    def __init__(self, records_at) -> None:
        self.records = open_records(records_at)
        self.keeping = Bookkeeping(DEMO / "site.toml", DEMO / "plans", self.records)
        self.book = self.keeping.book

    def write(self, code, seen, *, by="tobin", device=None, at=NOW, override=False, **fields):
        seeing = Seeing(code, {"seen": seen, **fields}, by, device)
        lead = by == self.book.now.site.lead
        kept = write_down(self.records, self.book, seeing, at=at, override=override, lead=lead)
        self.keeping.refresh()
        return kept

    def undo(self, number, *, at=NOW):
        undo(self.records, self.book, number, by="tobin", at=at)
        self.keeping.refresh()

    def declare(self, code, to, *, because, by="tobin", override=False):
        declare(
            self.records,
            self.book,
            code,
            to,
            because=because,
            by=by,
            at=NOW,
            override=override,
            lead=by == self.book.now.site.lead,
        )
        self.keeping.refresh()

    def batch(self, code):
        return next(one for one in self.book.now.site.batch if one.code == code)

    def entered(self, code):
        return self.batch(code).observation[-1]

    def trail(self, code):
        with reading(self.records) as db:
            return trail_of(db, Kind.BATCH, code)


@pytest.fixture
def bench(records_at):
    made = Bench(records_at)
    yield made
    made.records.dispose()


def test_what_is_written_down_stands_with_the_time_it_was_seen(bench):
    kept = bench.write("MG-07", "droop", at=NOW - timedelta(hours=3))
    assert kept.new
    assert (bench.entered("MG-07").seen, bench.entered("MG-07").by) == (Seen.DROOP, "tobin")


def test_plants_counted_alive_and_dead_are_kept_and_never_more_than_the_batch_has(bench):
    bench.write("MG-07", "counted", alive=20, dead=4)
    assert (bench.entered("MG-07").alive, bench.entered("MG-07").dead) == (20, 4)
    before = len(bench.batch("MG-07").observation)
    with pytest.raises(Refused, match="25 plants are more than the 24 of MG-07"):
        bench.write("MG-07", "counted", alive=21, dead=4)
    with pytest.raises(Refused, match="alive"):
        bench.write("MG-07", "counted", dead=4)
    with pytest.raises(Refused, match="counted"):
        bench.write("MG-07", "watered", alive=4)
    assert len(bench.batch("MG-07").observation) == before


def test_a_batch_that_is_moved_stands_on_the_other_bench_and_back_when_that_is_taken_back(bench):
    kept = bench.write("MG-07", "moved", bench="b3", device="tap-1")
    assert bench.batch("MG-07").bench == "b3"
    again = bench.write("MG-07", "moved", bench="b3", device="tap-1")
    assert (again.number, again.new) == (kept.number, False)
    bench.undo(kept.number)
    assert bench.batch("MG-07").bench == "b1"
    bench.undo(kept.number)
    assert bench.batch("MG-07").bench == "b1", "taken back twice is as once"
    assert all(one.seen is not Seen.MOVED for one in bench.batch("MG-07").observation)
    done = [line.done for line in bench.trail("MG-07")]
    assert done.count(Done.CHANGED) == 2
    with pytest.raises(Refused, match='there is no bench "b-none"'):
        bench.write("MG-07", "moved", bench="b-none")
    assert bench.batch("MG-07").bench == "b1"


def test_one_that_was_moved_on_since_stays_where_it_was_moved_to_last(bench):
    first = bench.write("MG-07", "moved", bench="b3")
    bench.write("MG-07", "moved", bench="b2")
    bench.undo(first.number)
    assert bench.batch("MG-07").bench == "b2"


def test_a_cover_taken_off_before_new_growth_is_refused_with_what_to_do(bench):
    before = bench.batch("MG-07").observation
    with pytest.raises(AgainstPlan) as trouble:
        bench.write("MG-07", "cover_off")
    assert trouble.value.verdict.guard is Guard.BEFORE_GROWTH
    assert bench.batch("MG-07").observation == before


def test_the_lead_alone_lets_it_be_done_with_a_note_and_the_trail_says_so(bench):
    lead = bench.book.now.site.lead
    with pytest.raises(LeadOnly):
        bench.write("MG-07", "cover_off", by="tobin", note="full of mould", override=True)
    with pytest.raises(LeadOnly):
        bench.write("MG-07", "cover_off", by=lead, note="  ", override=True)
    bench.write("MG-07", "cover_off", by=lead, note="full of mould", override=True)
    kept = bench.entered("MG-07")
    assert (kept.seen, kept.despite, kept.note) == (
        Seen.COVER_OFF,
        "before_growth",
        "full of mould",
    )
    told = {one.field: one.now for one in bench.trail("MG-07")[-1].differences}
    assert told["despite"] == "before_growth"


def test_what_nothing_speaks_against_is_not_marked_as_overridden(bench):
    bench.write("MG-07", "watered", by=bench.book.now.site.lead, note="dry", override=True)
    assert bench.entered("MG-07").despite is None


def test_what_was_kept_is_not_refused_when_it_is_sent_again(bench):
    lead = bench.book.now.site.lead
    kept = bench.write("MG-07", "cover_off", by=lead, note="x", override=True, device="tap-9")
    again = bench.write("MG-07", "cover_off", by=lead, note="x", device="tap-9")
    assert (again.number, again.new) == (kept.number, False)


def test_a_stage_is_declared_from_what_was_seen_and_says_why(bench):
    with pytest.raises(AgainstPlan):
        bench.declare("MG-07", Stage.NEW_GROWTH, because="buds swell")
    bench.write("MG-07", "new_growth")
    bench.declare("MG-07", Stage.NEW_GROWTH, because="buds open on 20 of 24")
    last = bench.batch("MG-07").stage[-1]
    assert (last.stage, last.because, last.despite) == (
        Stage.NEW_GROWTH,
        "buds open on 20 of 24",
        None,
    )
    bench.declare("MG-07", Stage.NEW_GROWTH, because="again")
    assert len(bench.batch("MG-07").stage) == 2, "declared twice is as once"
    with pytest.raises(Refused, match="is empty"):
        bench.declare("MG-07", Stage.HEALING, because=" ")


def test_a_stage_that_is_skipped_needs_the_lead(bench):
    lead = bench.book.now.site.lead
    with pytest.raises(LeadOnly):
        bench.declare("MG-07", Stage.HARDENING, because="no bag left", override=True)
    bench.declare("MG-07", Stage.HARDENING, because="no bag left", by=lead, override=True)
    assert bench.batch("MG-07").stage[-1].despite == "stage_skipped"


def test_fifteen_minutes_later_it_stays(bench):
    kept = bench.write("MG-07", "droop")
    with pytest.raises(TooLate):
        bench.undo(kept.number, at=NOW + timedelta(minutes=16))
    assert bench.entered("MG-07").seen is Seen.DROOP
