"""Cells: each kind of value, what they inherit, and where nothing may be written."""

from __future__ import annotations

import datetime
import io

import openpyxl
import pytest
import xlsxwriter
from openpyxl.worksheet.worksheet import Worksheet as Sheet
from xlsxwriter.worksheet import Worksheet

from workbook_template.package import (
    CellEdit,
    CellPlace,
    CellStyle,
    EditRefused,
    Edits,
    Formula,
    PackageRefused,
    open_package,
    read_cells,
)
from workbook_template.package.edits import Value

from .samples import log, made, parts, replaced

PLAIN = made(log)
SHEET = "xl/worksheets/sheet1.xml"


def apply(data: bytes, *cells: CellEdit, clear: tuple[CellPlace, ...] = ()) -> bytes:
    edits = Edits(cells, clear)
    once = open_package(data).apply(edits)
    assert open_package(once).apply(edits) == once
    return once


def loaded(data: bytes) -> Sheet:
    return openpyxl.load_workbook(io.BytesIO(data))["Log"]


def refused(data: bytes, *cells: CellEdit) -> str:
    package = open_package(data)
    with pytest.raises(EditRefused) as error:
        package.apply(Edits(cells))
    assert [str(found) for found in package.refusals(Edits(cells))] == [str(error.value)]
    return str(error.value)


@pytest.mark.parametrize(
    "value",
    [True, False, 7, -3.25, 1e-9, "plain", "=1+1", " spaced ", "two\nlines", "<&>", "", "ünïcode \U0001f527",
     datetime.datetime(2026, 3, 1, 14, 30), datetime.time(6, 15)],
)  # fmt: skip
def test_a_value_comes_back_as_it_went_in(value: Value) -> None:
    data = apply(PLAIN, CellEdit("Log", 2, 5, value))
    assert {(r, c): v for r, c, v in read_cells(open_package(data), "Log")}.get((2, 5), "") == value
    assert loaded(data)["E2"].value in (value, None if value == "" else value)


def test_what_xml_cannot_hold_is_escaped() -> None:
    data = apply(PLAIN, CellEdit("Log", 2, 5, "bell\x07 and\rreturn"), CellEdit("Log", 3, 5, "_x0041_"))
    assert b"bell_x0007_ and_x000D_return" in parts(data)[SHEET]
    assert (3, 5, "_x0041_") in list(read_cells(open_package(data), "Log"))
    assert (2, 5, "bell\x07 and\rreturn") in list(read_cells(open_package(data), "Log"))


def test_a_formula_only_where_one_is_given() -> None:
    data = apply(PLAIN, CellEdit("Log", 2, 5, Formula("=SUM(B2:B5)")), CellEdit("Log", 3, 5, "=SUM(B2:B5)"))
    sheet = loaded(data)
    assert (sheet["E2"].data_type, sheet["E2"].value) == ("f", "=SUM(B2:B5)")
    assert b"<is><t>=SUM(B2:B5)</t></is>" in parts(data)[SHEET]
    assert b'fullCalcOnLoad="1"' in parts(data)["xl/workbook.xml"]


def test_dates_count_from_the_books_own_day() -> None:
    moment = datetime.datetime(2026, 3, 1, 12, 0)
    for options in ({}, {"date_1904": True}):
        data = apply(made(log, **options), CellEdit("Log", 2, 5, moment))
        assert loaded(data)["E2"].value == moment
        assert (2, 5, moment) in list(read_cells(open_package(data), "Log"))


def test_shared_strings_are_untouched() -> None:
    data = apply(PLAIN, CellEdit("Log", 1, 1, "Pull"))
    assert parts(data)["xl/sharedStrings.xml"] == parts(PLAIN)["xl/sharedStrings.xml"]
    assert loaded(data)["A1"].value == "Pull"


def test_a_new_cell_takes_the_rows_look_then_the_columns() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        log(book, sheet)
        sheet.set_column(4, 4, 12, book.add_format({"num_format": "0.00", "bg_color": "#112233"}))
        sheet.set_row(2, None, book.add_format({"italic": True}))

    sheet = loaded(apply(made(fill), CellEdit("Log", 2, 5, 1), CellEdit("Log", 3, 5, 1)))
    assert (sheet["E2"].number_format, sheet["E2"].fill.fgColor.rgb) == ("0.00", "FF112233")
    assert (sheet["E3"].number_format, sheet["E3"].font.italic) == ("General", True)


def test_a_style_keeps_font_and_border_of_the_place() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.write(1, 4, 1, book.add_format({"font_name": "Verdana", "font_size": 9, "border": 1, "italic": True}))

    style = CellStyle(bold=True, color="C00000", fill="FFEEEE", wrap=True, horizontal="center")
    cell = loaded(apply(made(fill), CellEdit("Log", 2, 5, 2, style, number_format="0.0%")))["E2"]
    assert (cell.font.name, cell.font.sz, cell.font.b, cell.font.i) == ("Verdana", 9, True, False)
    assert (cell.font.color.rgb, cell.fill.fgColor.rgb, cell.border.left.style) == ("FFC00000", "FFFFEEEE", "thin")
    assert (cell.alignment.wrap_text, cell.alignment.horizontal, cell.number_format) == (True, "center", "0.0%")


def test_looks_are_used_again_not_added_again() -> None:
    cells = [CellEdit("Log", row, 5, row, CellStyle(fill="FFEEEE"), number_format="0.000") for row in range(2, 6)]
    data = apply(PLAIN, *cells)
    styles = parts(data)["xl/styles.xml"]
    assert b'<cellXfs count="2">' in styles
    assert b'numFmtId="164" formatCode="0.000"' in styles


def test_decimal_comma_formats_of_a_language_stay() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        log(book, sheet)
        sheet.write(0, 3, 1.5, book.add_format({"num_format": '[$-407]#,##0.00" bar"'}))
        sheet.write(1, 3, 45000, book.add_format({"num_format": "[$-407]d. mmmm yyyy"}))

    data = apply(made(fill), CellEdit("Log", 3, 5, 2.5, number_format="[$-407]0.0"))
    sheet = loaded(data)
    assert sheet["D1"].number_format == '[$-407]#,##0.00" bar"'
    assert (sheet["E3"].number_format, sheet["E3"].value) == ("[$-407]0.0", 2.5)
    assert (2, 4, datetime.datetime(2023, 3, 15)) in list(read_cells(open_package(data), "Log"))


def test_bounds_that_the_sheet_states_are_widened() -> None:
    assert b'<row r="2" spans="1:3">' in parts(PLAIN)[SHEET]
    text = parts(apply(PLAIN, CellEdit("Log", 2, 5, 1), CellEdit("Log", 9, 4, 1)))[SHEET].decode()
    assert '<dimension ref="A1:E9"/>' in text
    assert '<row r="2" spans="1:5">' in text


def test_rows_and_cells_without_names_are_counted() -> None:
    text = parts(PLAIN)[SHEET].decode()
    start, end = text.index("<sheetData>"), text.index("</sheetData>")
    bare = "<sheetData><row><c><v>1</v></c><c><v>2</v></c></row><row/><row><c><v>5</v></c></row>"
    data = replaced(PLAIN, SHEET, text[start:end], bare)
    edited = apply(data, CellEdit("Log", 3, 1, True), CellEdit("Log", 1, 4, 9), CellEdit("Log", 2, 1, 8))
    values = {(row, column): value for row, column, value in read_cells(open_package(edited), "Log")}
    assert values == {(1, 1): 1, (1, 2): 2, (1, 4): 9, (2, 1): 8, (3, 1): True}
    assert [row[0].value for row in loaded(edited).iter_rows(max_col=1)] == [1, 8, True]


def test_what_hung_on_the_old_value_goes_and_extensions_stay() -> None:
    extension = '<extLst><ext uri="{X}"/></extLst>'
    data = replaced(PLAIN, SHEET, '<c r="A2"><v>1</v></c>', f'<c r="A2" cm="1" vm="2" t="e"><v>#N/A</v>{extension}</c>')
    assert f'<c r="A2"><v>5</v>{extension}</c>' in parts(apply(data, CellEdit("Log", 2, 1, 5)))[SHEET].decode()


def test_clearing_our_cell_leaves_nothing_and_theirs_its_look() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.write(1, 0, 5, book.add_format({"bold": True}))

    ours = apply(made(fill), CellEdit("Log", 2, 5, 1, CellStyle(bold=True), note="n", link="#Log!A1"))
    data = apply(ours, clear=(CellPlace("Log", 2, 5), CellPlace("Log", 2, 1)))
    text = parts(data)[SHEET].decode()
    assert 'r="E2"' not in text and "hyperlink" not in text
    assert '<c r="A2" s="1"/>' in text
    assert not open_package(data).owned


def test_not_inside_merged_cells_but_in_their_first() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.merge_range("E2:F3", "wide", book.add_format())

    data = made(fill)
    assert "cell F3: it lies inside the merged cells E2:F3" in refused(data, CellEdit("Log", 3, 6, 1))
    assert loaded(apply(data, CellEdit("Log", 2, 5, "new")))["E2"].value == "new"


def test_not_inside_an_array_formula() -> None:
    data = made(lambda _, sheet: sheet.write_array_formula("E2:E4", "{=A1:A3*2}"))
    assert "array formula of E2:E4" in refused(data, CellEdit("Log", 3, 5, 1))


def test_not_inside_the_spill_of_a_dynamic_array() -> None:
    data = made(lambda _, sheet: sheet.write_dynamic_array_formula("E2:E4", "=_xlfn.SEQUENCE(3)"))
    assert "array formula of E2:E4" in refused(data, CellEdit("Log", 4, 5, 1))
    edited = apply(data, CellEdit("Log", 2, 6, 1))
    assert b'<c r="E2" cm="1">' in parts(edited)[SHEET]
    assert parts(edited)["xl/metadata.xml"] == parts(data)["xl/metadata.xml"]


def test_not_inside_a_what_if_table() -> None:
    data = replaced(PLAIN, SHEET, '<c r="B2"><v>70</v></c>',
                    '<c r="B2"><f t="dataTable" ref="B2:B4" dt2D="0" dtr="0" r1="A1"/><v>70</v></c>')  # fmt: skip
    assert "data table B2:B4" in refused(data, CellEdit("Log", 3, 2, 1))


def test_a_protected_sheet_takes_only_unlocked_cells() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        log(book, sheet)
        sheet.protect()
        sheet.set_column(4, 5, 12, book.add_format({"locked": False}))

    data = made(fill)
    assert "protected and this cell is locked" in refused(data, CellEdit("Log", 2, 7, 1))
    cell = loaded(apply(data, CellEdit("Log", 2, 5, 1, CellStyle(bold=True))))["E2"]
    assert (cell.value, cell.protection.locked, cell.font.b) == (1, False, True)
    assert "notes are locked" in refused(data, CellEdit("Log", 2, 6, 1, note="n"))


def test_a_full_sheet_is_said_to_be_full() -> None:
    data = made(lambda _, sheet: sheet.write(0, 16_383, "last"))
    package = open_package(data)
    with pytest.raises(EditRefused, match="no 2 free visible columns to the right of its 16384 used ones"):
        package.free_column("Log", 2)
    assert "lies outside the sheet" in refused(data, CellEdit("Log", 1, 16_385, 1))
    nearly = open_package(made(lambda _, sheet: sheet.write(0, 15_999, "last")))
    assert nearly.free_column("Log", 384) == 16_001
    with pytest.raises(EditRefused):
        nearly.free_column("Log", 385)


def test_hidden_columns_are_passed_over() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        log(book, sheet)
        sheet.set_column(4, 6, None, None, {"hidden": True})

    assert open_package(made(fill)).free_column("Log", 2) == 8
    assert open_package(made(fill)).free_column("Log", 1) == 4


@pytest.mark.parametrize("value", [float("nan"), float("inf"), "x" * 40_000, Formula("1+" * 5_000 + "1")])
def test_what_no_cell_can_hold_is_refused(value: Value) -> None:
    assert "cell E2" in refused(PLAIN, CellEdit("Log", 2, 5, value))


def test_a_sheet_that_is_not_there() -> None:
    assert "no such sheet" in refused(PLAIN, CellEdit("Lap", 1, 1, 1))


def test_every_refusal_is_reported_at_once() -> None:
    data = made(lambda book, sheet: sheet.merge_range("E2:F3", "wide", book.add_format()))
    edits = Edits(tuple(CellEdit("Log", row, 6, 1) for row in (1, 2, 3)))
    assert [found.cell for found in open_package(data).refusals(edits)] == ["F2", "F3"]


def test_a_locked_structure_refuses_all_edits() -> None:
    data = replaced(PLAIN, "xl/workbook.xml", "<bookViews>", '<workbookProtection lockStructure="1"/><bookViews>')
    package = open_package(data)
    assert package.locked_reason is not None and "structure is locked" in package.locked_reason
    with pytest.raises(PackageRefused, match="structure is locked"):
        package.apply(Edits((CellEdit("Log", 1, 5, 1),)))
    assert len(list(read_cells(package, "Log"))) == 15


def test_frozen_grouped_and_filtered_sheets_keep_all_that() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        log(book, sheet)
        sheet.freeze_panes(1, 1)
        sheet.autofilter(0, 0, 4, 2)
        sheet.filter_column("B", "x > 71")
        sheet.set_row(1, options={"hidden": True})
        sheet.set_column(1, 2, 9, None, {"level": 1, "collapsed": False})

    data = made(fill)
    before, after = (parts(d)[SHEET].decode() for d in (data, apply(data, CellEdit("Log", 2, 5, 1, note="n"))))
    for name in ("sheetViews", "cols", "autoFilter"):
        start, end = f"<{name}", f"</{name}>"
        piece = before[before.index(start) : before.index(end)]
        assert piece in after
    assert '<row r="2" spans="1:5" hidden="1">' in after
