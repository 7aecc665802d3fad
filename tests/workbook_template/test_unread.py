"""A cell that cannot be read: refused in the run asked for, told in an older one, which then teaches nothing."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from engine_rules import advise
from engine_rules.logbook import LogbookError
from tests.logs_on_disk import COMMAND
from tests.workbook_template.logged_books import read
from tests.workbook_template.racers_books import LAYOUTS
from tests.workbook_template.racers_season import ordinary, season
from workbook_template.book import ReadBook

WIDE = "a row for each run, a block for each cylinder"
BY_CYLINDER = "a row for each cylinder, the run in the first"


def _under(sheet: Worksheet, heading: str, down: int) -> str:
    """The place so many rows below a heading."""
    cell = next(cell for row in sheet.iter_rows() for cell in row if cell.value == heading)
    return cell.offset(down, 0).coordinate


def _wrong(book: Workbook, sheet: str, heading: str, down: int, value: object) -> str:
    place = _under(book[sheet], heading, down)
    book[sheet][place] = value
    return f"{sheet}!{place}"


def _said(book: ReadBook, place: str) -> str:
    return next(one.text for one in book.logbook.findings if one.cell is not None and str(one.cell) == place)


@pytest.mark.parametrize(
    ("layout", "sheet", "heading", "value"),
    [
        ("", "Runs", "ET (s)", "ten"),
        ("", "Runs", "Clean cut", "so so"),
        ("", "Runs", "Jet LF", "#REF!"),
        ("", "Readings", "Ring", "wobbly"),
        ("", "Readings", "Cylinder", 11),
        (WIDE, "Runs 2026", "E.T.", "ten"),
        (WIDE, "Runs 2026", "Cyl 3 EGT", "hot"),
        (WIDE, "Runs 2026", "LF jet", "x" * 90),
        (BY_CYLINDER, "Log", "Strap", "somewhere"),
        (BY_CYLINDER, "Log", "Cyl", "rear"),
    ],
)
def test_an_old_run_is_set_aside_and_said_and_the_newest_is_refused(
    layout: str, sheet: str, heading: str, value: object
) -> None:
    make = LAYOUTS[layout] if layout else ordinary
    rows = 8 if layout == BY_CYLINDER or sheet == "Readings" else 1
    old = make()
    place = _wrong(old, sheet, heading, rows + 1, value)
    found = read(old)
    assert "nothing is learned from run 12" in _said(found, place)
    assert [run.name for run in found.logbook.runs] == [run["name"] for run in season()]
    twelve = found.logbook.run("12")
    assert twelve.result.et_s is None and all(one.egt_c is None for one in twelve.readings)
    assert advise(found.logbook, "14").run == found.run().name
    with pytest.raises(LogbookError, match=place):
        found.run("12")
    new = make()
    place = _wrong(new, sheet, heading, 3 * rows + 1, value)
    with pytest.raises(LogbookError, match=place):
        read(new)


def test_what_an_old_run_shows_of_danger_is_not_forgotten_for_a_slip_beside_it() -> None:
    book = ordinary()
    _wrong(book, "Readings", "Specks", 9, "bright")
    _wrong(book, "Readings", "Strap mark", 9, "somewhere")
    _wrong(book, "Runs", "Total timing (°)", 2, 34)
    reading = read(book).logbook.run("12").readings[0]
    assert {(sign.kind, sign.word) for sign in reading.signs} == {("specks", "bright"), ("porcelain", "tan")}


def test_all_runs_are_advised_but_the_one_that_cannot_be_read(tmp_path: Path) -> None:
    book = ordinary()
    place = _wrong(book, "Runs", "ET (s)", 2, "ten")
    log = tmp_path / "log.xlsx"
    book.save(log)
    filled = subprocess.run([COMMAND, "fill", log, "--all"], capture_output=True, text=True, check=True)
    assert "3 runs" in filled.stdout
    checked = subprocess.run([COMMAND, "check", log], capture_output=True, text=True, check=True)
    assert place in checked.stdout and "nothing is learned from run 12" in " ".join(checked.stdout.split())
    asked = subprocess.run([COMMAND, "fill", log, "--run", "12"], capture_output=True, text=True, check=False)
    assert asked.returncode == 2 and place in asked.stderr and asked.stderr.count("\n") == 1


def test_words_below_or_between_the_runs_name_no_run() -> None:
    book = LAYOUTS[WIDE]()
    sheet = book["Runs 2026"]
    column = sheet[_under(sheet, "Pass #", 1)].column
    sheet.insert_rows(4)
    sheet.cell(4, column, "Sunday")
    sheet.cell(sheet.max_row + 2, column, "all of these with the old carburetor, and so on")
    found = read(book).logbook
    assert [run.name for run in found.runs] == [run["name"] for run in season()]
    assert sum("names no run" in finding.text for finding in found.findings) == 2
