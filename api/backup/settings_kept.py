"""The settings as they go into a backup: lines that a shell reads, secrets apart and if asked."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

from api.backup.folder import SECRETS as SECRETS_FILE
from api.backup.folder import SETTINGS as SETTINGS_FILE
from api.settings import PREFIX, SECRETS

if TYPE_CHECKING:
    from collections.abc import Mapping

_SECRET_NAMES = frozenset(f"{PREFIX}{name.upper()}" for name in SECRETS)
_SECRET_KINDS = (f"{PREFIX}REACH_", f"{PREFIX}ANSWER_")
_NO_SECRET = frozenset({f"{PREFIX}ANSWER_TOPIC"})
_FILE = "_FILE"


class SettingUnreadable(Exception):
    """The file of a secret that was asked for can't be read; the message names it."""


def settings_kept(environment: Mapping[str, str], *, with_secrets: bool) -> Mapping[str, bytes]:
    """Return the files that hold the settings of an environment, by name.

    Of a secret only the name is kept, so that it is known what to set again; `with_secrets`, its
    value too, in a file of its own. Raises SettingUnreadable.

    >>> kept = settings_kept({"GRAFTVIGIL_LISTEN": "[::1]:80"}, with_secrets=False)
    >>> kept["settings.env"].decode().splitlines()[-1]
    "GRAFTVIGIL_LISTEN='[::1]:80'"
    """
    ours = sorted(name for name in environment if name.startswith(PREFIX) and environment[name])
    plain = ["# The settings when this backup was made. Set them again where it is restored."]
    secret = ["# Passwords and tokens. Whoever has this file can use them."]
    for name in ours:
        bare = name.removesuffix(_FILE)
        if not is_secret(bare):
            plain.append(f"{name}={shlex.quote(environment[name])}")
            continue
        plain.append(f"# {bare} was set; its value is not here.")
        if with_secrets:
            value = environment[name] if bare == name else _read(name, environment[name])
            secret.append(f"{bare}={shlex.quote(value)}")
    kept = {SETTINGS_FILE: _text(plain)}
    return kept | {SECRETS_FILE: _text(secret)} if with_secrets else kept


def is_secret(name: str) -> bool:
    """Return whether a setting holds a secret.

    >>> is_secret("GRAFTVIGIL_ANSWER_TOPIC"), is_secret("GRAFTVIGIL_ANSWER_WREN")
    (False, True)
    """
    return name in _SECRET_NAMES or (name.startswith(_SECRET_KINDS) and name not in _NO_SECRET)


def _read(name: str, path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as trouble:
        msg = f"{name}: {path} can't be read. Mend it, or leave out --with-secrets"
        raise SettingUnreadable(msg) from trouble


def _text(lines: list[str]) -> bytes:
    return ("\n".join(lines) + "\n").encode("utf-8")
