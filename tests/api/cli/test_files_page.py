"""Every command on the page about recorded files prints what the page says."""

from __future__ import annotations

import re
import shlex
import shutil
import tomllib
from pathlib import Path

from api.cli.main import main
from collector.files.load import _CLOCK_SET_MS
from collector.files.mapping import FIELDS, FileMapping

ROOT = Path(__file__).parents[3]
PAGE = ROOT / "docs" / "files.md"
BLOCK = re.compile(
    r"`(?P<name>[\w.-]+\.csv)`:\n\n```text\n(?P<file>.*?)```"
    r"|```console [^\n]*\n\$ graftvigil (?P<command>.*?)\n(?P<output>.*?)```",
    re.S,
)


def test_every_command_on_the_page_prints_what_stands_there(tmp_path, monkeypatch, capsys):
    shutil.copy(ROOT / "demo_data" / "site.toml", tmp_path / "site.toml")
    monkeypatch.chdir(tmp_path)
    ran = 0
    for block in BLOCK.finditer(PAGE.read_text(encoding="utf-8")):
        if block["name"]:
            (tmp_path / block["name"]).write_text(block["file"], encoding="utf-8")
            continue
        main(shlex.split(block["command"]))
        said = capsys.readouterr()
        assert said.out + said.err == block["output"], block["command"]
        ran += 1
    assert ran == 6
    assert (tmp_path / "logger.map.toml").is_file()


def test_the_mapping_on_the_page_can_be_read():
    (text,) = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    mapping = FileMapping.model_validate(tomllib.loads(text))
    assert mapping.missing == (-1,)
    assert mapping.column["#5"].channel == "-"


def test_every_key_of_a_mapping_is_on_the_page():
    text = PAGE.read_text(encoding="utf-8")
    assert [key for key in FIELDS if f"| `{key}` |" not in text] == []


def test_the_day_before_which_a_clock_is_held_to_be_unset_is_the_one_on_the_page():
    assert _CLOCK_SET_MS == 946_771_200_000
    assert "before 2000-01-02" in PAGE.read_text(encoding="utf-8")
