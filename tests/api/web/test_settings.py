"""The page of settings says what is missing and what to do, and never a secret."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import httpx
import pytest
from pydantic import SecretStr

from api.backup.schedule import ScheduledBackups
from api.book import in_force_of
from api.settings import SECRETS, Settings
from rules.model.fault import Fault

SECRET = "a-word-nobody-may-see"


def text_of(answer) -> str:
    assert answer.status_code == 200, answer.text
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.text)))


@pytest.fixture
def shown(tern_hollow, serving):
    def page(settings: Settings, path: str = "/settings") -> str:
        parts = replace(tern_hollow.parts, settings=settings)
        with serving(parts) as address:
            return text_of(httpx.get(f"{address}{path}", timeout=30))

    return page


def test_no_mail_server_is_said_with_what_to_do(shown):
    text = shown(Settings())
    assert "No mail can be sent" in text
    assert "GRAFTVIGIL_MAIL_SERVER" in text
    assert "Ponga GRAFTVIGIL_MAIL_SERVER" in shown(Settings(), "/settings?lang=es")


def test_what_is_set_is_missing_no_more_and_no_secret_is_shown(shown):
    schemes = {"records_url": "postgresql", "heartbeat_url": "https"}
    secrets = {
        name: SecretStr(f"{schemes.get(name, 'smtp')}://u:{SECRET}@host:25/name")
        for name in SECRETS
    }
    text = shown(Settings(**secrets, broker=f"mqtts://{SECRET}@host:8883"))
    assert "No mail can be sent" not in text
    assert "nobody outside is told" not in text
    assert SECRET not in text
    assert "mqtts://…@host:8883" in text


def test_no_backup_is_said_and_when_the_last_one_was_tried(tern_hollow, serving, tmp_path, shown):
    assert "No backup is made by itself. Do: Set GRAFTVIGIL_BACKUP" in shown(Settings())
    settings = Settings(backup=tmp_path)
    backups = ScheduledBackups(
        settings,
        tmp_path,
        tern_hollow.parts.book,
        tern_hollow.parts.clock,
        environment={},
        stop=tern_hollow.parts.stopping,
    )
    parts = replace(tern_hollow.parts, settings=settings, backups=backups)
    with serving(parts) as address:
        text = text_of(httpx.get(f"{address}/settings", timeout=30))
        assert "No backup has been made and tried yet." in text
        assert "No backup is made by itself" not in text
        backups.state = replace(backups.state, good_at=parts.clock.now())
        text = text_of(httpx.get(f"{address}/settings?lang=es", timeout=30))
        assert "Última copia de seguridad, hecha y probada: 02:10." in text


def test_every_setting_is_listed(shown):
    text = shown(Settings())
    for name in Settings.model_fields:
        assert f"GRAFTVIGIL_{name.upper()} " in text


def test_what_is_kept_out_says_where_and_how_to_mend_it(client, tern_hollow):
    tern_hollow.parts.book.trouble = (
        Fault("site.toml", 12, "bench[b9]", "stands in no house", "Name a house of the site."),
    )
    text = text_of(client.get("/settings"))
    assert "site.toml, line 12, bench[b9]: stands in no house. Name a house of the site." in text


def test_probes_without_calibration_and_hours_without_anyone_are_named(client, tern_hollow):
    text = text_of(client.get("/settings"))
    channels = tern_hollow.parts.site.channels
    now = tern_hollow.clock.now()
    never = [
        key
        for key, one in channels.items()
        if one.quantity in {"air_temperature", "relative_humidity"}
        and one.calibration_at(now) is None
    ]
    assert never
    listed = text.split("Never checked against anything true: ")[1].split(".")[0]
    assert listed.split(", ") == never


def test_a_batch_that_no_sensor_speaks_for_is_named(season_client, at_season_end):
    assert "can't be seen" not in text_of(season_client.get("/settings"))
    site = at_season_end.parts.site
    raw = site.model_dump(mode="json", exclude_none=True)
    for sensor in raw["sensor"]:
        for position in sensor["position"]:
            position["until"] = "2026-10-01T00:00:00+10:00"
    at_season_end.parts.book.put(
        in_force_of(type(site).model_validate(raw), at_season_end.parts.plans)
    )
    text = text_of(season_client.get("/settings"))
    assert "MG-07: no sensor tells its" in text
