"""Several files may hold versions of one plan, each in force from another instant."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.site_files import read_nursery, read_plans

GOOD = Path(__file__).parents[1] / "faulty" / "good"
CHANGE = datetime(2026, 11, 10, 6, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path):
    """Two versions of one plan; the second raises the bound to 92 % on 10 November."""
    text = (GOOD / "plans" / "leafy-bag.toml").read_text()
    (tmp_path / "old.toml").write_text(text)
    later = text.replace("version = 1", f"version = 2\nin_force_from = {CHANGE.isoformat()}")
    (tmp_path / "new.toml").write_text(later.replace("bound = 90.0", "bound = 92.0"))
    return tmp_path


def test_the_version_of_the_moment_is_in_force(folder):
    for at, version in ((CHANGE - timedelta(seconds=1), 1), (CHANGE, 2), (None, 2)):
        nursery = read_nursery(GOOD / "site.toml", folder, at=at)
        assert nursery.faults == ()
        assert nursery.plans["leafy-bag"].version == version
        assert [plan.version for plan in nursery.versions["leafy-bag"]] == [1, 2]


def test_read_plans_gives_the_last_version(folder):
    plans, faults = read_plans(folder)
    assert (plans["leafy-bag"].version, faults) == (2, ())


def faults_after(folder, was: str, now: str) -> list[str]:
    new = folder / "new.toml"
    text = new.read_text()
    assert was in text
    new.write_text(text.replace(was, now))
    return [str(fault) for fault in read_nursery(GOOD / "site.toml", folder).faults]


def test_two_versions_from_the_same_moment_are_told(folder):
    (line,) = faults_after(folder, f"in_force_from = {CHANGE.isoformat()}\n", "")
    assert line.startswith(f"{folder / 'new.toml'}:1: in_force_from: version 2 must be in force")


def test_a_higher_version_that_comes_earlier_is_told(folder):
    old = folder / "old.toml"
    old.write_text(
        old.read_text().replace("version = 1", "version = 1\nin_force_from = 2026-12-01T00:00:00Z")
    )
    (fault,) = read_nursery(GOOD / "site.toml", folder).faults
    assert (Path(fault.file).name, fault.line, fault.field) == ("new.toml", 3, "in_force_from")


def test_the_same_version_twice_is_told(folder):
    (line,) = faults_after(folder, "version = 2", "version = 1")
    assert '"leafy-bag" is already the id of the plan in' in line
    assert line.endswith("Give it another id; a new version of that plan, a higher number than 1.")


def test_a_version_for_another_kind_of_batch_is_told(folder):
    (line,) = faults_after(folder, '["tied_bag", "tent"]', '["tied_bag"]')
    assert "scion: version 1 was made for another scion or cover" in line


def test_a_faulty_version_leaves_the_others_in_force(folder):
    (line,) = faults_after(folder, "bound = 92.0", "bound = 920.0")
    assert "920 lies outside" in line
    plans, _ = read_plans(folder)
    assert plans["leafy-bag"].version == 1
