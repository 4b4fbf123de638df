"""What several ways to judge a record come to, as one object, as a table, and drawn."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, NotRequired, TypedDict

from rules.local_time import to_local
from rules.trade import LEAST_LOSSES

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from api.cli.what_if_asked import Asked
    from rules.model.site import Site
    from rules.supposing import Grounds
    from rules.trade import Loss, Trade


class LeadTold(TypedDict):
    """How long before a loss its first call came; None: none came in time."""

    batch: str
    lost: str
    lead_min: int | None


class RowTold(TypedDict):
    """One way to judge, and what it came to; minutes are added up over the batches."""

    way: str
    settings: dict[str, float]
    calls: int
    per_night: float | None
    per_day: float
    alarms: int
    beyond_min: int
    danger_min: int
    danger_unsaid_min: int
    blind_min: int
    reserve_low_pct: float | None
    median_lead_min: float | None
    leads: list[LeadTold]
    true_calls: int
    false_calls: int
    unsettled_calls: int
    late_calls: int
    supposes: NotRequired[list[dict[str, str]]]


class AxisTold(TypedDict):
    """A figure that was swept, with its unit and what it stands at, in each version."""

    figure: str
    unit: str
    own: list[float]
    values: list[float]


class WhatIfTold(TypedDict):
    """All that is told. `nights` are whole ones; `losses` say whether they are recorded."""

    start: str
    end: str
    as_it_happened: bool
    within_h: float
    nights: int
    batches: list[str]
    losses: list[dict[str, str]]
    swept: list[AxisTold]
    rows: list[RowTold]
    notes: list[str]


def told_values(
    what: Asked,
    trades: Sequence[Trade],
    site: Site,
    losses: Sequence[Loss],
    *,
    told: tuple[int, int],
    within_h: float,
    late: bool,
) -> WhatIfTold:
    """Return everything as one object. `late`: readings that came late are left out."""
    notes = list(what.notes)
    if len(losses) < LEAST_LOSSES:
        notes.append(
            f"too few losses to tell lead time: {len(losses)} of the {LEAST_LOSSES} it takes"
        )
    if not trades[0].nights:
        notes.append("the record holds no whole night, so no calls a night are told")
    return {
        "start": _instant(told[0]),
        "end": _instant(told[1]),
        "as_it_happened": late,
        "within_h": within_h,
        "nights": trades[0].nights,
        "batches": [one.code for one in site.batch if one.code in what.batches],
        "losses": [
            {
                "batch": one.batch,
                "at": _instant(one.minute),
                "known": "named" if one.named else "recorded",
            }
            for one in losses
        ],
        "swept": [
            {
                "figure": str(axis.dial),
                "unit": axis.unit,
                "own": list(axis.own),
                "values": list(axis.values),
            }
            for axis in what.axes
        ],
        "rows": [
            _row(way.name, dict(way.settings), trade, grounds)
            for way, trade, grounds in zip(
                what.ways, trades, what.grounds or [()] * len(trades), strict=True
            )
        ],
        "notes": notes,
    }


def _row(
    name: str, settings: dict[str, float], trade: Trade, grounds: Sequence[Grounds]
) -> RowTold:
    row: RowTold = {
        "way": name,
        "settings": settings,
        "calls": trade.calls,
        "per_night": trade.per_night,
        "per_day": round(trade.per_day, 4),
        "alarms": trade.alarms,
        "beyond_min": trade.beyond_min,
        "danger_min": trade.danger_min,
        "danger_unsaid_min": trade.unsaid_min,
        "blind_min": trade.blind_min,
        "reserve_low_pct": None
        if trade.reserve_low_pct is None
        else round(trade.reserve_low_pct, 2),
        "median_lead_min": trade.median_lead_min,
        "leads": [
            {
                "batch": one.loss.batch,
                "lost": _instant(one.loss.minute),
                "lead_min": one.lead_min,
            }
            for one in trade.leads
        ],
        "true_calls": trade.true_calls,
        "false_calls": trade.false_calls,
        "unsettled_calls": trade.unsettled_calls,
        "late_calls": trade.late_calls,
    }
    if grounds:
        row["supposes"] = [
            {"words": one.words, "by": "guess" if one.guess else "sum"} for one in grounds
        ]
    return row


COLUMNS = (
    ("calls", "calls"),
    ("a night", "per_night"),
    ("a day", "per_day"),
    ("beyond", "beyond_min"),
    ("danger", "danger_min"),
    ("unsaid", "danger_unsaid_min"),
    ("lead", "median_lead_min"),
    ("false", "false_calls"),
    ("unsettled", "unsettled_calls"),
)
OF_AIR = (("blind", "blind_min"), ("reserve", "reserve_low_pct"))
"""More columns where the air is supposed."""


def told_lines(told: WhatIfTold, site: Site) -> Iterator[str]:
    """Yield it as lines for a person; times are those of the site."""

    def local(text: str) -> str:
        return f"{to_local(datetime.fromisoformat(text), site.site):%Y-%m-%d %H:%M}"

    how = "as it happened" if told["as_it_happened"] else "every reading counted"
    yield f"{local(told['start'])} to {local(told['end'])} at the site, {how}"
    listed = ", ".join(told["batches"]) or "none"
    yield (
        f"rests on {told['nights']} whole nights, {len(told['batches'])} batches ({listed}) and "
        f"{len(told['losses'])} losses"
    )
    for loss in told["losses"]:
        yield f"  lost: {loss['batch']} at {local(loss['at'])}, {loss['known']}"
    for axis in told["swept"]:
        own = " or ".join(f"{one:g}" for one in axis["own"])
        yield f"{axis['figure']} stands at {own} {axis['unit']}"
    yield ""
    yield from _table(told)
    for row in told["rows"]:
        if "supposes" in row:
            said = "; ".join(
                f"a guess: {one['words']}" if one["by"] == "guess" else one["words"]
                for one in row["supposes"]
            )
            yield f"  {row['way']}: {said}"
    yield ""
    yield from meanings(told)
    yield from told["notes"]
    yield "which of them is right for the plants is not said: that is yours to weigh"


def _table(told: WhatIfTold) -> Iterator[str]:
    """Yield a row a way; what was swept, and the lead of each of a few losses, in columns."""
    swept = [axis["figure"] for axis in told["swept"]]
    each = told["losses"] if len(told["losses"]) < LEAST_LOSSES else []
    columns = (*COLUMNS, *OF_AIR) if _supposes(told) else COLUMNS
    heads = ["", *(name.rpartition("/")[2] for name in swept), *(head for head, _ in columns)]
    cells = [[*heads, *(f"lead {loss['batch']}" for loss in each)]]
    for row in told["rows"]:
        figures = [_cell(name, row[name]) for _, name in columns]  # type: ignore[literal-required]
        settings = [f"{row['settings'][name]:g}" if row["settings"] else "" for name in swept]
        leads = [_lead(one["lead_min"]) for one in row["leads"]] if each else []
        way = "" if row["settings"] else row["way"]
        cells.append([way, *settings, *figures, *leads])
    wide = [max(len(line[place]) for line in cells) for place in range(len(cells[0]))]
    for line in cells:
        first, *rest = line
        yield "  ".join(
            [first.ljust(wide[0]), *(one.rjust(wide[n + 1]) for n, one in enumerate(rest))]
        ).rstrip()


def _supposes(told: WhatIfTold) -> bool:
    return any("supposes" in row for row in told["rows"])


def _lead(minutes: int | None) -> str:
    return "no call" if minutes is None else str(minutes)


def _cell(name: str, value: float | None) -> str:
    if value is None:
        return "?"
    if name in {"per_night", "per_day"}:
        return f"{value:.2f}"
    return f"{value:.0f}"


def meanings(told: WhatIfTold) -> Iterator[str]:
    """Yield what each column means, with its unit."""
    within = f"{told['within_h']:g} h"
    looked = "the swept limit" if told["swept"] else "any limit or sum of the plans"
    beyond = (
        "the swept limit at that value" if told["swept"] else "a high limit of that row's own plan"
    )
    yield f"calls      how often {looked} rang; a night: sunset to sunrise, a day: 24 h"
    yield f"beyond     minutes beyond {beyond}, delays left out, all batches together"
    same = "in the air of that row" if _supposes(told) else "the same for every row"
    yield f"danger     minutes beyond a high limit of the plan as it stands, {same}"
    yield f"unsaid     of these, minutes in which {looked} had not opened, or was over"
    yield f"lead       minutes from the first call within {within} before a loss to it, the middle"
    yield f"false      calls with no loss of their batch within {within} after"
    yield f"unsettled  calls after which the record ends sooner than {within}"
    if _supposes(told):
        yield "blind      minutes in which a batch could not be seen"
        yield "reserve    least water left in %, where it is known: blind hours may hide less"


def _instant(minute: int) -> str:
    return datetime.fromtimestamp(minute * 60, UTC).isoformat()
