"""Logs that tell of the plugs in words alone, in one column of notes or in several."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from openpyxl import Workbook

from engine_rules.logbook import LogbookError
from workbook_template.command_line import run_command
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.how_read import HOW_READ, NotRecognised
from workbook_template.read import ReadBook, read_logbook


def worded(*columns: str, rows: list[list[str]]) -> Workbook:
    """A log of the runs' numbers and days, and of what was written on each."""
    book = Workbook()
    page = book.active
    assert page is not None
    page.title = "Log"
    page.append(["Run", "Date", "Timing", *columns])
    for number, texts in enumerate(rows, start=1):
        page.append([number, datetime(2026, 5, 2 + number), 34, *texts])
    return book


def specks(book: ReadBook) -> dict[int, str | None]:
    """Cylinder -> the word for its specks in the newest run."""
    found = {reading.cylinder: reading.sign("specks") for reading in book.logbook.runs[-1].readings}
    return {number: sign.word for number, sign in found.items() if sign is not None}


def told(path: Path, cylinders: object) -> None:
    """Answer how many cylinders there are, as the racer does."""
    book = openpyxl.load_workbook(path)
    page = book[HOW_READ]
    row = next(cell.row for cell in page["A"] if cell.value == "Cylinders")
    page.cell(row, 8, cylinders)
    book.save(path)


@pytest.mark.parametrize("heading", ["Plugs", "Plug notes", "Comments"])
def test_words_on_the_whole_run_are_read_once_the_cylinders_are_told(heading: str, tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    worded(heading, rows=[["new plugs, clean cut, pepper on 7, all tan"]]).save(path)
    assert run_command(["fill", str(path)]) == 2
    told(path, 8)
    assert run_command(["fill", str(path)]) == 0
    filled = openpyxl.load_workbook(path)
    read = read_logbook(blocks_from_workbook(filled))
    assert read.logbook.engine.numbers == tuple(range(1, 9))
    assert specks(read) == {7: "few black"}
    assert "Next run" in filled.sheetnames


def test_a_wrong_number_of_cylinders_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    worded("Plugs", rows=[["pepper on 7 and the rest tan"]]).save(path)
    assert run_command(["fill", str(path)]) == 2
    told(path, "a few")
    with pytest.raises(LogbookError, match="'a few' is not a number of cylinders"):
        read_logbook(blocks_from_workbook(openpyxl.load_workbook(path)))


def test_words_that_nobody_can_place_are_refused_with_the_question() -> None:
    with pytest.raises(NotRecognised, match="say how many cylinders there are") as refused:
        read_logbook(blocks_from_workbook(worded("Plugs", rows=[["pepper on 7 and the rest tan"]])))
    assert [line.heading for line in refused.value.how_read.engine] == ["Cylinders"]


def test_every_column_of_notes_counts() -> None:
    book = worded("Comments", "Plug notes", "Cyl 1 ring", "Cyl 2 ring", rows=[["lifted early", "pepper on 2", "", ""]])
    page = book["Log"]
    for column in (6, 7):
        page.cell(2, column, "thin line")
    read = read_logbook(blocks_from_workbook(book))
    (run,) = read.logbook.runs
    assert [(note.value, str(note.cell)) for note in run.notes] == [
        ("lifted early", "Log!D2"),
        ("pepper on 2", "Log!E2"),
    ]
    assert specks(read) == {2: "few black"}
    assert run.conduct.lifted_or_spun is not None and run.conduct.lifted_or_spun.value
    assert str(run.conduct.lifted_or_spun.cell) == "Log!D2"
