"""`graftvigil replay` in several ways at once: the table, the object, the picture, the refusals."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import signal
from dataclasses import replace
from pathlib import Path

import pytest

from api.cli.main import main
from api.replaying import Stretch, book_of, replayed
from api.site_files import read_nursery
from api.what_if import SideBySide, Way
from collector.stores.sqlite import SqliteStore
from rules.dials import Dial, Turns, turned
from rules.model.batch import Stage
from rules.model.reading import Reading
from rules.replay import Tally

ROOT = Path(__file__).parents[3]
SITE = ROOT / "demo_data" / "site.toml"
PAGE = ROOT / "docs" / "what_if.md"
LOST = "MG-07@2026-11-15T02:00:00+11:00"
DIAL = Dial("air-dry", Turns.BOUND, Stage.HEALING, "leafy-bag")


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """Twenty hours of one bag: damp, but for twenty minutes near 85 % at 22:00."""
    lines = ["time,Temp (°C),RH (%)"]
    for minute in range(1200):
        hour, past = divmod(16 * 60 + minute, 60)
        day = 14 + hour // 24
        dip = 360 <= minute < 380
        damp = (85.0 if dip else 95.0) + minute % 3 / 10
        lines.append(f"2026-11-{day} {hour % 24:02d}:{past:02d},25.{minute % 2},{damp:.1f}")
    path = tmp_path_factory.mktemp("evening") / "bag-07.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return str(path)


@pytest.fixture
def replay(capsys, evening):
    def run(*arguments: str, file: str = evening) -> tuple[int, str, str]:
        code = main(["replay", "--site", str(SITE), *arguments, file])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def rows(out: str) -> list[dict]:
    return json.loads(out)["rows"]


def measures(row: dict) -> dict:
    return {name: value for name, value in row.items() if name not in {"way", "settings"}}


SWEEP = ("--batch", "MG-07", "--sweep", "healing/air-dry.bound=84:92:2", "--lost", LOST)
GRID = (*SWEEP, "--sweep", "healing/air-dry.on_delay_min=10:25:15")


def test_a_sweep_tells_each_value_and_the_plan_as_it_stands(replay):
    code, out, err = replay(*SWEEP, "--json")
    assert (code, err) == (0, "")
    told = json.loads(out)
    (axis,) = told["swept"]
    assert (axis["own"], axis["unit"], axis["values"]) == ([90.0], "%", [84, 86, 88, 90, 92])
    as_it_stands, *swept = told["rows"]
    own = next(row for row in swept if row["settings"] == {"healing/air-dry.bound": 90.0})
    assert measures(own) == measures(as_it_stands)
    # It rings in the tenth minute of the dip, 229 minutes before the loss; 84 % is never reached.
    assert [row["calls"] for row in swept] == [0, 1, 1, 1, 1]
    assert [row["leads"][0]["lead_min"] for row in swept] == [None, *[240 - 9] * 4]
    assert [row["beyond_min"] for row in swept] == [0, 20, 20, 20, 20]
    assert told["nights"] == 1
    assert "too few losses to tell lead time: 1 of the 5 it takes" in told["notes"]


def test_a_grid_of_two_figures_equals_single_runs(replay):
    grid = {
        tuple(row["settings"].values()): measures(row)
        for row in rows(replay(*GRID, "--json")[1])
        if row["settings"]
    }
    assert len(grid) == 10
    for row in rows(replay(*SWEEP, "--json")[1])[1:]:
        assert grid[row["settings"]["healing/air-dry.bound"], 10.0] == measures(row)
    # Beyond for 20 minutes, said only after 25: not at all.
    assert grid[90.0, 25.0]["calls"] == 0
    assert grid[90.0, 25.0]["beyond_min"] == 20


def test_the_table_says_what_it_rests_on_and_recommends_nothing(replay):
    code, out, _ = replay(*SWEEP)
    assert code == 0
    assert "rests on 1 whole nights, 1 batches (MG-07) and 1 losses" in out
    assert "healing/air-dry.bound stands at 90 %" in out
    (line,) = [one for one in out.splitlines() if one.strip().startswith("86 ")]
    assert line.split()[-1] == "231"
    assert "that is yours to weigh" in out


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """The same evening in a store, and what is judged of it."""
    nursery = read_nursery(SITE, SITE.parent / "plans")
    store = SqliteStore(tmp_path_factory.mktemp("kept") / "readings.sqlite")
    first = 29_910_540  # 2026-11-14 05:00 UTC, 16:00 at the nursery
    readings = []
    for minute in range(1200):
        at_ms = (first + minute) * 60_000
        damp = (70.0 if 360 <= minute < 380 else 95.0) + minute % 3 / 10
        readings.append(Reading("bag-07/air", at_ms, 25.0 + minute % 2 / 10))
        readings.append(Reading("bag-07/humidity", at_ms, damp))
    store.keep(readings)
    yield nursery, store, first
    store.close()


def test_where_the_plan_stands_it_is_the_plain_replay_change_for_change(kept):
    nursery, store, first = kept
    book = book_of(nursery.site, nursery.versions, None, lateness_s=0)
    # Cut in the middle of the dip: what stands there goes on.
    stretches = (
        Stretch(first, first + 371, book, nursery.versions),
        Stretch(first + 371, first + 1200, book, nursery.versions),
    )
    tally = Tally(first)
    for passage in replayed(stretches, store, late_in=None):
        tally.take(passage)
    ways = [
        Way("as it stands"),
        Way("own", plans=lambda plans: turned(plans, {DIAL: 90.0})),
        Way("other", plans=lambda plans: turned(plans, {DIAL: 60.0})),
    ]
    every = frozenset(batch.code for batch in nursery.site.batch)
    side_by_side = SideBySide(ways, nursery.site, batches=every, told_from=first)
    assert sum(side_by_side.judge(stretches, store, late_in=None)) == 1200
    # At 70 % it is in danger for twenty minutes, and nothing says so in the first nine.
    trades = side_by_side.trades((), end_minute=first + 1200, within_min=60)
    assert [(one.danger_min, one.unsaid_min) for one in trades] == [(20, 9)] * 3
    plain = tuple(tally.changes)
    assert any(change.condition == "air-dry" for change in plain)
    assert side_by_side.changes(0) == plain
    assert side_by_side.changes(1) == plain
    # Numbers count the alarms of each way, so with one alarm less they are others.
    told, left = (
        [replace(change, alarm=0) for change in changes if change.condition != "air-dry"]
        for changes in (side_by_side.changes(2), plain)
    )
    assert told == left
    assert len(told) == len(side_by_side.changes(2))


def test_plans_stand_side_by_side(replay, tmp_path):
    text = (SITE.parent / "plans" / "leafy-bag.toml").read_text(encoding="utf-8")
    milder = tmp_path / "milder.toml"
    milder.write_text(text.replace("bound = 90.0", "bound = 84.0"), encoding="utf-8")
    same = tmp_path / "same.toml"
    same.write_text(text, encoding="utf-8")
    args = ("--batch", "MG-07", "--plan", str(same), "--plan", str(milder), "--json")
    as_it_stands, own, other = rows(replay(*args)[1])
    assert measures(own) == measures(as_it_stands)
    assert (own["calls"], other["calls"]) == (1, 0)


def test_a_supposed_change_says_what_is_a_guess_and_silence_is_blind(replay):
    silent = "silent=bag-07@2026-11-14T23:00:00+11:00"
    args = ("--batch", "MG-07", "--suppose", "hotter=0", "--suppose", silent)
    code, out, _ = replay(*args, "--json")
    assert code == 0
    as_it_stands, nothing, blind = rows(out)
    grounds = nothing.pop("supposes")
    assert {one["by"] for one in grounds} == {"sum", "guess"}
    assert measures(nothing) == measures(as_it_stands)
    # From 23:00 to noon, but for the quarter of an hour for which the last word speaks.
    assert blind["blind_min"] == 13 * 60 - 15
    said = replay(*args)[1]
    assert "  hotter=0: humidity follows at constant vapour pressure; a guess: bags and" in said


@pytest.mark.parametrize("name", ["trade.svg", "trade.png"])
def test_the_picture_is_drawn_whole(replay, tmp_path, name):
    path = tmp_path / name
    assert replay(*(SWEEP if name.endswith("g") else GRID), "--picture", str(path))[0] == 0
    drawn = path.read_bytes()
    assert list(tmp_path.iterdir()) == [path]
    if name.endswith(".png"):
        assert drawn.startswith(b"\x89PNG\r\n\x1a\n")
    else:
        text = drawn.decode()
        assert "too few losses to tell lead time" in text
        assert "healing/air-dry.bound, %" in text
        assert text.count("<circle") == 5 * 5  # five known measures of five values


def test_a_grid_has_a_figure_in_every_cell(replay, tmp_path):
    path = tmp_path / "grid.svg"
    assert replay(*GRID, "--picture", str(path))[0] == 0
    text = path.read_text(encoding="utf-8")
    assert text.count('class="cell"') == 5 * 10
    assert text.count('class="own-cell"') == 5
    assert len(re.findall(r'text-anchor="middle">20</text>', text)) == 8  # minutes beyond


def test_ctrl_c_leaves_a_line_and_no_picture(replay, tmp_path):
    def stop(_number, _frame):
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, 1.0)
    try:
        many = ("--sweep", "leafy-bag/healing/air-dry.bound=1:99:0.1")
        code, out, err = replay(*many, "--picture", str(tmp_path / "never.png"))
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
    assert (code, out) == (1, "")
    assert "stopped; nothing was changed" in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["--sweep", "air-dry.bound=80:95:1"], "does not stand at one figure"),
        (["--sweep", "healing/air-wet.bound=80:95:1"], "has a limit healing/air-wet; there are"),
        (["--sweep", "healing/air-dry.priority=1:2:1"], "is no figure of a limit"),
        (["--sweep", "heeling/air-dry.bound=1:2:1"], "is no stage; write one of healing"),
        (["--sweep", "leafy-bag/healing/air-dry.bound=80:95"], "is not FIRST:LAST:STEP"),
        (["--sweep", "leafy-bag/healing/air-dry.bound=80:95:0"], "step is to be more than 0"),
        (["--sweep", "leafy-bag/healing/air-dry.bound=95:80:1"], "write the smaller one first"),
        (["--sweep", "leafy-bag/healing/air-dry.bound=0:99:0.01"], "take a larger step"),
        (["--sweep", "leafy-bag/healing/air-dry.on_delay_min=1:2:0.5"], "whole minutes"),
        (["--sweep", "leafy-bag/healing/air-dry.deadband=-1:1:1"], "that a care plan can hold"),
        (["--picture", "x.png"], "--picture goes with --sweep"),
        (["--suppose", "hotter=2", "--rings"], "--rings tells of one way to judge"),
        (["--suppose", "hotter=2", "--plan", "x.toml"], "don't go together"),
        (["--suppose", "hotter=2", "--picture", "x.gif"], "neither an .svg nor a .png"),
        (["--suppose", "hotter=2", "--lost", "MG-99@x"], "no batch of the site"),
        (["--suppose", "hotter=2", "--lost", "MG-07@2020-01-01T00:00:00Z"], "does not lie in"),
        (["--suppose", "hotter=2", "--within", "0"], "is not a number of hours"),
        (["--suppose", "hotter=2", "--batch", "MG-99"], "no batch of the site; there are"),
        (["--suppose", "hotter=50"], "--suppose hotter: 50 °C is too much"),
        (["--suppose", "wetter=2"], "write one of hotter=2"),
        (["--suppose", "uncovered=MG-07@2020-01-01T00:00:00Z"], "does not lie in the record"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_a_way_on(replay, asked, said):
    code, out, err = replay(*asked)
    assert (code, out) == (2, "")
    assert said in err


def commands() -> list[list[str]]:
    (block,) = re.findall(r"```sh [^\n]*\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    return [shlex.split(line)[1:] for line in block.splitlines()]


@pytest.mark.parametrize("command", commands(), ids=lambda one: one[-1])
def test_what_the_page_shows_runs_as_shown(command, filled, tmp_path, monkeypatch, capsys):
    (tmp_path / "demo").mkdir()
    for name in ("readings", "records"):
        shutil.copy(filled / f"{name}.db", tmp_path / "demo" / f"{name}.sqlite")
    (tmp_path / "demo_data").symlink_to(ROOT / "demo_data")
    monkeypatch.chdir(tmp_path)
    # The night that tests share ends at ten past two, so the loss is dated two hours sooner.
    shared = [part.replace("T04:00", "T02:00") for part in command]
    assert main(shared) == 0
    assert capsys.readouterr().err == ""
    pictures = [part for part in command if part.endswith((".svg", ".png"))]
    assert all((tmp_path / name).stat().st_size > 1000 for name in pictures)
