"""What the watch says of cells it catches up on in runs is what it says of them one by one."""

from __future__ import annotations

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from api.watch.particulars import particulars_of
from api.watch.stretch import runs_of
from rules.cells import cell_in
from rules.evaluator import step


@given(data=st.data())
@settings(
    deadline=None,
    suppress_health_check=[
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
        HealthCheck.function_scoped_fixture,
    ],
)
def test_runs_of_cells_say_what_each_cell_says_by_itself(data, drawn_cases):
    case = data.draw(drawn_cases)
    watched, state = case.watchlist(), case.start()
    states, said, beside = {}, [], {}
    for minute in range(case.block.first_minute, case.block.first_minute + len(case.block.means)):
        before = state
        state, events = step(watched, before, cell_in(case.block, minute))
        states[minute + 1] = state
        said.extend(events)
        beside |= particulars_of(watched, events, before=before, after=state)
    runs = list(runs_of(watched, case.start(), case.block))
    assert [one for run in runs for one in run.events] == said
    assert {one: known for run in runs for one, known in run.beside.items()} == beside
    assert [run.first_minute for run in runs[1:]] == [run.end_minute for run in runs[:-1]]
    assert runs[-1].end_minute == case.block.first_minute + len(case.block.means)
    for run in runs:
        assert run.state == states[run.end_minute]
        told = [
            one for minute in range(run.first_minute, run.end_minute) for one in run.said_in(minute)
        ]
        assert told == list(run.events)
    if beside:
        event("a condition opened")
    if any(run.minutes > 1 for run in runs):
        event("many cells at once")
