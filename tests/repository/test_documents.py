"""Documents say what the program does: decisions, changelog, settings, fields, commands."""

from __future__ import annotations

import re
import tomllib
import types
from enum import StrEnum
from typing import Annotated, Union, get_args, get_origin

import pytest
from pydantic import BaseModel

from api.cli.main import parser
from api.settings import SECRETS, Settings
from rules.model.plan import CarePlan
from rules.model.quantities import MEANINGS
from rules.model.site import Site


def models_under(model: type[BaseModel]) -> dict[str, type[BaseModel]]:
    """Return a model and every model that its fields hold, by name."""
    found = {model.__name__: model}
    for field in model.model_fields.values():
        for part in parts_of(field.annotation):
            if isinstance(part, type) and issubclass(part, BaseModel):
                found |= models_under(part)
    return found


def parts_of(annotation: object) -> list[object]:
    """Return the types an annotation is made of."""
    if get_origin(annotation) in {Annotated, Union, types.UnionType, tuple, dict}:
        return [part for inside in get_args(annotation) for part in parts_of(inside)]
    return [annotation]


def words_under(model: type[BaseModel]) -> dict[str, list[str]]:
    """Return the words allowed in every field that has a fixed list of them, by enum name."""
    return {
        part.__name__: [word.value for word in part]
        for inside in models_under(model).values()
        for field in inside.model_fields.values()
        for part in parts_of(field.annotation)
        if isinstance(part, type) and issubclass(part, StrEnum)
    }


MODELS = models_under(Site) | models_under(CarePlan)


def test_decisions_are_numbered_without_gaps(root):
    names = sorted(path.name for path in (root / "docs" / "decisions").glob("*.md"))
    numbers = [int(re.match(r"(\d{4})-[a-z0-9-]+\.md$", name)[1]) for name in names]
    assert numbers == list(range(1, len(names) + 1))


def test_a_decision_says_what_was_weighed_and_fits_a_page(root):
    for path in sorted((root / "docs" / "decisions").glob("*.md")):
        text = path.read_text(encoding="utf-8")
        number = path.name[:4]
        assert re.match(rf"# {number}[ :.]", text), f"{path.name} does not begin with its number"
        assert len(text.splitlines()) <= 60, f"{path.name} is longer than a page"
        for part in ("question", "weighed", "chosen", "change our mind"):
            assert part in text.lower(), f"{path.name} does not say: {part}"


def test_the_changelog_begins_with_this_version(root):
    versions = re.findall(r"^## \[(\d+\.\d+\.\d+)\]", (root / "CHANGELOG.md").read_text(), re.M)
    project = tomllib.loads((root / "pyproject.toml").read_text())["project"]
    assert versions
    assert versions[0] == project["version"]


def test_every_setting_is_documented(root):
    text = (root / "docs" / "settings.md").read_text(encoding="utf-8")
    for name, field in Settings.model_fields.items():
        row = next(
            (line for line in text.splitlines() if f"`GRAFTVIGIL_{name.upper()}`" in line), ""
        )
        assert row, f"docs/settings.md does not name {name}"
        assert field.description in row, f"docs/settings.md: {name}: not as in api/settings.py"
        if field.default not in {None, ""}:
            assert f"`{field.default}`" in row, f"docs/settings.md: {name}: another default"


def test_no_document_names_a_setting_that_is_not_there(root):
    known = {f"GRAFTVIGIL_{name.upper()}" for name in Settings.model_fields}
    known |= {f"GRAFTVIGIL_{name.upper()}_FILE" for name in SECRETS}
    text = (root / "docs" / "settings.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`(GRAFTVIGIL_[A-Z_]+)`", text))
    reach = {name for name in named if name.startswith("GRAFTVIGIL_REACH_")}
    assert named - known - reach == set()


@pytest.mark.parametrize("name", sorted(MODELS))
def test_every_field_of_a_file_is_documented(name, root):
    text = (root / "docs" / "site_file.md").read_text(encoding="utf-8")
    section = re.search(rf"^#+ .*<!-- {name} -->\n(.*?)(?=^#|\Z)", text, re.M | re.S)
    assert section, f"docs/site_file.md has no section for {name}"
    named = re.findall(r"^\| `(\w+)` \|", section[1], re.M)
    assert named == list(MODELS[name].model_fields)


def test_every_word_that_a_field_allows_is_documented(root):
    text = (root / "docs" / "site_file.md").read_text(encoding="utf-8")
    for enum, words in (words_under(Site) | words_under(CarePlan)).items():
        missing = [word for word in words if f"`{word}`" not in text]
        assert missing == [], f"{enum}: docs/site_file.md does not name {missing}"


def test_every_unit_is_documented(root):
    text = (root / "docs" / "site_file.md").read_text(encoding="utf-8")
    for quantity, meaning in MEANINGS.items():
        row = next((line for line in text.splitlines() if line.startswith(f"| `{quantity}` |")), "")
        assert row, f"docs/site_file.md has no row for {quantity}"
        for unit in meaning.units:
            assert f"`{unit}`" in row, f"docs/site_file.md: {quantity} without {unit}"


def test_the_example_in_the_reference_has_no_faults(root, tmp_path):
    from api.site_files import read_nursery

    text = (root / "docs" / "site_file.md").read_text(encoding="utf-8")
    site, plan = re.findall(r"^```toml\n(.*?)^```", text, re.M | re.S)
    (tmp_path / "plans").mkdir()
    (tmp_path / "site.toml").write_text(site, encoding="utf-8")
    (tmp_path / "plans" / "plan.toml").write_text(plan, encoding="utf-8")
    nursery = read_nursery(tmp_path / "site.toml", tmp_path / "plans")
    assert [str(line) for line in (*nursery.faults, *nursery.notes)] == []


def test_every_command_is_documented_as_its_help_says(root, monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    text = " ".join((root / "docs" / "commands.md").read_text(encoding="utf-8").split())
    top = parser()
    subcommands = next(action for action in top._actions if action.dest == "command")
    assert subcommands.choices
    for name, command in subcommands.choices.items():
        said = " ".join(command.format_help().split())
        assert said in text, f"docs/commands.md: {name}: not as `graftvigil {name} --help` says"
