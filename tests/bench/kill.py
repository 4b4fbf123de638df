"""Kill the collector, its packing, the broker and InfluxDB a hundred times, at random moments.

Runs the tests of tests/kill with a new seed each round until every part has been killed often
enough; a test that finds a reading lost or doubled ends it. Against the rounds of the daily tests,
this is the long look.

Run: python tests/bench/kill.py [--kills 100] [--seed 1000]
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
PARTS = ("broker", "collector", "influxdb", "packing")
FILES = {
    "broker": ["test_broker_kill.py"],
    "collector": ["test_ingest_kill.py", "test_run_kill.py"],
    "influxdb": ["test_influx_kill.py"],
    "packing": ["test_packing_kill.py"],
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100, help="in all, shared among the parts")
    parser.add_argument("--seed", type=int, default=1000)
    asked = parser.parse_args()
    each = -(-asked.kills // len(PARTS))
    counted: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        tally = Path(name) / "tally"
        tally.touch()
        seed = asked.seed
        while wanting := [part for part in PARTS if counted[part] < each]:
            files = [str(ROOT / "tests" / "kill" / file) for file in FILES[wanting[0]]]
            done = subprocess.run(
                [sys.executable, "-m", "pytest", "-q", "--no-header", *files],
                cwd=ROOT,
                env=os.environ | {"KILL_SEED": str(seed), "KILL_TALLY": str(tally)},
                check=False,
                capture_output=True,
                text=True,
            )
            if done.returncode:
                sys.stdout.write(done.stdout)
                sys.exit(f"seed {seed}: a reading was lost or doubled, or a part did not come back")
            counted = Counter(tally.read_text(encoding="utf-8").split())
            told = ", ".join(f"{part} {counted[part]}" for part in PARTS)
            print(f"seed {seed}: {told}", flush=True)
            seed += 1
    print(f"{sum(counted.values())} kills; no acknowledged reading was lost, none was doubled")


if __name__ == "__main__":
    main()
