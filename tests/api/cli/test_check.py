"""`graftvigil check` as a grower meets it: files that are missing, odd, good, or a single plan."""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from datetime import time
from pathlib import Path

import pytest

from api.cli import check
from api.site_files import is_plan, read_plans, read_site
from api.written.notes import gaps_in_week
from rules.model.people import WEEK, Shift, Weekday

REPOSITORY = Path(__file__).parents[3]
DEMO = REPOSITORY / "demo_data"
GOOD = REPOSITORY / "tests" / "faulty" / "good"


def run(*words: str) -> int:
    parser = argparse.ArgumentParser(prog="graftvigil")
    check.register(parser.add_subparsers(required=True))
    arguments = parser.parse_args(["check", *words])
    return arguments.run(arguments)


def test_the_demo_nursery_has_no_faults(capsys):
    assert run(str(DEMO / "site.toml")) == 0
    assert capsys.readouterr().out.splitlines()[-1].startswith("No faults")


def test_every_plan_of_the_demo_can_be_checked_alone(capsys):
    plans = sorted((DEMO / "plans").glob("*.toml"))
    assert plans
    for plan in plans:
        assert is_plan(plan)
        assert run(str(plan)) == 0
    assert capsys.readouterr().out.count("No faults, 0 notes: 1 care plan") == len(plans)


def test_a_faulty_plan_alone_is_bad_input(tmp_path, capsys):
    text = (GOOD / "plans" / "leafy-bag.toml").read_text()
    plan = tmp_path / "plan.toml"
    plan.write_text(text.replace("bound = 90.0", "bound = 900.0"))
    assert run(str(plan)) == 2
    assert f"{plan}:16: stage.healing.limit[air-dry].bound: 900 lies" in capsys.readouterr().out


def test_json_carries_the_same_faults(tmp_path, capsys):
    site = tmp_path / "site.toml"
    site.write_text((GOOD / "site.toml").read_text().replace('who = "mei"', 'who = "may"'))
    assert run(str(site), "--plans", str(GOOD / "plans"), "--json") == 2
    told = json.loads(capsys.readouterr().out)
    assert told == {
        "good": False,
        "faults": [
            {
                "file": str(site),
                "line": 77,
                "field": "shift[#1].who",
                "problem": 'there is no person "may"',
                "fix": "Write one of mei.",
            }
        ],
        "notes": [],
    }


def test_json_says_good_when_it_is(capsys):
    assert run(str(GOOD / "site.toml"), "--json") == 0
    assert json.loads(capsys.readouterr().out) == {"good": True, "faults": [], "notes": []}


ODD_FILES = {
    "missing": (None, "cannot be read (no such file or directory)"),
    "empty": (b"", "holds nothing"),
    "only a comment": (b"# soon\n", "holds nothing"),
    "binary": (b"\x00\x01\x02\xff", "is not text"),
    "UTF-16": ('lead = "mei"\n'.encode("utf-16"), "is text in UTF-16"),
    "Latin-1": ('lead = "mei"\n# ñ\n'.encode("latin-1"), "has a character that is not UTF-8"),
    "too large": (b"#" * 4_000_001, "is larger than 4 MB"),
    "too deep": (b"a = " + b"[" * 5000, "has lists within lists too deep to read"),
    "too long a number": (b"a = " + b"9" * 5000, "holds a number too long to read"),
}


@pytest.mark.parametrize("kind", ODD_FILES)
def test_an_odd_file_is_one_line(kind, tmp_path, capsys):
    raw, problem = ODD_FILES[kind]
    site = tmp_path / "site.toml"
    if raw is not None:
        site.write_bytes(raw)
    assert run(str(site), "--plans", str(GOOD / "plans")) == 2
    line, summary = capsys.readouterr().out.splitlines()
    assert problem in line
    assert line.startswith(f"{site}:{2 if kind == 'Latin-1' else 1}: ")
    assert summary == "1 fault, 0 notes"


def test_a_folder_is_told_as_such(tmp_path, capsys):
    assert run(str(tmp_path), "--plans", str(GOOD / "plans")) == 2
    assert f"{tmp_path}:1: file: is a folder. Name the file in it." in capsys.readouterr().out


def test_a_pipe_is_not_waited_for(tmp_path, capsys):
    pipe = tmp_path / "site.toml"
    os.mkfifo(pipe)
    assert run(str(pipe), "--plans", str(GOOD / "plans")) == 2
    assert "is a device, not a file" in capsys.readouterr().out


def test_a_missing_plans_folder_is_one_fault_and_not_one_for_each_batch(tmp_path, capsys):
    assert run(str(GOOD / "site.toml"), "--plans", str(tmp_path / "none")) == 2
    line, summary = capsys.readouterr().out.splitlines()
    assert line.startswith(f"{tmp_path / 'none'}:1: folder: cannot be read")
    assert summary == "1 fault, 0 notes"


def test_a_folder_without_plans_is_told(tmp_path, capsys):
    assert run(str(GOOD / "site.toml"), "--plans", str(tmp_path)) == 2
    assert "holds no care plan (no file *.toml)" in capsys.readouterr().out


def test_two_plans_with_one_name_are_told(tmp_path, capsys):
    text = (GOOD / "plans" / "leafy-bag.toml").read_text()
    (tmp_path / "a.toml").write_text(text)
    (tmp_path / "b.toml").write_text(text)
    assert run(str(GOOD / "site.toml"), "--plans", str(tmp_path)) == 2
    expected = f'{tmp_path / "b.toml"}:1: id: "leafy-bag" is already the id of the plan in'
    assert expected in capsys.readouterr().out


def test_a_file_this_user_may_not_read_is_told():
    """Root may read everything, so the question is asked as another user."""
    asked = (
        "import os, sys, pathlib; from api.site_files import read_site\n"
        "if os.geteuid() == 0: os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "print(*read_site(pathlib.Path(sys.argv[1]))[1])"
    )
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        site = Path(folder) / "site.toml"
        site.write_text('lead = "mei"\n')
        site.chmod(0)
        said = subprocess.run(
            [sys.executable, "-c", asked, str(site)],
            cwd=REPOSITORY,
            capture_output=True,
            text=True,
            check=True,
        )
    assert "cannot be read (permission denied)" in said.stdout


def test_windows_line_ends_and_a_byte_order_mark_are_fine(tmp_path):
    site = tmp_path / "site.toml"
    text = (GOOD / "site.toml").read_text().replace("\n", "\r\n")
    site.write_text(text, encoding="utf-8-sig", newline="")
    assert read_site(site)[1] == ()


def test_every_fault_of_a_file_is_told_at_once_in_the_order_of_its_lines(tmp_path):
    text = (GOOD / "site.toml").read_text()
    for was, now in [
        ("latitude_deg = -24.0", "latitude_deg = -240.0"),
        ("count = 24", "count = 0"),
        ('who = "mei"', 'who = "may"'),
        ("y_m = 1.0", "y_m = 7.0"),
    ]:
        text = text.replace(was, now)
    site = tmp_path / "site.toml"
    site.write_text(text)
    read, faults = read_site(site)
    assert read is None
    assert [fault.line for fault in faults] == [5, 22, 58, 77]


def test_a_plan_with_faults_is_left_out_and_the_others_are_kept(tmp_path):
    text = (GOOD / "plans" / "leafy-bag.toml").read_text()
    (tmp_path / "a.toml").write_text(text)
    (tmp_path / "b.toml").write_text(text.replace("version = 1", 'version = "1"'))
    plans, faults = read_plans(tmp_path)
    assert list(plans) == ["leafy-bag"]
    assert {Path(fault.file).name for fault in faults} == {"b.toml"}


def test_the_hours_with_nobody_on_duty_run_over_sunday_midnight():
    days = tuple(day for day in WEEK if day not in {Weekday.SUN, Weekday.MON})
    shifts = [
        Shift(who="a", days=days, start=time(0), end=time(0)),
        Shift(who="b", days=(Weekday.SUN,), start=time(0), end=time(22)),
        Shift(who="b", days=(Weekday.MON,), start=time(6), end=time(0)),
    ]
    assert gaps_in_week(shifts) == [(6 * 1440 + 22 * 60, 7 * 1440 + 6 * 60)]


def test_a_shift_over_midnight_leaves_only_the_day():
    shift = Shift(who="a", days=WEEK, start=time(18), end=time(6))
    gaps = gaps_in_week([shift])
    assert gaps == [(day * 1440 + 360, day * 1440 + 1080) for day in range(7)]
