"""`graftvigil jar`: a humidity sensor checked over saturated salts, up to the lines to paste."""

from __future__ import annotations

import argparse
import json
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from api.cli.jar_records import Asked
    from rules.model.calibration import Calibration
    from rules.salt_jar import JarPoint, Proposal, Refusal, Salt

JAR = """\
Check a humidity sensor in a closed jar over a saturated salt, whose humidity is known, and get the
calibration to write down, with its uncertainty. One jar gives an offset, two give a line. Salts:
lithium_chloride (11 %), magnesium_chloride (33 %), sodium_chloride (75 %), potassium_chloride
(84 %), potassium_sulfate (97 %). Without readings it says how to make the jar, and what the sensor
should come to. docs/salt_jars.md has the figures and the safety notes.

  graftvigil jar --salt sodium_chloride --temperature 25
  graftvigil jar --salt sodium_chloride --temperature 25 --at 2026-11-10T11:00:00+11:00 \\
      --readings 5=70.2 30=76.1 45=76.4 60=76.5 70=76.5 80=76.5 90=76.5
  graftvigil jar --site site.toml --channel bag-07/humidity --data graftvigil-data \\
      --salt magnesium_chloride --from 2026-11-10T08:00:00+11:00 --to 2026-11-10T10:00:00+11:00 \\
      --salt sodium_chloride --from 2026-11-10T10:10:00+11:00 --to 2026-11-10T12:00:00+11:00

Exit code 1 when nothing is proposed: not settled, too far off, probably another salt.
"""

MAKING = """\
Put two spoonfuls of pure {salt} into a clean jar and add clean water by the drop until it
looks like wet sand, with no puddle. Hang the sensor above it, touching neither salt nor glass, and
close the lid. Stand it in a box in a quiet room, out of sun and draught: half a degree between
sensor and salt is {by_warmth:.1f} % of humidity.
At {temperature:.1f} °C the sensor should come to {true:.1f} % (± {known:.2f}). Give it an hour at
least, until nothing moves for half an hour; then tell the readings with --readings or --from and
--to.
Take care: wear gloves, keep the salt away from food, children and animals, and label the jar.
Lithium chloride is harmful when swallowed. What the salt's own label says comes first.
"""

_HALF_A_DEGREE_C = 0.5


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `jar` to the command line."""
    command = subcommands.add_parser(
        "jar",
        help="check a humidity sensor over saturated salts",
        description=JAR,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument(
        "--salt", required=True, action="append", metavar="NAME", help="of a jar; twice for two"
    )
    command.add_argument(
        "--temperature",
        action="append",
        metavar="DEGC",
        help="of the jars, or of each; left out with --from: what the sensor says",
    )
    command.add_argument(
        "--readings",
        action="append",
        nargs="+",
        metavar="MIN=VALUE",
        help="what the sensor said, by minutes since the lid was closed; once for each jar",
    )
    command.add_argument("--at", metavar="INSTANT", help="when typed readings ended")
    command.add_argument("--site", type=Path, metavar="FILE", help="the site file")
    command.add_argument("--channel", metavar="SENSOR/CHANNEL", help="the channel checked")
    command.add_argument("--data", type=Path, metavar="FOLDER", help="folder of the stores")
    command.add_argument(
        "--from", dest="start", action="append", metavar="INSTANT", help="lid closed; for each jar"
    )
    command.add_argument(
        "--to", dest="end", action="append", metavar="INSTANT", help="lid opened; for each jar"
    )
    command.add_argument(
        "--good-for", default="183", metavar="DAYS", help="until it expires (default: 183)"
    )
    command.add_argument("--by", default="", metavar="INITIALS", help="who checked")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print how to make the jar, or what its readings ask for; 1 when nothing is proposed."""
    from api.cli import given
    from api.cli.jar_records import stored_records, typed_records
    from rules.salt_jar import Refusal, Salt, calibration_of, judge_jar, propose

    salts = [given.word(name, Salt, "--salt") for name in arguments.salt]
    if arguments.readings is None and arguments.start is None and arguments.end is None:
        return _make(arguments, salts)
    good_for = given.figure(arguments.good_for, "--good-for")
    if not 1 <= good_for <= 1100:
        msg = f"--good-for: {good_for:g} does not lie between 1 and 1100 days"
        raise CannotGoOn(msg)
    records = stored_records if arguments.readings is None else typed_records
    asked = records(arguments, salts)
    judged = [judge_jar(record) for record in asked.records]
    points = [one for one in judged if not isinstance(one, Refusal)]
    refusals = [one for one in judged if isinstance(one, Refusal)]
    proposal = None
    if not refusals:
        proposed = propose(points)
        if isinstance(proposed, Refusal):
            refusals.append(proposed)
        else:
            proposal = proposed
    toml = None
    if proposal is not None:
        ends = asked.ended + timedelta(days=good_for)
        written = calibration_of(proposal, asked.unit, since=asked.ended, expires=ends)
        toml = _toml(written, points, by=arguments.by)
    if arguments.json:
        print(json.dumps(_as_json(asked, points, refusals, proposal, toml), indent=2))
    else:
        print(_as_text(asked, points, refusals, proposal, toml))
    return GOOD if proposal is not None else FOUND_TROUBLE


def _make(arguments: argparse.Namespace, salts: list[Salt]) -> int:
    from api.cli.jar_records import temperatures
    from rules.air import saturation_vapour_pressure_kpa
    from rules.salt_jar import fixed_point_pct, fixed_point_uncertainty_pct

    told: list[dict[str, object]] = []
    for salt, temperature_c in zip(salts, temperatures(arguments, len(salts)), strict=True):
        true = fixed_point_pct(salt, temperature_c)
        known = fixed_point_uncertainty_pct(salt, temperature_c)
        warmer = saturation_vapour_pressure_kpa(temperature_c + _HALF_A_DEGREE_C)
        by_warmth = true * (warmer / saturation_vapour_pressure_kpa(temperature_c) - 1.0)
        if not arguments.json:
            print(
                MAKING.format(
                    salt=salt.replace("_", " "),
                    by_warmth=by_warmth,
                    temperature=temperature_c,
                    true=true,
                    known=known,
                ),
                end="",
            )
        told.append(
            {
                "salt": salt,
                "temperature_c": temperature_c,
                "true_pct": round(true, 2),
                "uncertainty_pct": round(known, 2),
            }
        )
    if arguments.json:
        print(json.dumps({"jars": told}, indent=2))
    return GOOD


def _toml(written: Calibration, points: Sequence[JarPoint], *, by: str) -> str:
    """Return the lines to paste under the channel in the site file."""
    note = "; ".join(
        f"{one.salt} at {one.temperature_c:.1f} °C: read {one.raw_pct:.1f}, true "
        f"{one.true_pct:.1f} ± {one.uncertainty_pct:.1f} %"
        for one in points
    )
    lines = [
        "[[sensor.channel.calibration]]",
        f"since = {written.since.isoformat()}",
        *(f"expires = {one.isoformat()}" for one in [written.expires] if one is not None),
    ]
    if written.point:
        pairs = ", ".join(f"{{ raw = {one.raw}, true = {one.true} }}" for one in written.point)
        lines.append(f"point = [{pairs}]")
    else:
        lines.append(f"offset = {written.offset}")
    if by:
        lines.append(f"by = {json.dumps(by)}")
    return "\n".join([*lines, f"note = {json.dumps(note, ensure_ascii=False)}"])


def _as_json(
    asked: Asked,
    points: Sequence[JarPoint],
    refusals: Sequence[Refusal],
    proposal: Proposal | None,
    toml: str | None,
) -> dict[str, object]:
    return {
        "channel": asked.channel,
        "unit": asked.unit,
        "jars": [
            {
                "salt": one.salt,
                "temperature_c": round(one.temperature_c, 2),
                "true_pct": round(one.true_pct, 2),
                "raw_pct": round(one.raw_pct, 2),
                "uncertainty_pct": round(one.uncertainty_pct, 2),
            }
            for one in points
        ],
        "refused": [{"problem": one.problem, "remedy": one.remedy} for one in refusals],
        "offset_pct": None
        if proposal is None or proposal.offset_pct is None
        else round(proposal.offset_pct, 2),
        "within_uncertainty": None if proposal is None else proposal.within,
        "toml": toml,
    }


def _as_text(
    asked: Asked,
    points: Sequence[JarPoint],
    refusals: Sequence[Refusal],
    proposal: Proposal | None,
    toml: str | None,
) -> str:
    lines = [
        f"{one.salt} at {one.temperature_c:.1f} °C: steady at {one.raw_pct:.1f} %, true is "
        f"{one.true_pct:.1f} % (± {one.uncertainty_pct:.1f})."
        for one in points
    ]
    lines += [f"Nothing is proposed: {one.problem}. {one.remedy}." for one in refusals]
    if proposal is None or toml is None:
        return "\n".join(lines)
    if proposal.within:
        lines.append("That is right as far as jars can tell: nothing to correct, only checked.")
    where = f"channel {asked.channel}" if asked.channel else f"a channel that declares {asked.unit}"
    return "\n".join([*lines, f"Paste this under {where} in the site file, then check it:", toml])
