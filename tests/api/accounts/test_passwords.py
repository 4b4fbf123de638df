"""What makes a password good enough, and that only its hash is kept."""

from __future__ import annotations

import pytest

from api.accounts.passwords import (
    LANES,
    LEAST,
    MEMORY_KIB,
    PASSES,
    Weak,
    hashed_password,
    is_outdated,
    is_password,
    weakness,
)

NAMES = ("wren", "Wren Castellow", "Tern Hollow")


@pytest.mark.parametrize(
    "good",
    [
        "wet moss under the third bench", "k3#Vq!mZ27pLs", "cuatro gatos beben leche",
        "Grüße aus dem Gewächshaus", "correct horse battery staple", "el reloj azul no anda",
        "ÑandúÑandúÁrbolRío", "wren drinks cold tea at noon",
    ],
)  # fmt: skip
def test_sentences_and_chance_are_taken(good):
    assert weakness(good, NAMES) is None


@pytest.mark.parametrize(
    ("bad", "why"),
    [
        ("short", Weak.SHORT),
        ("elevenchars", Weak.SHORT),
        ("x" * 500, Weak.LONG),
        ("wrencastellow", Weak.NAME),
        ("Wren Castellow 1987!", Weak.NAME),
        ("TernHollow2026", Weak.NAME),
        ("Castellów-Wren-9", Weak.NAME),
        ("password1234", Weak.COMMON),
        ("P@ssw0rd!2026", Weak.COMMON),
        ("Contraseña2026", Weak.COMMON),
        ("qwertyuiop12", Weak.COMMON),
        ("asdfghjkl123", Weak.COMMON),
        ("123456789012", Weak.COMMON),
        ("210987654321", Weak.COMMON),
        ("abcdefghijklm", Weak.COMMON),
        ("aaaaaaaaaaaa", Weak.COMMON),
        ("abcabcabcabc", Weak.COMMON),
        ("melonmelonmelon", Weak.COMMON),
        ("Summer2026!!", Weak.COMMON),
        ("Primavera-2026", Weak.COMMON),
        ("iloveyou12345", Weak.COMMON),
        ("letmein123456", Weak.COMMON),
        ("graftvigil2026", Weak.COMMON),
        ("Welcome123456", Weak.COMMON),
        ("Adm1nAdm1nAdm1n", Weak.COMMON),
        ("1q2w3e4r5t6y", Weak.COMMON),
        ("            ", Weak.COMMON),
    ],
)
def test_names_patterns_and_common_words_are_not(bad, why):
    assert weakness(bad, NAMES) is why


@pytest.mark.published("NIST SP 800-63B, 5.1.1.2: no rules of composition, spaces and all signs")
def test_no_sign_is_asked_for_and_none_forbidden():
    assert weakness("only small letters in here", NAMES) is None
    assert weakness("🌱 sprouts in the wet dark 🌱", NAMES) is None
    assert LEAST == 12


@pytest.mark.published(
    "OWASP Password Storage Cheat Sheet: Argon2id, 19 MiB, two passes, one lane at least; "
    "from memory"
)
def test_the_hash_is_argon2id_with_at_least_the_published_figures():
    hashed = hashed_password("wet moss under the third bench")
    assert hashed.startswith(f"$argon2id$v=19$m={MEMORY_KIB},t={PASSES},p={LANES}$")
    assert MEMORY_KIB >= 19 * 1024
    assert PASSES >= 2
    assert hashed != hashed_password("wet moss under the third bench"), "salted"


def test_a_password_is_its_own_and_no_other():
    hashed = hashed_password("wet moss under the third bench")
    assert is_password("wet moss under the third bench", hashed)
    assert not is_password("wet moss under the third benc", hashed)
    assert not is_password("a password that opens nothing", None)
    assert not is_password("x" * 100_000, hashed)
    assert not is_password("anything", "not a hash")


def test_an_accent_is_the_same_from_every_keyboard():
    hashed = hashed_password("jardín de niñas verdes")
    assert is_password("jardi\u0301n de nin\u0303as verdes", hashed)


def test_a_hash_made_with_other_figures_is_told_and_replaced_at_the_next_sign_in(house, password):
    from argon2 import PasswordHasher

    from api.accounts.signing import Place, SignedIn
    from api.records.accounts import hash_of, keep_hash
    from api.records.session import reading, writing

    old = PasswordHasher(time_cost=1, memory_cost=8_192, parallelism=1).hash(password)
    assert is_outdated(old)
    with writing(house.parts.records) as db:
        keep_hash(db, "wren", old, at=house.clock.now())
    place = Place("127.0.0.1", "a test")
    assert isinstance(house.signing.sign_in("wren", password, place), SignedIn)
    with reading(house.parts.records) as db:
        found = hash_of(db, "wren")
    assert found is not None
    assert not is_outdated(found)
