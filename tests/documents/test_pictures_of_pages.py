"""The pictures in the documents are of the pages of today."""

from __future__ import annotations

import importlib.util
import io
import json
import re
import sys
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from PIL import Image

from api.settings import Settings

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "docs" / "pictures"
TAKEN = json.loads((PICTURES / "pages.json").read_text(encoding="utf-8"))
MOST_BYTES = 150_000
ANEW = "take them anew: .venv/bin/python docs/make_pictures.py"


@pytest.fixture
def make_pictures(monkeypatch):
    file = ROOT / "docs" / "make_pictures.py"
    spec = importlib.util.spec_from_file_location("make_pictures", file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, "make_pictures", module)  # its dataclasses look there
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def address(pages_nursery, filled, tmp_path_factory):
    nursery = pages_nursery.nursery(
        pages_nursery.copied(filled, tmp_path_factory.mktemp("pictures"))
    )
    parts = replace(nursery.parts, settings=Settings(accounts="off"))
    with pages_nursery.serving(parts) as served:
        yield served
    nursery.close()


@pytest.mark.parametrize("name", TAKEN)
def test_what_is_read_on_a_page_is_what_its_picture_was_taken_of(make_pictures, address, name):
    page = httpx.get(address + TAKEN[name]["path"], timeout=60)
    assert page.status_code == 200
    assert make_pictures.read_on(page.text) == TAKEN[name]["read"], ANEW


def test_every_picture_of_a_page_is_there_light_and_shown_in_a_document(make_pictures):
    assert {shot.name for shot in make_pictures.SHOTS} == set(TAKEN), ANEW
    shown = set()
    for document in (ROOT / "README.md", *(ROOT / "docs").glob("*.md")):
        shown |= set(re.findall(r"pictures/([\w-]+)\.png", document.read_text(encoding="utf-8")))
    for shot in make_pictures.SHOTS:
        kept = (PICTURES / f"{shot.name}.png").read_bytes()
        assert len(kept) < MOST_BYTES, shot.name
        assert Image.open(io.BytesIO(kept)).size == shot.size, shot.name
        assert shot.name in shown, f"{shot.name} is in no document"
    assert {one.stem for one in PICTURES.glob("*.png")} == set(TAKEN) | {"review"}
