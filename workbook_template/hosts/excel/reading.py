"""The open workbook as a question: every sheet in bulk, the marks of what is ours, the selected cell."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from engine_rules.logbook import LogbookError
from workbook_template.hosts.blocks import MOST_CELLS, block_of_rows
from workbook_template.hosts.excel import program
from workbook_template.hosts.marks import PREFIX, Mark
from workbook_template.hosts.protocol import CellError, SheetBlock
from workbook_template.live import Selected
from workbook_template.package.grid import parse_area

Place = tuple[int, int]
Rows = list[list[Any]]

EPOCH = datetime(1899, 12, 30)
# A cell that shows a time of day alone has one of these days, by the book's date system.
_NO_DAYS = (EPOCH.date(), datetime(1904, 1, 1).date())
_FIRST_DAY = datetime(1900, 1, 1)
_LARGEST_ERROR = -2_146_000_000  # errors are told as numbers below it
_REFERENCE = re.compile(r"^=?(?:'((?:[^']|'')+)'|([^'!]+))!(.+)$")
_LINK_FORMULA = re.compile(r'^=HYPERLINK\("#((?:[^"]|"")+)"', re.IGNORECASE)


def blocks(book: Any) -> tuple[SheetBlock, ...]:
    """Every sheet's values from A1 to its last used cell. Raises LogbookError where Excel does not tell them."""
    found = []
    for sheet in book.sheets:
        name = sheet.name
        try:
            rows = values(whole(sheet))
        except Exception as error:
            raise program.in_a_sentence(error, "tell what is in this sheet", name) from error
        found.append(block_of_rows(name, [[_value(value) for value in row] for row in rows]))
    return tuple(found)


def whole(sheet: Any) -> Any:
    """The range from A1 to the last used cell. Raises LogbookError where that is too much to read."""
    last = sheet.used_range.last_cell
    row, column = last.row, last.column
    if row * column > MOST_CELLS:  # often only looks reach so far
        used = sheet.used_range
        found = [used.find("*", direction="backward", order=order) for order in ("rows", "columns")]
        row, column = (found[0].row, found[1].column) if all(found) else (1, 1)
    if row * column > MOST_CELLS:
        raise LogbookError(
            f"the sheet reaches over more than {MOST_CELLS:,} cells; delete what is empty past your data", sheet.name
        )
    return sheet.range((1, 1), (row, column))


def values(cells: Any) -> Rows:
    """The values of a range by rows; errors as their text."""
    found: Rows = cells.options(ndim=2, err_to_str=True).value
    return found


def formulas(cells: Any) -> list[list[str]]:
    """The formulas of a range by rows; of a cell without one, what would be typed into it."""
    found = cells.formula
    if isinstance(found, str) or found is None:
        return [[found or ""]]
    rows = list(found)
    if not isinstance(rows[0], list | tuple):
        height, _ = cells.shape
        rows = [rows] if height == 1 else [[one] for one in rows]
    return [["" if one is None else str(one) for one in row] for row in rows]


def _value(value: Any) -> Any:
    """A value as a file has it: money is a number, an error without a name still an error."""
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, int) and not isinstance(value, bool) and value < _LARGEST_ERROR:
        return CellError("#VALUE!")
    return _moment(value) if isinstance(value, datetime) else value


def _moment(moment: datetime) -> Any:
    moment = moment.replace(tzinfo=None)
    # A moment is told as a fraction of a day, and comes back some microseconds off.
    moment = moment.replace(microsecond=0) + timedelta(milliseconds=round(moment.microsecond / 1000))
    if moment.date() in _NO_DAYS:
        return moment.time()
    return moment if moment >= _FIRST_DAY else (moment - EPOCH) / timedelta(days=1)


def marks(book: Any) -> tuple[Mark, ...]:
    """The names that mark what is ours, each with the area that it stands for now."""
    found = []
    for name in book.names:
        if name.name.startswith(PREFIX):
            target = _REFERENCE.match(name.refers_to)
            area = parse_area(target[3]) if target else None
            if target and area:
                corners = (area.first_row, area.first_column, area.last_row, area.last_column)
                found.append(Mark(name.name, unquoted(target[1] or target[2]), corners))
    return tuple(found)


def selected(book: Any) -> Selected | None:
    """The selected cell and its link; None where no single cell is selected."""
    chosen = book.app.selection
    if chosen is None or chosen.sheet.book.name != book.name:
        return None
    first = chosen[0, 0]
    if chosen.shape != (1, 1) and not (first.merge_cells and first.merge_area.address == chosen.address):
        return None
    return Selected(chosen.sheet.name, first.row, first.column, link_of(first))


def link_of(cell: Any) -> str | None:
    """The place in the workbook that a cell is linked to, as 'Next run!A5'; None for none."""
    target = link_in(formulas(cell)[0][0]) or program.links_of(cell.sheet).get((cell.row, cell.column), "")
    sheet, _, ref = target.replace("$", "").rpartition("!")
    return f"{unquoted(sheet.strip(chr(39)))}!{ref}" if sheet else None


def link_in(formula: str) -> str:
    """The place that a formula of a link leads to; '' where it is none."""
    found = _LINK_FORMULA.match(formula)
    return found[1].replace('""', '"') if found else ""


def linked(sheet: Any, places: set[Place]) -> set[Place]:
    """Those of the cells that hold a link into the workbook."""
    found = places & program.links_of(sheet).keys()
    if places:
        rows, columns = [row for row, _ in places], [column for _, column in places]
        top, left = min(rows), min(columns)
        written = formulas(sheet.range((top, left), (max(rows), max(columns))))
        found |= {(row, column) for row, column in places if link_in(written[row - top][column - left])}
    return found


def formulas_that_read(book: Any, names: set[str]) -> Iterator[tuple[str, int, int, str]]:
    """Every formula outside these sheets that speaks of one of them: (sheet, row, column, formula)."""
    spoken = [name.replace("'", "''").lower() for name in names]
    for sheet in book.sheets if names else ():
        if sheet.name in names:
            continue
        for row, written in enumerate(formulas(whole(sheet)), 1):
            for column, formula in enumerate(written, 1):
                is_formula = formula.startswith("=") and not link_in(formula)
                if is_formula and "!" in formula and any(name in formula.lower() for name in spoken):
                    yield sheet.name, row, column, formula


def unquoted(name: str) -> str:
    """A sheet's name as it is, from how a formula writes it between its quotes."""
    return name.replace("''", "'")
