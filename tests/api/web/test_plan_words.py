"""Figures that people wrote are told exactly, faults in both languages, fields go back as typed."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.entering import Refused
from api.plan_versions import drafted
from api.site_files import plan_in, read_nursery
from api.web.plan_changes import changes_between
from api.web.plan_form import Filling, form_parts, typed_values
from api.web.telling import Telling
from api.web.words.en import English
from api.web.words.es import Spanish
from api.web.words.plan_faults import fault_in_spanish, has_spanish
from api.written.plan_text import with_values
from api.written.toml_text import toml_in
from rules.model.fault import Fault
from rules.model.plan import CarePlan
from rules.model.quantities import Felt

TESTS = Path(__file__).parents[2]
DEMO = TESTS.parent / "demo_data"
GOOD = TESTS / "faulty" / "good"
NIGHT = datetime(2026, 11, 14, 15, 10, tzinfo=UTC)
SLIPS = [
    (path.stem, tomllib.loads(path.read_text(encoding="utf-8")))
    for path in sorted((TESTS / "faulty" / "slips").glob("*.toml"))
]
IN_PLANS = [
    pytest.param(slip, id=name)
    for name, slip in SLIPS
    if slip["file"].startswith("plans/") and (GOOD / slip["file"]).exists()
]


@pytest.fixture(scope="module")
def nursery():
    return read_nursery(DEMO / "site.toml", DEMO / "plans")


@pytest.fixture(scope="module")
def english(nursery):
    return Telling(English(), nursery.site, NIGHT, fahrenheit=False)


@pytest.fixture(scope="module")
def text():
    return (DEMO / "plans" / "leafy-bag.toml").read_text(encoding="utf-8")


def faults_of(text: str) -> tuple[Fault, ...]:
    read = toml_in(text, file="text")
    return (read,) if isinstance(read, Fault) else plan_in(read)[1]


@pytest.mark.parametrize("slip", IN_PLANS)
def test_every_slip_in_a_plan_is_told_in_spanish_too(slip):
    good = (GOOD / slip["file"]).read_text(encoding="utf-8")
    assert slip["was"] in good
    for fault in faults_of(good.replace(slip["was"], slip["now"], 1)):
        assert has_spanish(fault), fault
        said = fault_in_spanish(fault)
        # What the grammar of TOML says of a broken line stays as it is.
        for word in (" is ", " the ", "Write ", "Write", " must "):
            assert word not in said.partition("TOML:")[0], said


def test_what_has_no_spanish_yet_is_told_as_it_is():
    fault = Fault("text", 3, "x", "does something new", "Undo it.")
    assert not has_spanish(fault)
    assert fault_in_spanish(fault) == "Does something new. Undo it."


@pytest.mark.parametrize(
    ("felt", "value", "shown"),
    [
        (Felt.RELATIVE_HUMIDITY, 82.5, "82.5\N{NO-BREAK SPACE}%"),
        (Felt.RELATIVE_HUMIDITY, 80.0, "80\N{NO-BREAK SPACE}%"),
        (Felt.AIR_TEMPERATURE, 38.0, "38.0\N{NO-BREAK SPACE}°C"),
        (Felt.AIR_TEMPERATURE, 38.125, "38.125\N{NO-BREAK SPACE}°C"),
        (Felt.VAPOUR_PRESSURE_DEFICIT, 0.6, "0.60\N{NO-BREAK SPACE}kPa"),
        (Felt.PPFD, 0.1 + 0.2, "0.3\N{NO-BREAK SPACE}µmol m⁻² s⁻¹"),
    ],
)
def test_a_figure_that_someone_wrote_is_never_rounded(english, felt, value, shown):
    assert english.written(felt, value) == shown


def altered(plan: CarePlan, change) -> CarePlan:
    values = plan.model_dump(mode="json")
    change(values)
    return CarePlan.model_validate(values)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda v: v["stage"]["healing"]["limit"][0].update(bound=90.25),
         "Healing: humidity at least 90 % became humidity at least 90.25 %"),
        (lambda v: v["stage"]["healing"]["limit"][0].update(full_margin=8.5),
         "Healing: humidity at least 90 %; comfortable from 8 % inside became comfortable from "
         "8.5 % inside"),
        (lambda v: v["stage"]["healing"]["limit"][0].update(latch=True),
         "its alarm ends by itself became its alarm waits for an answer"),
        (lambda v: v["stage"]["healing"]["limit"][0]["says"].update(en="air dry"),
         "Healing: humidity at least 90 %; “air getting dry” became “air dry”"),
        (lambda v: v["stage"]["healing"]["limit"][0]["action"].update(en="Mist."),
         "“Check the tie and mist inside.” became “Mist.”"),
        (lambda v: v["stage"]["easing"]["dose"][1].update(bound_kpa_h=4.25), "4.25 kPa·h a day"),
        (lambda v: v["drying"]["critical_share"].update(source="weighed here"), "weighed here"),
        (lambda v: v["release"].update(light_step=0.3335), "33.3 % became 33.35 %"),
        (lambda v: v["method"]["cleft"].update(union_days=31),
         "Cleft graft, stock and scion are one from day: 30 became 31"),
        (lambda v: v["title"].update(en="Bagged"), "Name: Leafy scion under a tied bag became Bag"),
        (lambda v: v.update(source="our benches"), "common practice, no source became our benches"),
    ],
)  # fmt: skip
def test_what_changed_is_said_in_words_and_exactly(nursery, english, change, said):
    plan = nursery.plans["leafy-bag"]
    (line,) = changes_between(plan, altered(plan, change), english)
    assert said in line.replace("\N{NO-BREAK SPACE}", " ")


def filled(text: str, telling: Telling):
    read = toml_in(text, file="text")
    return read, form_parts(Filling(read, telling, {}, {}))


def test_a_form_sent_back_as_it_came_changes_nothing(nursery):
    for path in sorted((DEMO / "plans").glob("*.toml")):
        for words in (English(), Spanish()):
            text = path.read_text(encoding="utf-8")
            read, parts = filled(text, Telling(words, nursery.site, NIGHT, fahrenheit=False))
            figures = [one for part in parts for group in part.groups for one in group.figures]
            assert len(figures) > 100
            assert len({one.name for one in figures}) == len(figures)
            assert typed_values(parts, read, {one.name: one.value for one in figures}) == {}


@pytest.mark.parametrize(
    ("name", "typed", "now"),
    [
        ("stage/healing/limit/0/bound", " 82,5 ", 82.5),
        ("stage/healing/limit/0/bound", "82", 82.0),
        ("stage/healing/limit/0/on_delay_min", "12", 12),
        ("stage/healing/limit/0/on_delay_min", "12.5", 12.5),
        ("stage/healing/limit/0/on_delay_min", "soon", "soon"),
        ("stage/healing/limit/0/bound", "nan", "nan"),
        ("stage/healing/limit/0/priority", "low", "low"),
        ("stage/healing/blind_after_min", "12", 12),
        ("stage/healing/check/0/first_after_days", "3", 3),
        ("method/cleft/step/0/after_days", "61", 61),
        ("release/light_step", "0.25", 0.25),
    ],
)
def test_one_field_changes_one_value_of_the_text_and_keeps_every_comment(english, name, typed, now):
    text = (DEMO / "plans" / "leafy-bag.toml").read_text(encoding="utf-8")
    read, parts = filled(text, english)
    ((where, value),) = typed_values(parts, read, {name: typed}).items()
    assert (value, type(value)) == (now, type(now))
    made = with_values(text, {where: value})
    assert toml_in(made, file="text").value(where) == now
    old, new = text.splitlines(), made.splitlines()
    assert abs(len(new) - len(old)) <= 1
    assert len([line for line in old if line not in new]) <= 1
    assert [line for line in new if "#" in line] == [line for line in old if "#" in line]


def test_a_field_that_is_not_there_is_written_below_its_heading(text):
    bare = text.replace("blind_after_min = 10\n", "", 1)
    assert bare != text
    made = with_values(bare, {("stage", "healing", "blind_after_min"): 12})
    assert "[stage.healing]\nblind_after_min = 12\n" in made
    assert made.replace("blind_after_min = 12\n", "") == bare


def test_own_faults_of_an_edit_are_told_in_spanish(nursery, text):
    plan = nursery.plans["leafy-bag"]
    typed = (
        text.replace('id = "leafy-bag"', 'id = "x"', 1),
        "in_force_from = 2020-01-01T00:00:00Z\n" + text,
        "in_force_from = 2030-01-01T00:00:00\n" + text,
        text,
        "#" * 400_001,
    )
    for one in typed:
        with pytest.raises(Refused) as refused:
            drafted(one, [plan], at=NIGHT)
        for fault in refused.value.faults:
            assert has_spanish(fault), fault
