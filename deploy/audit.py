"""Reads what pip-audit found, and tells apart what is clean, what is not, and what nobody knows."""

from __future__ import annotations

import json
import sys
from pathlib import Path

CLEAN, KNOWN, UNKNOWN = 0, 1, 3


def say(*lines: str) -> None:
    """Print lines."""
    sys.stdout.write("\n  ".join(lines) + "\n")


def main(found: Path, said: Path, status: int) -> int:
    """Return the exit code; print what stands behind it."""
    try:
        packages = json.loads(found.read_text(encoding="utf-8"))["dependencies"]
    except (OSError, ValueError, KeyError, TypeError):
        last = said.read_text(encoding="utf-8", errors="replace").strip().splitlines()[-1:]
        say("NOT AUDITED: nothing could be looked up.", *last)
        return UNKNOWN
    bad = [one for one in packages if one.get("vulns")]
    skipped = [one for one in packages if "skip_reason" in one]
    looked_up = len(packages) - len(skipped)
    for one in bad:
        for known in one["vulns"]:
            fixed = ", ".join(known.get("fix_versions") or ["none yet"])
            say(f"KNOWN: {one['name']} {one['version']}: {known['id']}; fixed in {fixed}")
    if skipped:
        names = ", ".join(one["name"] for one in skipped)
        say(f"not looked up: {names}", f"of the first it is said: {skipped[0]['skip_reason']}")
    if bad:
        say(f"{len(bad)} of {looked_up} packages looked up have something known against them.")
        return KNOWN
    if skipped or not packages or status not in (0, 1):
        say(f"NOT AUDITED: {looked_up} of {len(packages)} packages could be looked up.")
        return UNKNOWN
    say(f"Clean: nothing is known against any of {looked_up} packages.")
    return CLEAN


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])))
