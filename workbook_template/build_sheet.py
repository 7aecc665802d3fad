"""One sheet of the blank workbook: title, headings with notes, the list as a table, drop-downs, and print set-up."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from copy import copy
from typing import Any

from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.page import PageMargins
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.table import Table, TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet

from workbook_template.layout import Column, SheetLayout, Unit, layout

TITLE_ROW, HINT_ROW, HEADING_ROW = 1, 2, 3
LAST_LISTED_ROW = 2000
SHELF_NAMES = {"jets": "JetLabels", "plugs": "PlugLabels"}

# On every system, or with a twin of the same widths: a column is as wide as it was meant to be, on screen and on paper.
HOUSE_FONT = "Arial"
TITLE = Font(name=HOUSE_FONT, bold=True, size=14)
PART = Font(name=HOUSE_FONT, bold=True, size=12)
NAME = Font(name=HOUSE_FONT, bold=True, size=10)
HINT = Font(name=HOUSE_FONT, italic=True, size=10, color="555555")
OURS = Font(name=HOUSE_FONT, bold=True, italic=True, size=10)
_HEADING_FILL = PatternFill("solid", fgColor="E7E6E6")
_OURS_FILL = PatternFill("solid", fgColor="F6F4EE")
UNDERLINED = Border(bottom=Side("thin", color="7F7F7F"))
_HAIR = Side("hair", color="7F7F7F")
_BODY = Border(left=_HAIR, right=_HAIR, top=_HAIR, bottom=_HAIR)
_LINE = Border(top=Side("thin", color="7F7F7F"), bottom=Side("medium", color="404040"))
_FORMATS = {"date": "yyyy-mm-dd", "time": "hh:mm", "share": "0.00", "plain_number": "0.####"}


def use_house_font(book: Workbook) -> None:
    """Make the house's letters those of every cell that names none."""
    fonts: Any = vars(book)["_fonts"]  # openpyxl has no other way to the default font, which is the first
    fonts[0] = Font(name=HOUSE_FONT, size=10)


def begin_sheet(book: Workbook, sheet: SheetLayout, title_column: int = 1) -> Worksheet:
    """A new sheet at the end of the book, with its title and hint, right of the columns that each page repeats."""
    page: Worksheet = book.create_sheet(sheet.name)
    page.cell(TITLE_ROW, title_column, sheet.title).font = TITLE
    page.cell(HINT_ROW, title_column, sheet.hint).font = HINT
    return page


def write_list(
    page: Worksheet,
    sheet: SheetLayout,
    columns: Sequence[Column],
    house: str,
    rows: Sequence[Mapping[str, Any]],
    heading_row: int = HEADING_ROW,
) -> None:
    """Headings and rows as an Excel table; at least one row, blank where none is given."""
    lines = max(math.ceil(len(column.headed(house)) / (column.width - 1)) for column in columns)
    page.row_dimensions[heading_row].height = 4.0 + 15.0 * lines
    for index, column in enumerate(columns, start=1):
        _write_heading(page, column, house, heading_row, index)
        dress(page.cell(heading_row + 1, index), column, column.house_unit(house))
        for offset, row in enumerate(rows, start=1):
            cell = page.cell(heading_row + offset, index, row.get(column.key))
            _dress_alike(cell, page.cell(heading_row + 1, index))
        letter = get_column_letter(index)
        offer_words(page, column, f"{letter}{heading_row + 1}:{letter}{LAST_LISTED_ROW}")
    for offset, row in enumerate(rows, start=1):
        texts = [column for column in columns if _is_text(column)]
        lines = max((math.ceil(len(row.get(column.key) or "") / column.width) for column in texts), default=1)
        if lines > 1:
            page.row_dimensions[heading_row + offset].height = 15.0 * lines
    last_row = heading_row + max(len(rows), 1)
    table = Table(displayName=sheet.table, ref=f"A{heading_row}:{get_column_letter(len(columns))}{last_row}")
    table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=True)
    page.add_table(table)


def _write_heading(page: Worksheet, column: Column, house: str, row: int, index: int) -> None:
    cell = page.cell(row, index, column.headed(house))
    cell.font = OURS if column.filled else NAME
    cell.fill = _OURS_FILL if column.filled else _HEADING_FILL
    cell.border = _LINE
    cell.alignment = _aligned(column, wrap=True, vertical="center")
    note = Comment(column.noted(house), "strapline")
    note.width, note.height = 260, 30 + 18 * (len(note.text) // 34 + 1)
    cell.comment = note
    whole = page.column_dimensions[get_column_letter(index)]
    whole.width = column.width
    if row == HEADING_ROW:
        # Rows that are added later take the column's look where the program does not copy the row above.
        whole.number_format = number_format(column, column.house_unit(house))
        whole.alignment = _aligned(column, wrap=_is_text(column), vertical="top")


def _is_text(column: Column) -> bool:
    return column.kind == "text"


def number_format(column: Column, unit: Unit | None) -> str:
    """The spreadsheet's format for the column in that unit."""
    if column.quantity is not None and unit is not None:
        return column.quantity.format_in(unit)
    return _FORMATS.get(column.kind, "General")


def dress(cell: Any, column: Column, unit: Unit | None) -> None:
    """Give a cell of a list its look."""
    cell.number_format = number_format(column, unit)
    cell.border = _BODY
    cell.alignment = _aligned(column, wrap=_is_text(column), vertical="top")


def _dress_alike(cell: Any, other: Any) -> None:
    # A look worked out again for each cell takes most of the time that a blank workbook takes.
    cell._style = copy(other._style)


def _aligned(column: Column, wrap: bool, vertical: str) -> Alignment:
    if _is_text(column):
        return Alignment(horizontal="left", vertical=vertical, wrap_text=wrap, indent=1)
    return Alignment(horizontal="center", vertical=vertical, wrap_text=wrap)


def offer_words(page: Worksheet, column: Column, area: str) -> None:
    """A drop-down in that area. It only advises where a measure or several words may be written instead."""
    if column.filled or not (column.list or column.kind == "yes_no"):
        return
    words = layout().lists.get("yes_no" if column.kind == "yes_no" else column.list)
    formula = '"' + ",".join(words.words) + '"' if words else SHELF_NAMES[column.list]
    offer = DataValidation(type="list", formula1=formula, allow_blank=True)
    offer.showErrorMessage = not (column.several or bool(words and words.unit))
    offer.errorStyle = "warning"
    offer.errorTitle = column.heading
    offer.error = "This is not in the list. Keep it if you know that it is right; 'same' is fine."
    offer.add(area)
    page.add_data_validation(offer)


def name_shelf(book: Workbook, sheet: SheetLayout) -> None:
    """A name for the labels on a shelf, as long as the list is."""
    first = HEADING_ROW + 1
    every = f"{sheet.name}!$A${first}:$A${LAST_LISTED_ROW}"
    last = f"INDEX({every},MAX(1,COUNTA({every})))"
    name = SHELF_NAMES[sheet.key]
    book.defined_names[name] = DefinedName(name, attr_text=f"{sheet.name}!$A${first}:{last}")


def set_print(
    page: Worksheet, pages_wide: int = 1, repeat_row: int | None = HEADING_ROW, repeat_columns: str = ""
) -> None:
    """Landscape, as many pages wide as asked for, headings on each page, sheet and page number at the foot."""
    page.page_setup.orientation = "landscape"
    page.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    page.page_setup.fitToWidth, page.page_setup.fitToHeight = pages_wide, 0
    page.page_margins = PageMargins(left=0.4, right=0.4, top=0.75, bottom=0.75, header=0.3, footer=0.3)
    header, footer = page.oddHeader, page.oddFooter
    assert header is not None and footer is not None
    header.right.text, footer.left.text, footer.right.text = "&A", "&F", "page &P of &N"
    if repeat_row is not None:
        page.print_title_rows = f"{repeat_row}:{repeat_row}"
    if repeat_columns:
        page.print_title_cols = repeat_columns
