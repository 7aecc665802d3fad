"""Sheets as blocks of values, from files sound and broken."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from pathlib import Path

import openpyxl
import pytest

from engine_rules.logbook import LogbookError
from workbook_template.hosts.blocks import blocks_from_file, blocks_from_workbook
from workbook_template.hosts.protocol import CellError

BAD = Path(__file__).parents[4] / "shared" / "corpus" / "bad"
VALUES = [1, 2.5, True, "text", " ", datetime(2025, 6, 14, 14, 30), time(14, 30), "#DIV/0!", None, "1013 hPa"]


def test_values_come_in_the_kinds_of_the_protocol(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for column, value in enumerate([*VALUES, timedelta(minutes=90), timedelta(days=2)], start=2):
        book.worksheets[0].cell(3, column, value)
    book.save(tmp_path / "values.xlsx")
    (block,) = blocks_from_file(tmp_path / "values.xlsx")
    assert (block.first_row, block.first_column, block.last_row, block.last_column) == (1, 1, 3, 13)
    assert block.rows[0] == (None,) * 13
    read = [block.at(3, column) for column in range(2, 14)]
    moments = [datetime(2025, 6, 14, 14, 30), time(14, 30), CellError("#DIV/0!")]
    assert read[:10] == [1.0, 2.5, True, "text", " ", *moments, None, "1013 hPa"]
    assert [type(value) for value in read[:3]] == [float, float, bool]
    assert read[10:] == [time(1, 30), 2.0]


def test_every_sheet_is_read_in_the_order_of_the_book_and_blank_ends_are_left_off() -> None:
    book = openpyxl.Workbook()
    book.create_sheet("second").cell(2, 2, date(2025, 6, 14))
    book["second"].cell(9, 9).font = openpyxl.styles.Font(bold=True)
    first, second = blocks_from_workbook(book)
    assert (first.name, first.rows) == ("Sheet", ())
    assert (second.last_row, second.last_column, second.at(2, 2)) == (2, 2, datetime(2025, 6, 14))


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(LogbookError, match=r"no file gone\.xlsx"):
        blocks_from_file(tmp_path / "gone.xlsx")


def test_a_file_that_is_no_workbook_is_named(tmp_path: Path) -> None:
    (tmp_path / "notes.xlsx").write_text("not a workbook")
    with pytest.raises(LogbookError, match=r"notes\.xlsx is not an Excel workbook"):
        blocks_from_file(tmp_path / "notes.xlsx")


@pytest.mark.skipif(not BAD.is_dir(), reason="the corpus of broken workbooks is not beside the repository")
@pytest.mark.parametrize("path", sorted(BAD.glob("*.xlsx")), ids=lambda path: path.name)
def test_a_broken_workbook_leads_to_one_sentence_at_most(path: Path) -> None:
    try:
        blocks_from_file(path)
    except LogbookError as refused:
        assert "\n" not in str(refused)


def test_a_few_cells_typed_far_off_do_not_stand_in_the_way(tmp_path: Path) -> None:
    path = tmp_path / "stray.xlsx"
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.append(["Run", "ET"])
    sheet.append([1, "10.4"])
    sheet.cell(1_048_576, 3, "oops")
    sheet.cell(2, 16_384, "#N/A")
    book.save(path)
    assert blocks_from_file(path)[0].rows == (("Run", "ET"), (1.0, "10.4"))
    for row in range(60_000, 60_200):
        sheet.cell(row, 300, "much")
    book.save(path)
    with pytest.raises(LogbookError, match="Sheet: the sheet claims more than"):
        blocks_from_file(path)
