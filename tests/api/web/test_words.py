"""Both languages say everything, and the answer counts every batch once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import api.web
from api.web.words.en import English
from api.web.words.es import Spanish
from api.web.words.languages import LANGUAGES, chosen_words
from rules.model.event import Standing

FOLDER = Path(api.web.__file__).parent
SAME_IN_BOTH = {"in_words", "capital", "change", "number"}


def public(cls: type) -> set[str]:
    return {name for name in vars(cls) if not name.startswith("_")}


def test_every_text_has_its_spanish():
    assert public(English) - public(Spanish) == SAME_IN_BOTH
    assert public(Spanish) <= public(English)


def test_spanish_texts_are_not_the_english_ones():
    for name in public(Spanish):
        english, spanish = getattr(English, name), getattr(Spanish, name)
        if isinstance(english, str):
            assert english != spanish, name


def test_tables_of_words_are_whole_in_both_languages():
    for name in public(English):
        table = getattr(English, name)
        if isinstance(table, dict):
            assert set(table) == set(getattr(Spanish, name)), name


def test_placeholders_are_the_same_in_both_languages():
    for name in public(English):
        text = getattr(English, name)
        if isinstance(text, str):
            found = sorted(re.findall(r"{\w+}", text))
            assert found == sorted(re.findall(r"{\w+}", getattr(Spanish, name))), name


def test_every_text_is_used_somewhere():
    code = "".join(
        path.read_text(encoding="utf-8")
        for path in [
            *FOLDER.glob("*.py"),
            *FOLDER.glob("templates/*.html"),
            *FOLDER.glob("words/*.py"),
        ]
    )
    unused = {
        name
        for name in public(English)
        if not re.search(rf"(?:w|words|self|super\(\)|one)\.{name}\b", code)
    }
    assert unused == set()


@given(
    st.dictionaries(st.sampled_from([*Standing, None]), st.integers(1, 40), max_size=6),
    st.sampled_from(sorted(LANGUAGES)),
)
def test_answer_never_calls_a_batch_steady_that_is_not(counts, code):
    words = LANGUAGES[code]
    answer = words.answer(counts)
    assert answer.endswith(".")
    says_steady = words.standing[Standing.STEADY] in answer
    assert says_steady == (Standing.STEADY in counts)


@pytest.mark.parametrize(
    ("counts", "answer"),
    [
        ({}, "No batch is being watched."),
        ({Standing.STEADY: 12}, "Nobody is needed. All twelve are steady."),
        (
            {Standing.STRAINED: 1, Standing.BLIND: 1, Standing.STEADY: 10},
            "One of 12 batches can't be seen. One is strained. The rest are steady.",
        ),
        ({Standing.BLIND: 3}, "All three batches can't be seen."),
        (
            {Standing.STRAINED: 2, Standing.DRIFTING: 1, Standing.STEADY: 1, None: 2},
            "Two of 6 batches are strained. One is drifting. The other one is steady. "
            "Two are not watched.",
        ),
    ],
)
def test_answer_in_english(counts, answer):
    assert English().answer(counts) == answer


def test_numbers_never_show_a_negative_zero():
    assert English().number(-0.04, 1) == "0.0"
    assert English().number(-0.06, 1) == "-0.1"
    assert Spanish().number(12.5, 1) == "12,5"


def test_language_asked_for_beats_kept_beats_accepted():
    assert chosen_words(asked="es", kept="en", accepts="en").code == "es"
    assert chosen_words(asked=None, kept="es", accepts="en").code == "es"
    assert chosen_words(asked="xx", kept=None, accepts="es;q=x,es").code == "es"
    assert chosen_words(asked=None, kept=None, accepts="").code == "en"
