"""Both languages say all there is to say about accounts, with the same things filled in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path

import api.web
from api.accounts.keeping import Why
from api.accounts.passwords import Weak
from api.accounts.roles import Role
from api.records.accounts import Deed
from api.web.words.accounts import ENGLISH, SPANISH, AccountWords


def texts(words: AccountWords) -> dict[str, str]:
    found = {}
    for field in fields(words):
        value = getattr(words, field.name)
        if isinstance(value, Mapping):
            found |= {f"{field.name}.{key}": text for key, text in value.items()}
        else:
            found[field.name] = value
    return found


def test_both_say_the_same_with_the_same_gaps():
    english, spanish = texts(ENGLISH), texts(SPANISH)
    assert set(english) == set(spanish)
    for name, text in english.items():
        assert sorted(re.findall(r"{\w+}", text)) == sorted(re.findall(r"{\w+}", spanish[name])), (
            name
        )
        assert text != spanish[name], name


def test_everything_that_can_be_said_has_its_words():
    assert set(ENGLISH.roles) == set(ENGLISH.role_tells) == set(Role)
    assert set(ENGLISH.weak) == set(Weak)
    assert set(ENGLISH.deeds) == set(Deed)
    assert set(ENGLISH.why_not) == set(Why)


def test_every_text_is_used_somewhere():
    folder = Path(api.web.__file__).parent
    code = "".join(
        path.read_text(encoding="utf-8")
        for path in (*folder.glob("*.py"), *folder.glob("templates/*.html"))
    )
    unused = {
        field.name
        for field in fields(AccountWords)
        if not re.search(rf"(?:\ba|words|account_words\(.*\))\.{field.name}\b", code)
    }
    assert unused == set()


def test_pages_of_accounts_are_spanish_to_who_reads_spanish(house):
    one = house.signed_in("wren")
    for path, said in (
        ("/account", "Su cuenta"),
        ("/accounts", "Quién puede hacer qué"),
        ("/", "Ha entrado Wren Castellow (dirigir)."),
    ):
        assert said in one.get(path, headers={"accept-language": "es"}).text
    stranger = house.browser(**{"accept-language": "es"})
    assert "Entre para ver las plantas" in stranger.get("/sign-in").text
