"""Cells and areas of a sheet, 1-based, and their A1 names."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from openpyxl.utils import column_index_from_string, get_column_letter

MAX_ROW = 1_048_576
MAX_COLUMN = 16_384

_CORNER = re.compile(r"^\$?([A-Za-z]{1,3})?\$?([0-9]{1,7})?$")


@dataclass(frozen=True, slots=True, order=True)
class Area:
    """A rectangle of cells, both corners included."""

    first_row: int
    first_column: int
    last_row: int
    last_column: int

    def holds(self, row: int, column: int) -> bool:
        return self.first_row <= row <= self.last_row and self.first_column <= column <= self.last_column

    def meets(self, other: Area) -> bool:
        rows = self.first_row <= other.last_row and other.first_row <= self.last_row
        return rows and self.first_column <= other.last_column and other.first_column <= self.last_column

    def joined(self, other: Area) -> Area:
        return Area(
            min(self.first_row, other.first_row), min(self.first_column, other.first_column),
            max(self.last_row, other.last_row), max(self.last_column, other.last_column),
        )  # fmt: skip

    def places(self) -> Iterator[tuple[int, int]]:
        """Every cell (row, column) of the area; ask only for areas known to be small."""
        for row in range(self.first_row, self.last_row + 1):
            for column in range(self.first_column, self.last_column + 1):
                yield row, column

    @property
    def size(self) -> int:
        """How many cells the area has."""
        return (self.last_row - self.first_row + 1) * (self.last_column - self.first_column + 1)

    @property
    def one_cell(self) -> bool:
        return self.first_row == self.last_row and self.first_column == self.last_column

    def __str__(self) -> str:
        first = cell_name(self.first_row, self.first_column)
        return first if self.one_cell else f"{first}:{cell_name(self.last_row, self.last_column)}"

    def absolute(self) -> str:
        """The area with dollar signs, as defined names want it."""
        corners = dict.fromkeys(((self.first_row, self.first_column), (self.last_row, self.last_column)))
        return ":".join(f"${get_column_letter(column)}${row}" for row, column in corners)


def cell_name(row: int, column: int) -> str:
    return f"{get_column_letter(column)}{row}"


def parse_cell(text: str) -> tuple[int, int] | None:
    """Row and column of "B7" or "$B$7"; None where the text is no cell of a sheet."""
    found = _CORNER.match(text)
    if not found or not found[1] or not found[2]:
        return None
    column, row = column_index_from_string(found[1].upper()), int(found[2])
    return (row, column) if 1 <= row <= MAX_ROW and column <= MAX_COLUMN else None


def parse_area(text: str) -> Area | None:
    """The area of "B7", "B2:C9", "B:C" or "2:9" (dollar signs allowed); None where it is none."""
    first, _, last = text.partition(":")
    corners = [_CORNER.match(first), _CORNER.match(last or first)]
    if not corners[0] or not corners[1] or not first:
        return None
    columns = [column_index_from_string(corner[1].upper()) if corner[1] else None for corner in corners if corner]
    rows = [int(corner[2]) if corner[2] else None for corner in corners if corner]
    if not last and (columns[0] is None or rows[0] is None):
        return None
    area = Area(rows[0] or 1, columns[0] or 1, rows[1] or MAX_ROW, columns[1] or MAX_COLUMN)
    in_order = area.first_row <= area.last_row <= MAX_ROW and area.first_column <= area.last_column <= MAX_COLUMN
    return area if in_order else None


def parse_areas(text: str) -> list[Area]:
    """The areas of a space-separated list, those that can be read."""
    return [area for area in map(parse_area, text.split()) if area]


def column_runs(cells: Iterable[tuple[int, int]]) -> list[Area]:
    """The cells (row, column) as runs down each column, sorted.

    Columns are never joined, so that one put in between by the user belongs to no run.
    """
    runs: list[Area] = []
    for column, row in sorted({(column, row) for row, column in cells}):
        if runs and runs[-1].last_column == column and runs[-1].last_row == row - 1:
            runs[-1] = Area(runs[-1].first_row, column, row, column)
        else:
            runs.append(Area(row, column, row, column))
    return sorted(runs)
