"""What runs in the process that turns drawings into pictures: `python -m api.drawing.printing`.

It reads requests from its standard input, a line of JSON each, and answers each on its standard
output with a line of JSON, followed by the picture. It ends when nobody is there to ask any more.
"""

from __future__ import annotations

import json
import sys

import resvg_py


def main() -> None:
    """Answer one request after the other until the input ends."""
    # Whatever a library prints must not stand between the answers.
    answers, sys.stdout = sys.stdout.buffer, sys.stderr
    for line in sys.stdin.buffer:
        try:
            made: bytes = bytes(resvg_py.svg_to_bytes(**json.loads(line)))
            head: dict[str, object] = {"bytes": len(made)}
        except Exception as trouble:  # noqa: BLE001 - told to who asked
            made, head = b"", {"trouble": f"{type(trouble).__name__}: {trouble}"}
        answers.write(json.dumps(head).encode() + b"\n" + made)
        answers.flush()


if __name__ == "__main__":
    main()
