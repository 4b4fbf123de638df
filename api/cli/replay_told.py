"""What a replay comes to, as lines for a person."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from api.cli.rings import load_lines
from api.v1.rings import load_body
from rules.local_time import to_local

if TYPE_CHECKING:
    from collections.abc import Iterator

    from api.replays.told import Told
    from rules.model.site import Site


def replayed_lines(told: Told, site: Site) -> Iterator[str]:
    """Yield what a replay says as lines; times are those of the site."""

    def local(text: str) -> str:
        return f"{to_local(datetime.fromisoformat(text), site.site):%Y-%m-%d %H:%M}"

    how = "as it happened" if told["as_it_happened"] else "every reading counted"
    yield f"{local(told['start'])} to {local(told['end'])} at the site, {how}"
    yield ""
    alarms = told["alarms"]
    yield f"{len(alarms)} alarms"
    for one in alarms:
        until = "still true" if one["ended"] is None else f"to {local(one['ended'])}"
        worst = "" if one["worst"] is None else f", at worst {one['worst']:.4g}"
        held = "" if one["rang"] else ", held back"
        yield (
            f"  {local(one['opened'])} {until}  {one['batch']}: {one['condition']} "
            f"({one['priority']}){worst}{held}"
        )
    yield ""
    batches = told["batches"]
    for code, batch in batches.items():
        hours = [f"{name} {minutes / 60:.1f} h" for name, minutes in batch["minutes"].items()]
        yield f"{code}: {', '.join(hours)}"
        if batch["reserve_low_pct"] is not None:
            low = batch["reserve_low_pct"]
            yield f"  least water left: {low['value']:.0f} % at {local(low['at'])}"
        for name, most in batch["doses_most"].items():
            yield f"  {name}: {most['value']:.3g} at most, {local(most['at'])}"
    yield ""
    messages = told["messages"]
    for name, people in messages.items():
        said = ", ".join(f"{person} {count}" for person, count in people.items())
        yield f"messages, {name.replace('_', ' ')}: {said}"
    if "rings" in told:
        yield ""
        yield from load_lines(load_body(told["rings"]), site)
