"""Batches through a spreadsheet and back, and what was changed by whom."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import pytest

from api.bookkeeping import Bookkeeping
from api.cli.main import main
from api.records.entries import Kind, known
from api.records.session import open_records, reading

DEMO = Path(__file__).parents[3] / "demo_data"


@pytest.fixture
def nursery(tmp_path, monkeypatch):
    """A folder with the demo's files and empty records, worked in."""
    shutil.copy(DEMO / "site.toml", tmp_path / "site.toml")
    shutil.copytree(DEMO / "plans", tmp_path / "plans")
    open_records(tmp_path / "graftvigil-data" / "records.sqlite").dispose()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def entries(nursery) -> int:
    records = open_records(nursery / "graftvigil-data" / "records.sqlite")
    with reading(records) as db:
        found = known(db).entries
    records.dispose()
    return found


def in_force(nursery):
    records = open_records(nursery / "graftvigil-data" / "records.sqlite")
    book = Bookkeeping(nursery / "site.toml", nursery / "plans", records).book.now
    records.dispose()
    return book


def exported(nursery):
    assert main(["batches", "export", "out.csv"]) == 0
    text = (nursery / "out.csv").read_bytes().decode("utf-8-sig")
    return list(csv.reader(io.StringIO(text, newline="")))


def write(nursery, rows, *, between=",", encoding="utf-8-sig") -> Path:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=between).writerows(rows)
    path = nursery / "in.csv"
    path.write_bytes(text.getvalue().encode(encoding))
    return path


def cell(rows, code, column, value):
    """The rows with one cell written anew."""
    at = rows[0].index(column)
    return [
        [value if i == at and row[0] == code else one for i, one in enumerate(row)] for row in rows
    ]


def taken(*more: str) -> int:
    return main(["batches", "import", "in.csv", "--by", "wren", *more])


def test_what_was_exported_and_is_taken_over_changes_nothing(nursery, capsys):
    rows = exported(nursery)
    assert len(rows) == len(in_force(nursery).site.batch) + 1
    shutil.copy(nursery / "out.csv", nursery / "in.csv")
    capsys.readouterr()
    assert taken() == 0
    assert capsys.readouterr().out == f"0 new, 0 changed, {len(rows) - 1} unchanged\n"
    assert entries(nursery) == 0


def test_what_was_entered_counts_for_the_commands_that_read_the_site_file(nursery, capsys):
    rows = exported(nursery)
    new = ["MG-77" if i == 0 else one for i, one in enumerate(rows[1])]
    new[rows[0].index("revision")] = ""
    write(nursery, [*rows, new])
    assert taken() == 0
    capsys.readouterr()
    assert main(["next", "--batch", "MG-77", "--json"]) in {0, 1}
    assert [one["code"] for one in json.loads(capsys.readouterr().out)["batches"]] == ["MG-77"]
    assert main(["labels", "--batch", "MG-77", "--out", "labels.pdf"]) == 0
    assert "1 labels in labels.pdf" in capsys.readouterr().out
    assert (
        main(
            [
                "lasts",
                "--site",
                "site.toml",
                *["--batch", "MG-77", "--temperature", "28", "--humidity", "90"],
            ]
        )
        == 0
    )
    assert "MG-77" in capsys.readouterr().out
    assert main(["next", "--batch", "MG-77", "--data", "elsewhere"]) == 2
    assert "there is no batch MG-77" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("between", "encoding"),
    [(",", "utf-8"), (";", "utf-8-sig"), ("\t", "utf-16"), (";", "cp1252")],
)
def test_separator_encoding_and_a_decimal_comma_are_recognised(nursery, capsys, between, encoding):
    rows = cell(exported(nursery), "MG-07", "cultivar", "Peñón temprano")
    rows = cell(rows, "MG-07", "scion_diameter_mm", "7,5")
    write(nursery, rows, between=between, encoding=encoding)
    assert taken("--note", "from the bench book") == 0
    assert "MG-07: changed\n0 new, 1 changed," in capsys.readouterr().out
    form = in_force(nursery).written(Kind.BATCH, "MG-07")
    assert (form["cultivar"], form["scion_diameter_mm"]) == ("Peñón temprano", 7.5)
    capsys.readouterr()
    assert main(["history", "batch", "MG-07", "--json"]) == 0
    first, second = json.loads(capsys.readouterr().out)["history"]
    assert (first["done"], second["done"]) == ("in_file", "changed")
    assert (second["by"], second["note"]) == ("wren", "from the bench book")
    assert {one["field"] for one in second["differences"]} == {"cultivar", "scion_diameter_mm"}
    assert main(["history", "batch", "MG-07"]) == 0
    assert 'cultivar: "' in capsys.readouterr().out


def test_a_new_row_is_a_new_batch_and_a_dry_run_keeps_nothing(nursery, capsys):
    rows = exported(nursery)
    new = ["MG-77" if i == 0 else one for i, one in enumerate(rows[1])]
    new[rows[0].index("revision")] = ""
    write(nursery, [*rows, new, ["", ""]])
    assert taken("--dry-run") == 0
    assert "Nothing was kept" in capsys.readouterr().out
    assert entries(nursery) == 0
    assert taken("--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["new"], told["changed"], told["kept"]) == (["MG-77"], [], True)
    assert in_force(nursery).written(Kind.BATCH, "MG-77") is not None


def test_every_fault_is_told_with_row_and_column_and_nothing_is_kept(nursery, capsys):
    rows = exported(nursery)
    codes = [row[0] for row in rows[1:]]
    rows = cell(rows, codes[0], "count", "some")
    rows = cell(rows, codes[1], "stages", "healing yesterday")
    rows = cell(rows, codes[2], "species", "")
    rows.append(list(rows[1]))
    write(nursery, rows)
    capsys.readouterr()
    assert taken() == 1
    out = capsys.readouterr().out
    assert ', count: "some" is not a whole number. Write digits only.' in out
    assert ', stages: "healing yesterday" lacks a stage, an instant or a reason.' in out
    assert ", species: is empty. Write what holds for this batch." in out
    assert f', code: "{codes[0]}" stands in row 2 already. Write one row for each batch.' in out
    assert "Nothing was kept: 4 faults." in out
    assert entries(nursery) == 0


def test_a_row_that_would_make_the_site_faulty_is_told_by_its_row(nursery, capsys):
    rows = exported(nursery)
    code = rows[3][0]
    rows = cell(cell(rows, code, "bench", "b77"), rows[1][0], "count", "5")
    path = write(nursery, rows)
    begins = (
        path.read_text("utf-8-sig")
        .splitlines()
        .index(
            next(line for line in path.read_text("utf-8-sig").splitlines() if line.startswith(code))
        )
    )
    capsys.readouterr()
    assert taken("--json") == 1
    told = json.loads(capsys.readouterr().out)
    assert told["kept"] is False
    (fault,) = told["faults"]
    assert (fault["row"], fault["column"]) == (begins + 1, "bench")
    assert fault["problem"] == 'there is no bench "b77"'
    assert entries(nursery) == 0


def test_a_table_exported_before_someone_else_changed_a_batch_does_not_undo_it(nursery, capsys):
    rows = exported(nursery)
    write(nursery, cell(rows, "MG-07", "count", "5"))
    assert taken() == 0
    write(nursery, cell(rows, "MG-07", "count", "6"))
    capsys.readouterr()
    assert taken() == 1
    assert "revision: MG-07 was changed by someone else" in capsys.readouterr().out
    assert in_force(nursery).written(Kind.BATCH, "MG-07")["count"] == 5


@pytest.mark.parametrize(
    ("heading", "said"),
    [
        ("codes,count", 'codes: is no column. Did you mean "code"?'),
        ("count,bench", "code: is missing."),
        ("code,count,count", "count: is there twice."),
    ],
)
def test_headings_that_are_wrong_are_told_first(nursery, capsys, heading, said):
    (nursery / "in.csv").write_text(f"{heading}\nMG-07,4,5\n", encoding="utf-8")
    assert taken() == 1
    assert said in capsys.readouterr().out


def test_a_few_columns_change_only_what_they_hold(nursery, capsys):
    before = in_force(nursery).written(Kind.BATCH, "MG-07")
    (nursery / "in.csv").write_text("code;count\nMG-07;4\n", encoding="utf-8")
    assert taken() == 0
    assert in_force(nursery).written(Kind.BATCH, "MG-07") == {**before, "count": 4}
    (nursery / "in.csv").write_text("code;count\nMG-77;4\n", encoding="utf-8")
    capsys.readouterr()
    assert taken() == 1
    assert "row 2, bench: is missing for a new batch." in capsys.readouterr().out


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02", b'code,count\n"MG-07,4\n'])
def test_a_file_that_is_no_table_is_refused_in_words(nursery, capsys, content):
    (nursery / "in.csv").write_bytes(content)
    assert taken() == 1
    assert "Nothing was kept" in capsys.readouterr().out


def test_what_is_missing_on_the_command_line_is_told(nursery, capsys):
    assert main(["batches", "import", "in.csv"]) == 2
    assert "--by: is missing" in capsys.readouterr().err
    assert main(["batches", "import", "--by", "wren"]) == 2
    assert "FILE: is missing" in capsys.readouterr().err
    assert taken() == 2
    assert "can't be read" in capsys.readouterr().err
    assert main(["batches", "export", "no/such/out.csv"]) == 2
    assert "can't be written" in capsys.readouterr().err
    assert main(["history", "batch", "MG-00"]) == 2
    assert "never was one" in capsys.readouterr().err
    assert main(["history", "batch", "MG-07"]) == 0
    assert "nothing entered" in capsys.readouterr().out
