"""The log of a blank workbook in the wide style: a row for each run, a block of columns for each cylinder."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import replace

from openpyxl.styles import Border, PatternFill, Side
from openpyxl.workbook import Workbook
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from workbook_template.build_engine import StarterEngine
from workbook_template.build_sheet import HEADING_ROW, begin_sheet, set_print, write_list
from workbook_template.layout import Column, layout

PRINTED_PCT = 44  # at which two cylinders' blocks are as wide as a page
_EVEN_FILL = PatternFill("solid", fgColor="D6D4CF")
_BLOCK_EDGE = Side("medium", color="404040")


def write_wide(book: Workbook, engine: StarterEngine) -> None:
    """The sheet Log, its first run listed."""
    sheet = layout().sheets["log"]
    page = begin_sheet(book, sheet, title_column=sheet.freeze + 1)
    of_run = engine.columns(layout().sheets["runs"])
    blocks = [list(_block(engine, number)) for number in engine.places]
    columns = [*of_run, *(column for block in blocks for column in block)]
    write_list(page, sheet, columns, engine.units, [{"name": 1}])
    start = len(of_run) + 1
    for at, block in enumerate(blocks):
        _set_apart(page, start, len(block), shaded=bool(at % 2))
        start += len(block)
    page.freeze_panes = page.cell(HEADING_ROW + 1, sheet.freeze + 1).coordinate
    set_print(page, repeat_columns="A:B")
    _set_pages(page, len(of_run), [len(block) for block in blocks])


def cylinder_columns(engine: StarterEngine) -> Iterator[Column]:
    """What the styles 'wide' and 'form' ask of each cylinder."""
    known = {column.key: column for column in engine.columns(layout().sheets["readings"])}
    yield from (known[key] for key in layout().styles.of_cylinder if key in known)


def _block(engine: StarterEngine, number: int) -> Iterator[Column]:
    for column in cylinder_columns(engine):
        name = column.heading if column.heading.isupper() else column.heading.lower()
        yield replace(column, key=f"{number}.{column.key}", heading=f"Cyl {number} {name}")


def _set_pages(page: Worksheet, of_run: int, blocks: Sequence[int]) -> None:
    """Two cylinders a page, however many columns come to stand right of them."""
    page.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=False)
    page.page_setup.fitToWidth = page.page_setup.fitToHeight = None
    page.page_setup.scale = PRINTED_PCT
    for first in range(2, len(blocks) + 1, 2):
        page.col_breaks.append(Break(id=of_run + sum(blocks[:first])))


def _set_apart(page: Worksheet, first: int, count: int, *, shaded: bool) -> None:
    """A line before a cylinder's block, and every second one darker above."""
    for row in (HEADING_ROW, HEADING_ROW + 1):
        cell = page.cell(row, first)
        edge = copy(cell.border)
        cell.border = Border(left=_BLOCK_EDGE, right=edge.right, top=edge.top, bottom=edge.bottom)
    for column in range(first, first + count if shaded else first):
        page.cell(HEADING_ROW, column).fill = _EVEN_FILL
