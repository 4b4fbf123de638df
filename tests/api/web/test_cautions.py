"""The page of cautions: for everybody, in both languages, one tap from every page and message."""

from __future__ import annotations

import dataclasses
import re
from html import unescape

import pytest

from api.alerts.caution_words import ENGLISH, SPANISH, CautionWords, caution_words

DANGERS = {
    "en": {
        "heat": ("closed house", "dizzy", "emergency number"),
        "mains": ("residual-current device", "30 mA", "IPX4", "extra-low voltage", "licensed"),
        "ladders": ("level ground", "overhead lines"),
        "knives": ("away from hand", "glove"),
        "sprays": ("label", "re-entry", "law"),
        "night": ("tell someone", "lamp and a phone", "turn back"),
        "batteries": ("charger", "Swollen", "frost"),
        "air": ("carbon monoxide", "Air the house"),
        "estimates": ("no guarantee", "Look at the plants"),
    },
    "es": {
        "heat": ("casa cerrada", "se marea", "emergencias"),
        "mains": ("diferencial", "30 mA", "IPX4", "muy baja tensión", "autorizado"),
        "ladders": ("suelo firme", "cables aéreos"),
        "knives": ("alejando el filo", "guante"),
        "sprays": ("etiqueta", "reingreso", "ley"),
        "night": ("diga a alguien", "linterna y teléfono", "dé la vuelta"),
        "batteries": ("cargador", "Hinchada", "helada"),
        "air": ("monóxido", "Ventile"),
        "estimates": ("no una garantía", "Mire las plantas"),
    },
}


def section(page: str, name: str) -> str:
    found = re.search(rf'<section id="{name}">(.*?)</section>', page, re.DOTALL)
    assert found, name
    return unescape(found[1])


def texts(words: CautionWords) -> list[str]:
    plain = [
        getattr(words, one.name) for one in dataclasses.fields(words) if one.name not in {"rest"}
    ]
    return plain + [text for one in words.rest for text in (one.title, *one.lines)]


@pytest.mark.parametrize("language", DANGERS)
def test_every_danger_of_this_work_is_told_with_what_to_do(looking, language):
    """Common practice, no source; 30 mA as in IEC 60364-4-41, IPX as in IEC 60529, from memory."""
    page = looking.get(f"/cautions?lang={language}").text
    for name, told in DANGERS[language].items():
        said = section(page, name)
        for one in told:
            assert one in said, (name, one)


def test_what_a_message_says_stands_there_in_the_same_words(looking):
    for words in (ENGLISH, SPANISH):
        code = "es" if words is SPANISH else "en"
        page = unescape(looking.get(f"/cautions?lang={code}").text)
        shared = (words.night, words.heat, words.water, words.mains, words.spraying, words.washing)
        for sentence in shared:
            assert page.count(sentence) == 1, sentence


def test_the_laws_of_the_place_and_licensed_trades_come_first(looking):
    page = unescape(looking.get("/cautions").text)
    first = page.index("<h2>")
    assert "laws" in page[:first]
    assert "licensed trades come before" in page[:first]


def test_both_languages_say_as_much(looking):
    english, spanish = texts(ENGLISH), texts(SPANISH)
    assert [one.name for one in ENGLISH.rest] == [one.name for one in SPANISH.rest]
    assert [len(one.lines) for one in ENGLISH.rest] == [len(one.lines) for one in SPANISH.rest]
    assert all(one != other for one, other in zip(english, spanish, strict=True))
    assert caution_words("es") is SPANISH
    assert caution_words("en") is ENGLISH


PAGES = (
    "/", "/house", "/todo", "/tonight", "/alarms", "/alarms/1", "/works", "/sensors", "/staff",
    "/rings", "/labels", "/plans", "/batches/MG-07", "/settings", "/nowhere", "/cautions",
)  # fmt: skip


def test_the_foot_of_every_page_leads_there(looking):
    for path in PAGES:
        foot = looking.get(path).text.partition("<footer")[2]
        assert 'href="/cautions"' in foot, path
    assert 'href="/cautions"' in looking.get("/bench/MG-07").text


def test_work_in_hand_warns_in_the_same_words(looking):
    page = unescape(looking.get("/works").text)
    assert ENGLISH.spraying in page
    assert ENGLISH.washing in page
