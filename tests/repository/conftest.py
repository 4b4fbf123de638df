"""The files of the repository, as git sees them."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the clone."""
    return ROOT


@pytest.fixture(scope="session")
def files() -> list[Path]:
    """Every file of the repository, relative to its folder, those not yet added included."""
    listed = subprocess.run(
        ["git", "-c", "safe.directory=*", "ls-files", "-co", "--exclude-standard", "-z"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    names = sorted(Path(name) for name in listed.stdout.split("\0") if name)
    found = [name for name in names if (ROOT / name).is_file()]
    assert len(found) > 50, "git lists too few files to be the whole repository"
    return found
