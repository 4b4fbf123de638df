"""The page of a batch says what comes next, on which day, and what is due."""

from __future__ import annotations

import re
from html import unescape


def next_section(client, path: str) -> str:
    page = client.get(path).text
    section = re.search(r'(?s)<section id="next">(.*?)</section>', page)
    assert section is not None
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", section[1])).split())


def test_a_bag_being_opened_says_how_far_and_when(client):
    text = next_section(client, "/batches/AV-04")
    assert text.startswith("Next step Today : Open the cover to about 70 %, towards evening.")
    assert "Due by today: Look for drooping leaves at midday." in text


def test_the_next_step_is_said_in_spanish(client):
    text = next_section(client, "/batches/AV-04?lang=es")
    assert text.startswith("El paso siguiente")
    assert "Abra la cubierta un 70 %, al atardecer." in text


def test_a_day_to_come_is_named(client):
    assert "Thu 19 November : Look for new growth" in next_section(client, "/batches/PE-03")
