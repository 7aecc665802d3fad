"""Sheets of ours as sheets of a scratch workbook: styles, links, notes, merges, tables, charts, print set-up."""

from __future__ import annotations

import re
from collections.abc import Iterable
from copy import copy
from typing import Any

from openpyxl import Workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.header_footer import HeaderFooterItem
from openpyxl.worksheet.header_footer import _HeaderFooterPart as HeaderFooterPart
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.table import Table, TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet

from workbook_template.hosts.native_chart import add_native_chart
from workbook_template.hosts.protocol import CellOut, SheetOut, Style

# Every system has it or a twin of the same widths, so a page that fits here fits there.
FONT = "Arial"
MARGIN_IN = 0.4
LONGEST_TEXT = 32_767
_INK = "FF000000"
Looks = dict[tuple[Style, str, bool], Any]
_PLAIN_SHEET_NAME = re.compile(r"[^\W\d]\w*")


def scratch_workbook(sheets: Iterable[SheetOut]) -> Workbook:
    """A workbook that holds these sheets and nothing else, in their order. Raises ValueError for none."""
    book = Workbook()
    first = book.active
    for sheet in sheets:
        add_sheet(book, sheet)
    if first is not None:
        book.remove(first)
    if not book.worksheets:
        raise ValueError("there is no sheet to make a workbook of")
    return book


def add_sheet(book: Workbook, sheet: SheetOut, at: int | None = None) -> Worksheet:
    """The sheet, added to the book at that place (from 0) or at its end."""
    made: Worksheet = book.create_sheet(sheet.name, at)
    looks: Looks = {}
    for (row, column), cell in sorted(sheet.cells.items()):
        place = made.cell(row, column)
        assert isinstance(place, Cell)  # nothing is merged yet
        write_cell(place, cell, looks)
    for top, left, bottom, right in sheet.merges:
        made.merge_cells(start_row=top, start_column=left, end_row=bottom, end_column=right)
    for column, width in sheet.column_widths.items():
        made.column_dimensions[get_column_letter(column)].width = width
    for row, height in sheet.row_heights_pt.items():
        made.row_dimensions[row].height = height
    for table in sheet.tables:
        listed = Table(displayName=table.name, ref=area_ref(table.area))
        listed.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=True)
        made.add_table(listed)
    _offer_words(made, sheet)
    for chart in sheet.charts:
        add_native_chart(made, chart)
    _set_view(made, sheet)
    _set_print(made, sheet)
    return made


def _offer_words(made: Worksheet, sheet: SheetOut) -> None:
    offers: dict[tuple[int, int, int, int], DataValidation] = {}
    for area, listed_at in sheet.choices.items():
        top, left, bottom, right = listed_at
        words = f"${get_column_letter(left)}${top}:${get_column_letter(right)}${bottom}"
        offer = DataValidation(type="list", formula1=words, allow_blank=True, showErrorMessage=False)
        offers.setdefault(listed_at, offer).add(area_ref(area))
    for offer in offers.values():
        made.add_data_validation(offer)


def area_ref(area: tuple[int, int, int, int]) -> str:
    """'A1:B9' for (first row, first column, last row, last column)."""
    top, left, bottom, right = area
    return f"{get_column_letter(left)}{top}:{get_column_letter(right)}{bottom}"


def link_location(link: str) -> str:
    """'Sheet!A1' with the sheet's name in quotes where a spreadsheet wants them."""
    name, _, ref = link.rpartition("!")
    name = name.strip("'")
    return f"{name}!{ref}" if _PLAIN_SHEET_NAME.fullmatch(name) else "'{}'!{}".format(name.replace("'", "''"), ref)


def write_cell(cell: Cell, out: CellOut, looks: Looks) -> None:
    """Put value, style, link and note into one cell. Text that starts with '=' stays text; None empties the cell.

    looks: of the cells of this workbook that were written before.
    """
    value = out.value
    if isinstance(value, str):
        value = ILLEGAL_CHARACTERS_RE.sub("", value)[:LONGEST_TEXT]
    cell.value = value
    if isinstance(value, str) and value.startswith("="):
        cell.data_type = "s"
        cell.quotePrefix = True  # else editing the cell would make a formula of it
    if out.style is not None:
        _dress(cell, out.style, looks)
    cell.hyperlink = None if out.link is None else Hyperlink(ref=cell.coordinate, location=link_location(out.link))
    cell.comment = None if out.note is None else Comment(out.note, "strapline")


def _dress(cell: Cell, style: Style, looks: Looks) -> None:
    """Give a cell its style; one met before is taken over whole, for openpyxl is slow to find its parts."""
    key = (style, cell.number_format, cell.quotePrefix)
    if key not in looks:
        _set_style(cell, style)
        looks[key] = copy(cell._style)  # type: ignore[attr-defined]
    else:
        cell._style = copy(looks[key])  # type: ignore[attr-defined]


def _set_style(cell: Cell, style: Style) -> None:
    cell.font = Font(
        name=FONT,
        size=style.size_pt or 11,
        bold=style.bold,
        italic=style.italic,
        color=None if style.color is None else f"FF{style.color}",
        underline="single" if style.underline else None,
    )
    if style.fill is not None:
        cell.fill = PatternFill("solid", fgColor=f"FF{style.fill}")
    if style.border == "bottom":
        cell.border = Border(bottom=Side("thin", color=_INK))
    elif style.border:
        side = Side(style.border, color=_INK)  # type: ignore[arg-type]
        cell.border = Border(left=side, right=side, top=side, bottom=side)
    cell.alignment = Alignment(
        horizontal=style.align or None,
        vertical=style.vertical or None,
        wrap_text=style.wrap or None,
        indent=1 if style.align == "left" and style.border not in ("", "bottom") else 0,  # off the border
    )
    if style.number_format:
        cell.number_format = style.number_format


def _set_view(made: Worksheet, sheet: SheetOut) -> None:
    made.sheet_view.showGridLines = sheet.show_gridlines
    made.sheet_view.tabSelected = False
    if sheet.freeze is not None:
        row, column = sheet.freeze
        made.freeze_panes = f"{get_column_letter(column)}{row}"


def _set_print(made: Worksheet, sheet: SheetOut) -> None:
    # No paper size: the racer's printer has its own, and the page is laid out to fit A4 and Letter alike.
    made.page_setup.orientation = "landscape" if sheet.landscape else "portrait"
    for edge in ("left", "right", "top", "bottom"):
        setattr(made.page_margins, edge, MARGIN_IN)
    made.page_margins.header = made.page_margins.footer = MARGIN_IN / 2
    if sheet.fit_to_pages is not None:
        made.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        made.page_setup.fitToWidth, made.page_setup.fitToHeight = sheet.fit_to_pages
    if sheet.print_area is not None:
        made.print_area = area_ref(sheet.print_area)
    if sheet.repeat_rows is not None:
        made.print_title_rows = f"{sheet.repeat_rows[0]}:{sheet.repeat_rows[1]}"
    if sheet.footer:
        made.oddFooter = HeaderFooterItem(center=HeaderFooterPart(text=sheet.footer.replace("&", "&&")))
