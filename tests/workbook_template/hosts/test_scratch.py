"""Sheets of ours as openpyxl sheets, read back after a save."""

from __future__ import annotations

import io
from pathlib import Path

import openpyxl
import pytest
from openpyxl.workbook import Workbook
from openxml_audit import OpenXmlValidator, ValidationSeverity

from tests.workbook_template.advised_cases import v8_all_change
from workbook_template.charts import draw_charts
from workbook_template.hosts.protocol import CellOut, ChartOut, Series, SheetOut, Style, TableOut
from workbook_template.hosts.scratch import link_location, scratch_workbook
from workbook_template.why import draw_why


def again(*sheets: SheetOut) -> Workbook:
    saved = io.BytesIO()
    scratch_workbook(sheets).save(saved)
    return openpyxl.load_workbook(saved)


def test_looks_survive() -> None:
    style = Style(bold=True, size_pt=14, color="FFFFFF", fill="000000", border="thick", align="left",
                  vertical="center", wrap=True, number_format="0.0", underline=True)  # fmt: skip
    cell = again(SheetOut("One", {(2, 3): CellOut(1.5, style, note="a note")}))["One"]["C2"]
    assert (cell.value, cell.number_format) == (1.5, "0.0")
    assert (cell.font.b, cell.font.sz, cell.font.color.rgb, cell.font.u) == (True, 14, "FFFFFFFF", "single")
    assert cell.fill.fgColor.rgb == "FF000000"
    assert {side.style for side in (cell.border.left, cell.border.right, cell.border.top, cell.border.bottom)} == {
        "thick"
    }
    assert (cell.alignment.horizontal, cell.alignment.vertical, cell.alignment.wrap_text) == ("left", "center", True)
    assert cell.comment.text == "a note"


def test_a_merged_block_has_its_border_all_round() -> None:
    sheet = again(SheetOut("One", {(1, 1): CellOut("x", Style(border="medium"))}, merges=((1, 1, 3, 2),)))["One"]
    assert sheet.merged_cells.ranges and str(next(iter(sheet.merged_cells.ranges))) == "A1:B3"
    assert sheet["B3"].border.right.style == sheet["B3"].border.bottom.style == "medium"


def test_text_stays_text_and_odd_letters_go() -> None:
    sheet = again(SheetOut("One", {(1, 1): CellOut("=A2"), (2, 1): CellOut("bell\x07")}))["One"]
    assert (sheet["A1"].value, sheet["A1"].data_type, sheet["A1"].quotePrefix) == ("=A2", "s", True)
    assert sheet["A2"].value == "bell"


@pytest.mark.parametrize(
    ("link", "location"),
    [("Why!A5", "Why!A5"), ("Next run!A1:B2", "'Next run'!A1:B2"), ("Dad's!A1", "'Dad''s'!A1"), ("2nd!A1", "'2nd'!A1")],
)
def test_links_are_quoted_where_a_spreadsheet_wants_it(link: str, location: str) -> None:
    assert link_location(link) == location


def test_page_set_up() -> None:
    sheet = again(
        SheetOut("One", {(1, 1): CellOut("x")}, {1: 30.0}, {1: 21.0}, freeze=(2, 1), landscape=True,
                 fit_to_pages=(1, 0), print_area=(1, 1, 9, 4), repeat_rows=(1, 1), footer="Why & how")
    )["One"]  # fmt: skip
    assert sheet.freeze_panes == "A2"
    assert (sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (
        "landscape", 1, 0,
    )  # fmt: skip
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert sheet.print_area == "'One'!$A$1:$D$9"
    assert sheet.print_title_rows == "$1:$1"
    assert sheet.oddFooter.center.text == "Why && how"
    assert (sheet.column_dimensions["A"].width, sheet.row_dimensions[1].height) == (30.0, 21.0)


def test_a_table_and_a_chart_with_error_bars() -> None:
    cells = {(1, 1): CellOut("Cylinder"), (1, 2): CellOut("Mixture"), (1, 3): CellOut("Spread")}
    for row in range(2, 5):
        cells |= {(row, 1): CellOut(str(row)), (row, 2): CellOut(row - 3.0), (row, 3): CellOut(0.5)}
    series = Series("Mixture", (2, 2, 4, 2), (2, 3, 4, 3))
    chart = ChartOut("points", "Mixture", (2, 1, 4, 1), (series,), "cylinder", "%", (1, 5), 12.0, 6.0, (-3.0, 3.0))
    sheet = again(SheetOut("Two words", cells, tables=(TableOut("Errors", (1, 1, 4, 3)),), charts=(chart,)))[
        "Two words"
    ]
    assert sheet.tables["Errors"].ref == "A1:C4"
    (drawn,) = sheet._charts
    (line,) = drawn.series
    assert line.val.numRef.f == "'Two words'!$B$2:$B$4"
    assert line.errBars.plus.numRef.f == line.errBars.minus.numRef.f == "'Two words'!$C$2:$C$4"
    assert line.graphicalProperties.line.noFill
    assert (drawn.y_axis.scaling.min, drawn.y_axis.scaling.max) == (-3.0, 3.0)
    assert not drawn.x_axis.delete


def test_a_workbook_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="no sheet"):
        scratch_workbook([])


def test_charts_and_sheets_keep_to_the_schema(tmp_path: Path) -> None:
    path = tmp_path / "made.xlsx"
    advice = v8_all_change().advice
    scratch_workbook([draw_why("Why", advice, {}).sheet, draw_charts("Charts", advice)]).save(path)
    errors = [error for error in OpenXmlValidator().validate(path).errors if error.severity == ValidationSeverity.ERROR]
    # The library that makes the sheets writes fonts in an order of its own, which every program reads.
    assert [error for error in errors if "/fonts" not in str(error.path)] == []
