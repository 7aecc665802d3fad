"""Sheets brought over from a scratch workbook: everything on them arrives, whole and under free names."""

from __future__ import annotations

import io
from collections import Counter

import openpyxl
import pytest
import xlsxwriter
from openpyxl.styles import Border, Font, PatternFill, Side
from openpyxl.workbook.defined_name import DefinedName
from xlsxwriter.worksheet import Worksheet

from workbook_template.package import EditRefused, Edits, open_package

from .samples import FIRST, SECOND, log, made, parts, scratch
from .test_tables import tabled


def brought(data: bytes, book: openpyxl.Workbook | None = None) -> bytes:
    edits = Edits(scratch=book or scratch(), sheets=(FIRST, SECOND))
    once = open_package(data).apply(edits)
    assert open_package(once).apply(edits) == once
    return once


def test_everything_on_the_sheet_arrives() -> None:
    book = openpyxl.load_workbook(io.BytesIO(brought(made(log))))
    assert book.sheetnames == ["Log", FIRST, SECOND]
    sheet = book[FIRST]
    assert [list(row[:2]) for row in sheet.values] == [["Corner", "Jet"], [0, 70], [1, 72], [2, 74], [3, 76]]
    assert (sheet["A1"].font.b, sheet["A1"].font.color.rgb) == (True, "FFFF0000")
    assert sheet["D1"].value == "=SUM(B2:B5)"
    assert (sheet["D2"].hyperlink.location, sheet["D3"].hyperlink.target) == ("'Reasons'!A1", "https://example.org/")
    assert sheet["D4"].comment.text == "changed"
    assert list(sheet.tables) == ["Jets"]
    assert len(sheet._charts) == 1
    assert sheet.data_validations.dataValidation[0].formula1 == "'Reasons'!$A$1:$A$3"
    (rule,) = next(iter(sheet.conditional_formatting)).rules
    assert rule.dxf.fill.bgColor.rgb == "FFFF00FF"
    assert (sheet.print_title_rows, sheet.print_area, sheet.freeze_panes) == ("$1:$1", "'Card'!$A$1:$D$20", "A2")
    assert book[SECOND].auto_filter.ref == "A1:B3"
    assert [view.tabSelected for s in book.worksheets for view in s.views.sheetView].count(True) == 1


def test_scatter_charts_get_the_style_that_the_schema_wants() -> None:
    chart = parts(brought(made(log)))["xl/charts/chart1.xml"]
    assert b'<scatterChart><scatterStyle val="lineMarker"/>' in chart


def test_tables_get_ids_and_names_that_are_free() -> None:
    book = scratch()
    book[FIRST].tables["Jets"].displayName = "Runs"
    contents = parts(brought(made(tabled), book))
    assert b'id="2"' in contents["xl/tables/table2.xml"]
    assert b'displayName="Runs_2"' in contents["xl/tables/table2.xml"]


def test_looks_are_appended_and_numbers_formats_get_free_ids() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.write(0, 0, 1, book.add_format({"num_format": '0.0" hp"', "bold": True}))

    book = scratch()
    cell = book[FIRST]["B2"]
    cell.number_format = '0.0" jet"'
    cell.fill = PatternFill("solid", fgColor="FF00FF00")
    cell.border = Border(left=Side("thin"))
    book[FIRST]["B3"].number_format = '0.0" hp"'
    book[FIRST]["B4"].font = Font(name="Verdana", size=14, italic=True)
    edited = openpyxl.load_workbook(io.BytesIO(brought(made(fill), book)))
    assert (edited["Log"]["A1"].number_format, edited["Log"]["A1"].font.b) == ('0.0" hp"', True)
    sheet = edited[FIRST]
    assert (sheet["B2"].number_format, sheet["B2"].fill.fgColor.rgb) == ('0.0" jet"', "FF00FF00")
    assert (sheet["B2"].border.left.style, sheet["B3"].number_format) == ("thin", '0.0" hp"')
    assert (sheet["B4"].font.name, sheet["B4"].font.sz, sheet["B4"].font.i) == ("Verdana", 14, True)


def test_names_of_the_scratch_book_that_lead_to_the_sheets_come_along() -> None:
    book = scratch()
    book.defined_names["Choices"] = DefinedName("Choices", attr_text=f"{SECOND}!$A$1:$A$3")
    assert b">'Reasons'!$A$1:$A$3<" in parts(brought(made(log), book))["xl/workbook.xml"]
    taken = made(lambda workbook, _: workbook.define_name("Choices", "=Log!$A$1"))
    with pytest.raises(EditRefused, match="already uses the name 'Choices'"):
        open_package(taken).apply(Edits(scratch=book, sheets=(SECOND,)))


def test_no_part_twice_and_every_part_with_a_type() -> None:
    contents = parts(brought(brought(made(tabled))))
    assert max(Counter(name.lower() for name in contents).values()) == 1
    types = contents["[Content_Types].xml"].decode()
    for name in contents:
        extension = name.rpartition(".")[2]
        assert f'PartName="/{name}"' in types or f'Extension="{extension}"' in types, name


def test_a_name_that_no_sheet_may_have_is_refused() -> None:
    book = openpyxl.Workbook()
    book.active.title = "'quoted'"
    with pytest.raises(EditRefused, match="a sheet may not be called so"):
        open_package(made(log)).apply(Edits(scratch=book, sheets=("'quoted'",)))
