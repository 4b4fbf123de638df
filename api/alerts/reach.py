"""Finds the secret addresses that people's `reach` names, in the environment or in files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import SecretStr

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.model.site import Site

PREFIX = "GRAFTVIGIL_REACH_"


def variable(name: str) -> str:
    """Return the environment variable that holds the address of a name under `reach`.

    >>> variable("night-phone")
    'GRAFTVIGIL_REACH_NIGHT_PHONE'
    """
    return PREFIX + name.upper().replace("-", "_").replace(".", "_")


def reach_in(environment: Mapping[str, str], site: Site) -> dict[str, SecretStr]:
    """Return the addresses that are set, by name; a name without one is simply missing.

    Each stands in its variable, or in the file that the variable with `_FILE` added names. Raises
    OSError if such a file cannot be read.
    """
    found: dict[str, SecretStr] = {}
    for name in sorted({name for person in site.person for name in person.reach}):
        value = environment.get(variable(name), "")
        file = environment.get(f"{variable(name)}_FILE", "")
        if not value and file:
            value = Path(file).read_text(encoding="utf-8").strip()
        if value:
            found[name] = SecretStr(value)
    return found
