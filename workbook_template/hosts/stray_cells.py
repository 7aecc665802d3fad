"""Sheets read cell by cell: those with stray cells far off, and those whose part the libraries do not find."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from workbook_template.hosts.protocol import CellError
from workbook_template.package import CellError as PartError
from workbook_template.package import Package, read_cells

ROWS_APART, COLUMNS_APART = 1000, 200  # blank ones behind which a cell is a stray one
MOST_STRAY = 100
MOST_HELD = 2_000_000

Filled = dict[tuple[int, int], object]


def rows_near(package: Package, name: str) -> Iterator[list[object]] | None:
    """The rows of a sheet from the first on, without its stray cells; None where it holds too much, or many of them.

    A cell is a stray one behind many blank rows or columns: it was typed there by mistake, and is left where it is.
    """
    held: Filled = {}
    for row, column, value in read_cells(package, name):
        held[row, column] = CellError(value.code) if isinstance(value, PartError) else value
        if len(held) > MOST_HELD:
            return None
    last_row = _end({row for row, _ in held}, ROWS_APART)
    last_column = _end({column for row, column in held if row <= last_row}, COLUMNS_APART)
    near = {place: value for place, value in held.items() if place[0] <= last_row and place[1] <= last_column}
    return _rows(near, last_row, last_column) if len(held) - len(near) <= MOST_STRAY else None


def _end(used: Collection[int], apart: int) -> int:
    """The last of these before the first wide gap."""
    last = 0
    for one in sorted(used):
        if one - last > apart:
            break
        last = one
    return last


def _rows(filled: Filled, last_row: int, last_column: int) -> Iterator[list[object]]:
    for row in range(1, last_row + 1):
        yield [filled.get((row, column)) for column in range(1, last_column + 1)]
