"""Tern Hollow at ten past two as a data folder that a run could have left, and its copies."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert

from api.backup.going import Going
from api.backup.making import Sources, make_backup
from api.records.account_tables import invitations, personal_tokens, sign_in_sessions
from api.records.runs import begin_run
from api.records.session import open_records, writing
from api.records.tables import observations, outbox, photos
from collector.stores.sqlite import SqliteStore
from collector.stores.upkeep import Upkeep
from rules.model.reading import Reading

DEMO = Path(__file__).parents[3] / "demo_data"
MADE = datetime(2026, 11, 14, 15, 10, 30, tzinfo=UTC)


@dataclass(frozen=True)
class Home:
    """A data folder with its site and plans, and what is backed up of it."""

    data: Path
    site: Path
    plans: Path
    records: Path | str

    def sources(self, **extra: bytes) -> Sources:
        return Sources(
            data=self.data,
            records=self.records,
            site=self.site,
            plans=self.plans,
            program="0.1.0",
            extra=extra,
            secrets=False,
            archive=None,
        )

    def backed_up(self, folder: Path, *, now: datetime = MADE) -> Path:
        return make_backup(self.sources(), folder, now=now, going=Going())


def _fill(home: Home) -> None:
    """Add what a night alone does not bring: packed days, photos, sessions, a message owed."""
    store = SqliteStore(home.data / "readings.sqlite")
    early_ms = int(MADE.timestamp() * 1000) - 40 * 86_400_000
    store.keep([Reading("bag-07/air", early_ms + n * 60_000, 20 + n % 7 / 10) for n in range(4000)])
    upkeep = Upkeep(
        store.file,
        raw_days=0,
        clock_ms=lambda: int(MADE.timestamp() * 1000),
        safe_sequence=lambda: 2**62,
        kept_elsewhere=False,
    )
    while upkeep.step() is not None:
        pass
    store.close()
    engine = open_records(home.records)
    with writing(engine) as db:
        begin_run(db, at=MADE - timedelta(hours=14))  # it runs, and never comes to its end
        seen = {"batch": "MG-07", "at_ms": 1, "seen": "droop", "by": "wren", "note": "ñ\x7f✓"}
        db.execute(insert(observations).values(id=900, entered_ms=2, **seen))
        picture = bytes(range(256)) * 40
        kept = {"digest": "d", "width": 1, "height": 1, "by": "wren", "added_ms": 3}
        db.execute(insert(photos).values(id=900, observation=900, image=picture, small=b"", **kept))
        owed = {"batch": "MG-07", "about_ms": 1, "person": "wren", "kind": "test"}
        owed |= {"language": "en", "channel": "email", "owed_ms": 1, "due_ms": 1, "attempts": 0}
        db.execute(insert(outbox).values(id=900, cause="owed.1", **owed))
        db.execute(insert(outbox).values(id=901, cause="sent.1", sent_ms=5, **owed))
        signed = {"person": "wren", "made_ms": 1, "expires_ms": 2**52}
        here = {"address": "::1", "browser": "b", "seen_ms": 1}
        db.execute(insert(sign_in_sessions).values(hash="a" * 64, **signed, **here))
        db.execute(insert(invitations).values(hash="b" * 64, **signed))
        db.execute(
            insert(personal_tokens).values(
                hash="c" * 64, person="wren", name="logger", role="viewer", made_ms=1
            )
        )
    engine.dispose()


@pytest.fixture(scope="session")
def pattern(filled: Path, tmp_path_factory: pytest.TempPathFactory) -> Home:
    """The filled data folder; only looked at, or copied."""
    folder = tmp_path_factory.mktemp("home")
    data = folder / "data"
    data.mkdir()
    for name in ("readings", "records"):
        shutil.copyfile(filled / f"{name}.db", data / f"{name}.sqlite")
    shutil.copyfile(DEMO / "site.toml", folder / "site.toml")
    shutil.copytree(DEMO / "plans", folder / "plans")
    home = Home(data, folder / "site.toml", folder / "plans", data / "records.sqlite")
    _fill(home)
    return home


@pytest.fixture(scope="session")
def backup(pattern: Home, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A whole backup of it; only looked at, or copied."""
    return pattern.backed_up(tmp_path_factory.mktemp("backups"))


@pytest.fixture
def copy(backup: Path, tmp_path: Path) -> Path:
    """A backup of the test's own, to be damaged."""
    return Path(shutil.copytree(backup, tmp_path / "copies" / backup.name))


@pytest.fixture
def home(pattern: Home, tmp_path: Path) -> Home:
    """A data folder of the test's own."""
    folder = Path(shutil.copytree(pattern.data.parent, tmp_path / "home"))
    data = folder / "data"
    return Home(data, folder / "site.toml", folder / "plans", data / "records.sqlite")
