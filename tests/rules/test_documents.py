"""Every example on the pages about sums runs and gives what it prints."""

from __future__ import annotations

import doctest
from pathlib import Path

import pytest

PAGES = sorted((Path(__file__).parents[2] / "docs" / "sums").glob("*.md"))


def test_there_are_pages_to_check():
    assert {page.name for page in PAGES} >= {"air.md", "light.md"}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_page_of_sums_prints_what_its_examples_give(page):
    result = doctest.testfile(str(page), module_relative=False, encoding="utf-8")
    assert result.attempted > 0
    assert result.failed == 0
