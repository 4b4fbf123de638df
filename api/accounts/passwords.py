"""Passwords: what is asked of one, its hash, and checking it in the same time whoever it is."""

from __future__ import annotations

import re
import threading
import unicodedata
from enum import StrEnum
from typing import TYPE_CHECKING

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

if TYPE_CHECKING:
    from collections.abc import Sequence

LEAST = 12
MOST = 200
_LEAST_DIFFERENT = 5
_LEAST_OF_OWN = 6
_LONGEST_BEAT = 5

MEMORY_KIB = 19_456
PASSES = 3
LANES = 1
"""Argon2id with 19 MiB, three passes, one lane; decision 0031 has the measured times."""

_AT_ONCE = threading.BoundedSemaphore(2)
"""So that many attempts at once take 40 MiB of a small board and not all of it."""

_HASHER = PasswordHasher(time_cost=PASSES, memory_cost=MEMORY_KIB, parallelism=LANES)
_ROWS = (
    "qwertyuiop", "qwertzuiop", "azertyuiop", "asdfghjkl", "zxcvbnm", "yxcvbnm", "1234567890",
    "abcdefghijklmnopqrstuvwxyz", "qazwsxedcrfvtgbyhnujmikolp", "1q2w3e4r5t6y7u8i9o0p",
)  # fmt: skip
_COMMON = (
    "password", "passwort", "passw", "contrasena", "contrasenya", "clave", "secret", "secreto",
    "welcome", "bienvenido", "bienvenida", "letmein", "changeme", "default", "trustno", "iloveyou",
    "tequiero", "teamo", "login", "access", "acceso", "admin", "administrator", "administrador",
    "root", "user", "usuario", "guest", "invitado", "test", "prueba", "hello", "hola", "monkey",
    "dragon", "master", "sunshine", "princess", "princesa", "football", "futbol", "baseball",
    "superman", "batman", "shadow", "summer", "winter", "spring", "autumn", "verano", "invierno",
    "primavera", "otono", "january", "february", "march", "april", "june", "july", "august",
    "september", "october", "november", "december", "enero", "febrero", "marzo", "abril", "mayo",
    "junio", "julio", "agosto", "septiembre", "octubre", "noviembre", "diciembre", "monday",
    "friday", "sunday", "lunes", "viernes", "domingo", "graftvigil", "graft", "vigil", "nursery",
    "vivero", "mango", "avocado", "aguacate", "temp", "temporal", "this", "is", "my", "mi", "the",
    "is", "one", "and", "por", "favor", "please",
)  # fmt: skip
_LEET = str.maketrans("013457@$!", "oieastasi")


class Weak(StrEnum):
    """What is wrong with a password that someone wants."""

    SHORT = "short"
    LONG = "long"
    NAME = "name"
    COMMON = "common"


def weakness(password: str, names: Sequence[str]) -> Weak | None:
    """Return what speaks against a password; None: nothing we know.

    `names` are those of the person and the nursery: what anybody would try first.

    >>> weakness("Contraseña2026!", [])
    <Weak.COMMON: 'common'>
    >>> weakness("wet moss under the third bench", ["Wren Abbott"]) is None
    True
    """
    plain = _as_typed(password)
    if len(plain) < LEAST:
        return Weak.SHORT
    if len(plain) > MOST:
        return Weak.LONG
    bare = _bare(plain)
    parts = {part for name in names for part in re.findall(r"[a-z]{3,}", _bare(name))}
    rest = bare
    for part in sorted(parts, key=len, reverse=True):
        rest = rest.replace(part, " ")
    if rest != bare and len(re.sub(r"[^a-z]", "", rest)) < _LEAST_OF_OWN:
        return Weak.NAME
    return Weak.COMMON if _is_pattern(plain) else None


def _is_pattern(plain: str) -> bool:
    bare = _bare(plain)
    tight = re.sub(r"\s", "", bare)
    if len(set(tight)) < _LEAST_DIFFERENT:
        return True
    for beat in range(1, _LONGEST_BEAT + 1):
        if tight == (tight[:beat] * len(tight))[: len(tight)]:
            return True
    for text in (tight, re.sub(r"[^a-z0-9]", "", tight.translate(_LEET))):
        if len(_without_rows(_without_words(text))) < _LEAST_OF_OWN:
            return True
    return False


def _without_words(text: str) -> str:
    """Return the letters of a text without common words; digits and signs never count as own."""
    for word in sorted(_COMMON, key=len, reverse=True):
        text = text.replace(word, " ")
    return text


def _without_rows(text: str) -> str:
    """Return the letters that are not part of four or more neighbours on a row, either way."""
    kept = list(text)
    for row in (*_ROWS, *(row[::-1] for row in _ROWS)):
        for start in range(len(row) - 3):
            piece = row[start : start + 4]
            at = text.find(piece)
            while at >= 0:
                kept[at : at + 4] = " " * 4
                at = text.find(piece, at + 1)
    return "".join(one for one in kept if one.isalpha())


def _as_typed(password: str) -> str:
    """Return a password so that each keyboard's way of writing an ñ is the same."""
    return unicodedata.normalize("NFKC", password)


def _bare(text: str) -> str:
    split = unicodedata.normalize("NFKD", text.casefold())
    return "".join(one for one in split if not unicodedata.combining(one))


def hashed_password(password: str) -> str:
    """Return the hash of a password, with its salt and how it was made."""
    with _AT_ONCE:
        return _HASHER.hash(_as_typed(password))


_NOBODYS = hashed_password("a password that opens nothing")


def is_password(password: str, hashed: str | None) -> bool:
    """Return whether a password is that of a hash; None: of nobody, found out in the same time."""
    if len(password) > 4 * MOST:
        password = ""
    with _AT_ONCE:
        try:
            _HASHER.verify(hashed or _NOBODYS, _as_typed(password))
        except (VerificationError, InvalidHashError):
            return False
    return hashed is not None


def is_outdated(hashed: str) -> bool:
    """Return whether a hash was made with other figures than those of now."""
    return _HASHER.check_needs_rehash(hashed)
