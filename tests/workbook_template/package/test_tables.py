"""Tables: growing by the columns written beside them, writing inside them, and shrinking back."""

from __future__ import annotations

import io

import openpyxl
import pytest
import xlsxwriter
from openpyxl.worksheet.table import Table
from xlsxwriter.worksheet import Worksheet

from workbook_template.package import CellEdit, CellPlace, EditRefused, Edits, open_package, strip

from .samples import block, log, made, parts, replaced

PART = "xl/tables/table1.xml"


def tabled(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
    log(book, sheet)
    columns = [{"header": name} for name in ("Run", "Air", "ET")]
    sheet.add_table("A1:C5", {"name": "Runs", "columns": columns})


def table(data: bytes) -> Table:
    return openpyxl.load_workbook(io.BytesIO(data))["Log"].tables["Runs"]


def apply(data: bytes, *cells: CellEdit) -> bytes:
    once = open_package(data).apply(Edits(cells))
    assert open_package(once).apply(Edits(cells)) == once
    return once


def test_a_table_grows_by_the_columns_written_beside_it() -> None:
    package = open_package(made(tabled))
    edited = package.apply(block(package, "Log"))
    grown = table(edited)
    assert (grown.ref, grown.autoFilter.ref) == ("A1:F5", "A1:F5")
    assert [column.name for column in grown.tableColumns] == ["Run", "Air", "ET", "Mixture (%)", "Why", "Sure"]
    assert [column.id for column in grown.tableColumns] == [1, 2, 3, 4, 5, 6]
    assert open_package(edited).apply(block(package, "Log")) == edited


def test_no_growth_without_headings_or_with_a_gap() -> None:
    assert table(apply(made(tabled), CellEdit("Log", 2, 4, 1))).ref == "A1:C5"
    assert table(apply(made(tabled), CellEdit("Log", 1, 5, "Why"))).ref == "A1:C5"


def test_a_heading_that_the_table_has_is_refused() -> None:
    with pytest.raises(EditRefused, match="D1: table 'Runs' already has a column 'air'"):
        open_package(made(tabled)).apply(Edits((CellEdit("Log", 1, 4, "air"),)))


def test_a_table_filled_by_a_query_does_not_grow_and_gets_a_gap() -> None:
    data = replaced(made(tabled), PART, "<table ", '<table tableType="queryTable" ')
    package = open_package(data)
    assert package.free_column("Log") == 5
    assert open_package(made(tabled)).free_column("Log") == 4
    assert parts(package.apply(block(package, "Log")))[PART] == parts(data)[PART]


def test_inside_a_table_cells_may_be_written_but_not_headings_or_totals() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        log(book, sheet)
        columns = [{"header": "Run"}, {"header": "Mixture"}, {"header": "ET", "total_function": "sum"}]
        sheet.add_table("A1:C6", {"name": "Runs", "columns": columns, "total_row": True})

    data = made(fill)
    edited = apply(data, CellEdit("Log", 2, 2, 4.5), CellEdit("Log", 1, 2, "Mixture"))
    assert openpyxl.load_workbook(io.BytesIO(edited))["Log"]["B2"].value == 4.5
    assert parts(edited)[PART] == parts(data)[PART]
    for cell, reason in ((CellEdit("Log", 1, 2, "Why"), "B1: it is the heading 'Mixture'"),
                         (CellEdit("Log", 6, 2, 1), "B6: it is the totals row")):  # fmt: skip
        with pytest.raises(EditRefused, match=reason):
            open_package(data).apply(Edits((cell,)))


def test_two_tables_side_by_side_do_not_run_into_each_other() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        tabled(book, sheet)
        sheet.add_table("E1:F5", {"name": "Others", "columns": [{"header": "P"}, {"header": "Q"}]})

    edited = apply(made(fill), CellEdit("Log", 1, 4, "Why"))
    assert table(edited).ref == "A1:D5"
    assert openpyxl.load_workbook(io.BytesIO(edited))["Log"].tables["Others"].ref == "E1:F5"


def test_a_grown_table_shrinks_when_all_is_taken_out_after_another_program_saved() -> None:
    edited = open_package(made(tabled)).apply(block(open_package(made(tabled)), "Log"))
    book = openpyxl.load_workbook(io.BytesIO(edited))
    book["Log"]["A2"] = 99
    stream = io.BytesIO()
    book.save(stream)
    stripped = strip(open_package(stream.getvalue()))
    shrunk = table(stripped)
    assert (shrunk.ref, shrunk.autoFilter.ref) == ("A1:C5", "A1:C5")
    values = [list(row) for row in openpyxl.load_workbook(io.BytesIO(stripped))["Log"].values]
    assert values[0][:3] == ["Run", "Air", "ET"] and values[1][:3] == [99, 70, 9.1]
    assert all(value is None for row in values for value in row[3:])


def test_our_column_inside_a_table_stays_as_a_heading_when_theirs_stands_right_of_it() -> None:
    edited = apply(made(tabled), CellEdit("Log", 1, 4, "Why"), CellEdit("Log", 2, 4, "text"))
    book = openpyxl.load_workbook(io.BytesIO(edited))
    sheet = book["Log"]
    sheet["E1"] = "Theirs"
    grown = sheet.tables["Runs"]
    grown.ref = grown.autoFilter.ref = "A1:E5"
    column = type(grown.tableColumns[0])(id=9, name="Theirs")
    grown.tableColumns.append(column)
    stream = io.BytesIO()
    book.save(stream)
    stripped = openpyxl.load_workbook(io.BytesIO(strip(open_package(stream.getvalue()))))["Log"]
    assert (stripped["D1"].value, stripped["D2"].value, stripped["E1"].value) == ("Why", None, "Theirs")
    assert stripped.tables["Runs"].ref == "A1:E5"


def test_clearing_and_writing_the_same_column_at_once_is_writing_it() -> None:
    edited = apply(made(tabled), CellEdit("Log", 1, 4, "Why"), CellEdit("Log", 1, 5, "Sure"))
    clear = tuple(CellPlace("Log", row, column) for row in range(1, 6) for column in (4, 5))
    again = open_package(edited).apply(Edits((CellEdit("Log", 1, 4, "Why"), CellEdit("Log", 2, 4, "x")), clear))
    assert table(again).ref == "A1:D5"
    assert [column.name for column in table(again).tableColumns] == ["Run", "Air", "ET", "Why"]
