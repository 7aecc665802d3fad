"""`strapline clear` on real files: the racer's file back, whoever saved it in between."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from openpyxl.workbook import Workbook

from tests.logs_on_disk import contents, strapline, write_log
from tests.workbook_template.racers_forms import sheet_per_run
from tests.workbook_template.racers_lists import two_cars, wide
from workbook_template.how_read import HEADS, HOW_READ, YOUR_MEANING

RACERS: dict[str, Callable[[], Workbook]] = {
    "a row for each run": lambda: wide(lambda number, name: f"Cyl {number} {name}"),
    "a form for each run": sheet_per_run,
    "two cars": two_cars,
}


def members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def values(path: Path) -> dict[str, list[list[object]]]:
    book = openpyxl.load_workbook(path)
    return {
        page.title: [
            row
            for row in ([cell.value for cell in cells] for cells in page.iter_rows())
            if any(v is not None for v in row)
        ]
        for page in book
    }


@pytest.mark.parametrize("made", RACERS.values(), ids=RACERS.keys())
def test_every_part_of_a_racers_own_book_comes_back(tmp_path: Path, made: Callable[[], Workbook]) -> None:
    log = tmp_path / "LOG.xlsx"
    made().save(log)
    before = members(log)
    assert strapline("fill", log, cwd=tmp_path).returncode == 0
    filled = log.read_bytes()
    done = strapline("clear", log, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "Took out of LOG.xlsx: the sheets " in done.stdout and HOW_READ in done.stdout
    assert "again as it was before the first fill" in done.stdout
    assert members(log) == before and list(members(log)) == list(before)
    assert (tmp_path / "LOG.backup-2.xlsx").read_bytes() == filled


def test_a_blank_workbook_keeps_the_racers_log(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx")
    before = members(log)
    assert strapline("fill", log, "--all", cwd=tmp_path).returncode == 0
    assert strapline("clear", log, "-o", "OUT.xlsx", cwd=tmp_path).returncode == 0
    assert members(tmp_path / "OUT.xlsx") == before
    assert "Next run" in openpyxl.load_workbook(log).sheetnames


def test_what_another_program_saved_since_is_kept(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx")
    before = values(log)
    assert strapline("fill", log, cwd=tmp_path).returncode == 0
    book = openpyxl.load_workbook(log)
    book["Runs"]["E4"] = "dyno pull"
    book.create_sheet("Tyres")["A1"] = "front 26 psi"
    book.save(log)
    done = strapline("clear", log, cwd=tmp_path)
    assert done.returncode == 0 and "Another program has saved" in done.stdout
    before["Runs"][3][4] = "dyno pull"
    assert values(log) == before | {"Tyres": [["front 26 psi"]]}


def test_answers_that_go_are_said_and_where_they_still_are(tmp_path: Path) -> None:
    log = tmp_path / "LOG.xlsx"
    RACERS["a row for each run"]().save(log)
    assert strapline("fill", log, cwd=tmp_path).returncode == 0
    book = openpyxl.load_workbook(log)
    page = book[HOW_READ]
    row = next(cell.row for cell in page["A"] if cell.value == HEADS[0]) + 1
    page.cell(row, YOUR_MEANING + 1, "not used")
    book.save(log)
    done = strapline("clear", log, cwd=tmp_path)
    assert f"Your answer on the sheet {HOW_READ} went too; LOG.backup-2.xlsx still has it" in done.stdout


def test_a_file_with_nothing_of_ours_is_left_as_it_is(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx")
    before = contents(tmp_path)
    done = strapline("clear", log, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "nothing of strapline's in LOG.xlsx" in done.stdout
    assert contents(tmp_path) == before


def test_what_is_no_workbook_gets_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "LOG.xlsx").write_bytes(b"Run,ET\n1,10.42\n")
    done = strapline("clear", "LOG.xlsx", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "") and done.stderr.count("\n") == 1
    assert contents(tmp_path) == {"LOG.xlsx": b"Run,ET\n1,10.42\n"}
