"""Reading cells and true bounds, whatever size a sheet claims."""

from __future__ import annotations

import datetime

import pytest
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from workbook_template.package import (
    Area,
    CellError,
    EditRefused,
    PackageRefused,
    open_package,
    read_cells,
    sheet_bounds,
)

from .samples import log, made, replaced

SHEET = "xl/worksheets/sheet1.xml"


def read(data: bytes) -> dict[tuple[int, int], object]:
    return {(row, column): value for row, column, value in read_cells(open_package(data), "Log")}


@pytest.mark.parametrize("options", [{}, {"date_1904": True}])
def test_each_kind_of_cell(options: dict[str, object]) -> None:
    moment = datetime.datetime(2026, 3, 1, 14, 30)

    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        date, time = (book.add_format({"num_format": code}) for code in ("d.m.yyyy hh:mm", "hh:mm"))
        sheet.write_datetime(0, 0, moment, date)
        sheet.write_number(0, 1, 0.25, time)
        sheet.write_boolean(0, 2, True)
        sheet.write_rich_string(0, 3, "two ", book.add_format({"bold": True}), "runs")
        sheet.write_formula(0, 4, "=1/0", None, "#DIV/0!")
        sheet.write_formula(0, 5, '="a"&"b"', None, "ab")
        sheet.write_number(0, 6, 1.5)
        sheet.write_number(0, 7, 12)
        sheet.write_blank(0, 8, None, date)

    values = read(made(fill, **options))
    assert values == {
        (1, 1): moment, (1, 2): datetime.time(6, 0), (1, 3): True, (1, 4): "two runs", (1, 5): CellError("#DIV/0!"),
        (1, 6): "ab", (1, 7): 1.5, (1, 8): 12,
    }  # fmt: skip
    assert isinstance(values[(1, 8)], int)


def test_dates_written_out_are_read() -> None:
    data = replaced(made(log), SHEET, '<c r="A2"><v>1</v></c>', '<c r="A2" t="d"><v>2026-03-01T14:30:00Z</v></c>')
    assert read(data)[(2, 1)] == datetime.datetime(2026, 3, 1, 14, 30)


def test_a_formula_never_calculated_gives_nothing() -> None:
    data = replaced(made(log), SHEET, '<c r="A2"><v>1</v></c>', '<c r="A2"><f>1+1</f></c>')
    assert (2, 1) not in read(data)
    assert sheet_bounds(open_package(data), "Log").cells == 15


def test_bounds_are_what_the_sheet_holds_not_what_it_claims() -> None:
    data = replaced(made(log), SHEET, 'ref="A1:C5"', 'ref="A1:XFD1048576"')
    bounds = sheet_bounds(open_package(data), "Log")
    assert (bounds.area, bounds.cells, bounds.dense_cells) == (Area(1, 1, 5, 3), 15, 15)
    far = made(lambda _, sheet: sheet.write(1_048_575, 16_383, 1))
    bounds = sheet_bounds(open_package(far), "Log")
    assert (bounds.cells, bounds.dense_cells) == (1, 16_384 * 1_048_576)
    assert read(far) == {(1_048_576, 16_384): 1}
    assert sheet_bounds(open_package(made(lambda _, sheet: None)), "Log").area is None


def test_what_cannot_be_read_is_one_sentence() -> None:
    with pytest.raises(EditRefused, match="no such worksheet"):
        sheet_bounds(open_package(made(log)), "Lap")
    broken = replaced(made(log), SHEET, "</sheetData>", "</wrong>")
    with pytest.raises(PackageRefused, match="not readable XML"):
        read(broken)
    text = replaced(made(log), SHEET, '<c r="A2"><v>1</v></c>', '<c r="A2"><v>one</v></c>')
    assert read(text)[(2, 1)] == "one"


def test_a_row_that_is_no_number_is_counted() -> None:
    assert read(replaced(made(log), SHEET, '<row r="2"', '<row r="²"'))[(2, 1)] == 1
