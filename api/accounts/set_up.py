"""The one-time code of the first set-up: on the machine's own terminal, and in a file beside it.

Whoever can read the terminal or the data folder has the machine; nobody else is the lead.
"""

from __future__ import annotations

import hmac
import os
import secrets
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

CODE_FILE = "set-up-code"
_SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"
_GROUPS, _GROUP = 4, 4


def offer_code(folder: Path) -> str:
    """Write a new code into a file that this user alone can read, and return it.

    An earlier one no longer counts. Raises OSError if it can't be written.
    """
    groups = ("".join(secrets.choice(_SIGNS) for _ in range(_GROUP)) for _ in range(_GROUPS))
    code = "-".join(groups)
    path = folder / CODE_FILE
    fresh = path.with_name(f"{CODE_FILE}.{os.getpid()}")
    fresh.unlink(missing_ok=True)
    file = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(file, "w", encoding="ascii") as written:
        written.write(f"{code}\n")
        written.flush()
        os.fsync(written.fileno())
    fresh.replace(path)
    return code


def is_code(folder: Path, typed: str) -> bool:
    """Return whether someone typed the code that the folder holds; capitals and dashes don't count.

    False where there is none.
    """
    try:
        code = (folder / CODE_FILE).read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError):
        return False
    known = _plain(code)
    same = hmac.compare_digest(known.encode(), _plain(typed).encode("utf-8", "replace"))
    return same and len(known) == _GROUPS * _GROUP


def drop_code(folder: Path) -> None:
    """Take the code away: it is used up."""
    (folder / CODE_FILE).unlink(missing_ok=True)


def _plain(text: str) -> str:
    return "".join(one for one in text.casefold() if one.isalnum())
