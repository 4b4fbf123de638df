"""Lets `python -m api.cli` be the command `graftvigil`."""

from __future__ import annotations

from api.cli.main import main

if __name__ == "__main__":
    raise SystemExit(main())
