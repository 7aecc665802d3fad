"""Values into cells in bulk, as Excel takes them without making something else of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from engine_rules.logbook import LogbookError
from workbook_template.hosts.excel import reading
from workbook_template.hosts.excel.obstacles import ref_of
from workbook_template.hosts.protocol import CellOut
from workbook_template.hosts.scratch import LONGEST_TEXT

Place = tuple[int, int]

AS_TEXT = "'"  # typed before a text, it keeps Excel from reading a formula, a number or a day into it
LONGEST_PIECE, LONGEST_FORMULA = 250, 8000  # 255 and 8192 are the limits of Excel


def write(sheet: Any, area: tuple[int, int, int, int], cells: Mapping[Place, CellOut]) -> None:
    """Write a rectangle at once, and see that each value arrived: in a filtered list some Excels pass by hidden rows.

    Raises LogbookError for a cell that does not take its value.
    """
    top, left, bottom, right = area
    whole = sheet.range((top, left), (bottom, right))
    whole.value = [[entry(cells[row, column]) for column in range(left, right + 1)] for row in range(top, bottom + 1)]
    for place in _wrong(whole, area, cells):
        sheet.range(place).value = entry(cells[place])
    for place in _wrong(whole, area, cells):
        raise LogbookError(
            "this cell does not take what was to be written; take filters off, and try again", sheet.name, ref_of(place)
        )


def _wrong(whole: Any, area: tuple[int, int, int, int], cells: Mapping[Place, CellOut]) -> list[Place]:
    top, left = area[:2]
    found = held(whole)
    return [place for place, cell in cells.items() if not _arrived(found[place[0] - top][place[1] - left], cell)]


def held(cells: Any) -> list[list[Any]]:
    """What the cells of a range hold, by rows: values, but of a link its formula, since what it shows may come late."""
    return [
        [formula if reading.link_in(formula) else value for value, formula in zip(*row, strict=True)]
        for row in zip(reading.values(cells), reading.formulas(cells), strict=True)
    ]


def _arrived(found: Any, cell: CellOut) -> bool:
    wanted = entry(cell)
    if isinstance(wanted, str) and reading.link_in(wanted):
        return isinstance(found, str) and reading.link_in(found) == reading.link_in(wanted)
    return _same(found, shown(cell))


def shown(cell: CellOut) -> Any:
    """The value that a cell shows once it is written."""
    if isinstance(cell.value, str):
        return ILLEGAL_CHARACTERS_RE.sub("", cell.value)[:LONGEST_TEXT] or None
    return cell.value


def _same(found: Any, wanted: Any) -> bool:
    if wanted is None or isinstance(wanted, bool | str):
        return type(found) is type(wanted) and bool(found == wanted)
    if isinstance(wanted, datetime):
        wanted = (wanted - reading.EPOCH) / timedelta(days=1)
    if isinstance(found, datetime):
        found = (found.replace(tzinfo=None) - reading.EPOCH) / timedelta(days=1)
    is_number = isinstance(found, int | float | Decimal) and not isinstance(found, bool)
    return is_number and math.isclose(float(found), float(wanted), rel_tol=1e-12, abs_tol=1e-9)


def entry(cell: CellOut) -> Any:
    """What is typed into a cell: its value, or the formula of its link."""
    value = shown(cell)
    if cell.link is not None and isinstance(value, str | float | int) and not isinstance(value, bool):
        formula = link_formula(cell.link, value)
        if len(formula) <= LONGEST_FORMULA:
            return formula
    return AS_TEXT + value if isinstance(value, str) else value


def link_formula(link: str, value: str | float) -> str:
    """A formula that shows a value and leads to 'Sheet!A1' in the same workbook."""
    sheet, _, ref = link.rpartition("!")
    target = "#'{}'!{}".format(sheet.strip("'").replace("'", "''"), ref)
    if isinstance(value, str):
        pieces = [value[at : at + LONGEST_PIECE] for at in range(0, len(value), LONGEST_PIECE)]
        said = "&".join(_text(piece) for piece in pieces)
    else:
        said = repr(float(value))
    return f"=HYPERLINK({_text(target)},{said})"


def _text(piece: str) -> str:
    return '"{}"'.format(piece.replace('"', '""'))


def typed(cells: Any) -> list[list[str]]:
    """What typing would bring the cells of a range back, by rows."""
    held = cells.options(ndim=2).value  # errors as nothing, so that one is not taken for its text
    return [
        [AS_TEXT + formula if isinstance(value, str) and value == formula and value else formula
         for value, formula in zip(*row, strict=True)]
        for row in zip(held, reading.formulas(cells), strict=True)
    ]  # fmt: skip


def type_again(cells: Any, typed_before: list[list[str]]) -> None:
    """Type into a range what `typed` said of it; cell by cell where Excel passes by hidden rows."""
    cells.formula = typed_before
    for at_row, (now, before) in enumerate(zip(typed(cells), typed_before, strict=True)):
        for at_column in range(len(before)):
            if now[at_column] != before[at_column]:
                cells[at_row, at_column].formula = before[at_column]
