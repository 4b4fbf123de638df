"""`graftvigil next` as a grower reads it in the morning."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from api.cli.main import main

REPOSITORY = Path(__file__).parents[3]
DEMO = REPOSITORY / "demo_data" / "site.toml"
GOOD = REPOSITORY / "tests" / "faulty" / "good"


def said(capsys, *words: str, site: Path = DEMO, today: str = "2026-11-14"):
    code = main(["next", "--site", str(site), "--today", today, *words])
    return code, capsys.readouterr().out


def asked(capsys, *words: str, today: str = "2026-11-14") -> dict:
    code, out = said(capsys, "--json", *words, today=today)
    told = json.loads(out)
    assert code == (1 if told["trouble"] else 0)
    return told


def test_a_bag_that_is_being_opened_says_when_and_how_far_next(capsys):
    code, out = said(capsys, "--batch", "AV-04")
    assert code == 0
    assert out.splitlines()[:2] == [
        "AV-04: easing, 29 days since grafting, leafy-bag",
        "  next       2026-11-15: Open the cover to about 70 %, towards evening. "
        "Look for droop next day.",
    ]
    assert "moved to full sun: a cover in strong light cooks what is under it" in out


def test_one_forgotten_check_is_trouble_and_named(capsys):
    code, out = said(capsys)
    assert code == 1
    assert out.splitlines()[-1] == "2026-11-14: late or against the plan: MG-09"
    assert "  due        since 2026-11-11: Look for droplets inside the bag" in out


def test_the_whole_way_ends_in_full_sun_and_release(capsys):
    (batch,) = asked(capsys, "--batch", "AV-04")["batches"]
    kinds = [step["kind"] for step in batch["way_out"]]
    assert batch["next"] == batch["way_out"][0]
    assert kinds[-2:] == ["full_sun", "move_stage"]
    assert [step["on"] for step in batch["way_out"][:3]] == [
        "2026-11-15",
        "2026-11-17",
        "2026-11-19",
    ]
    _, out = said(capsys, "--batch", "AV-04", "--way")
    assert len(re.findall(r"^  (?:next|then) ", out, re.M)) == len(kinds)


def test_json_says_what_is_refused_why_and_what_to_do_instead(capsys):
    (batch,) = asked(capsys, "--batch", "MG-07")["batches"]
    assert (batch["stage"], batch["days_since_grafting"]) == ("healing", 11)
    sun = next(one for one in batch["not_now"] if one["what"] == "full_sun")
    assert (sun["verdict"], sun["guard"]) == ("refused", "sun_under_cover")
    assert sun["instead"] == "Keep it shaded until the cover is off."
    assert batch["due"][0] == {
        "id": "condensation",
        "due_on": "2026-11-14",
        "overdue_days": 0,
        "last_on": "2026-11-13",
        "seen": "checked",
        "share": None,
        "says": "Look for droplets inside the bag; none: mist and retie.",
    }


def test_every_batch_of_the_demo_is_on_its_plan(capsys):
    told = asked(capsys)
    assert len(told["batches"]) == 12
    assert [one["code"] for one in told["batches"] if one["found"]] == []
    assert all(one["next"] for one in told["batches"])


def test_later_in_the_month_what_nobody_did_is_late(capsys):
    told = asked(capsys, "--batch", "AV-04", today="2026-11-25")
    step = told["batches"][0]["next"]
    assert (step["on"], step["due_on"], step["overdue_days"]) == ("2026-11-25", "2026-11-15", 10)
    assert told["trouble"]


def test_spanish_is_spanish(capsys):
    _, out = said(capsys, "--batch", "AV-04", "--language", "es")
    assert "Abra la cubierta un 70 %, al atardecer." in out


def with_deed(tmp_path, deed: str) -> Path:
    """The good site, with something done to its only batch."""
    site = tmp_path / "site.toml"
    text = (GOOD / "site.toml").read_text()
    done = f'[[batch.observation]]\nat = 2026-11-05T09:00:00+11:00\nseen = "{deed}"\n\n[[person]]'
    site.write_text(text.replace("[[person]]", done, 1))
    (tmp_path / "plans").mkdir()
    plan = (REPOSITORY / "demo_data" / "plans" / "leafy-bag.toml").read_text()
    (tmp_path / "plans" / "leafy-bag.toml").write_text(plan)
    return site


def test_a_bag_taken_off_before_new_growth_is_found(tmp_path, capsys):
    code, out = said(capsys, site=with_deed(tmp_path, "cover_off"), today="2026-11-05")
    assert code == 1
    assert "  wrong      2026-11-05 cover taken off: no new growth has been seen" in out


def test_a_plan_without_a_release_table_says_that_no_step_can_be_worked_out(capsys):
    code, out = said(capsys, site=GOOD / "site.toml")
    assert code == 0
    assert "the plan leafy-bag has no [release], so no step can be worked out" in out


def test_a_batch_that_is_not_there_is_bad_usage(capsys):
    assert main(["next", "--site", str(DEMO), "--batch", "XX-99"]) == 2
    assert "there is no batch XX-99. Known are MG-07, AV-12" in capsys.readouterr().err


def test_faults_in_the_files_are_told_and_nothing_is_guessed(tmp_path, capsys):
    site = tmp_path / "site.toml"
    site.write_text((GOOD / "site.toml").read_text().replace("count = 24", "count = 0"))
    assert main(["next", "--site", str(site), "--plans", str(GOOD / "plans")]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "batch[MG-07].count" in printed.err


def test_a_day_that_is_none_is_bad_usage(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["next", "--site", str(DEMO), "--today", "tomorrow"])
    assert ended.value.code == 2
    assert "--today" in capsys.readouterr().err


def test_without_a_day_it_speaks_of_today(capsys):
    code = main(["next", "--site", str(DEMO), "--batch", "AV-04"])
    assert code in {0, 1}
    assert re.search(r"^20\d\d-\d\d-\d\d: ", capsys.readouterr().out.splitlines()[-1])


def test_the_plan_in_force_on_the_day_is_the_one_that_speaks(tmp_path, capsys):
    site = with_deed(tmp_path, "condensation")
    plan = tmp_path / "plans" / "leafy-bag.toml"
    text = plan.read_text().replace("firm_days = 5", "firm_days = 9")
    changed = text.replace("version = 1", "version = 2\nin_force_from = 2026-11-20T00:00:00+11:00")
    (tmp_path / "plans" / "leafy-bag-2.toml").write_text(changed)
    versions = []
    for today in ("2026-11-19", "2026-11-20"):
        _, out = said(capsys, "--json", site=site, today=today)
        versions.append(json.loads(out)["batches"][0]["plan"]["version"])
    assert versions == [1, 2]


def test_the_example_in_the_documents_is_what_the_command_says(capsys):
    text = (REPOSITORY / "docs" / "stages.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"(?s)```text\n(.*?)```", text)
    _, out = said(capsys, "--batch", "AV-04", "--way")
    assert out == example
