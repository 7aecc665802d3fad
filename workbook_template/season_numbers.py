"""The numbers behind the season charts: a table under them with a row for each run, growing to the right."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from workbook_template.hosts.protocol import Area, CellOut, Style

_HEAD = Style(bold=True, size_pt=8, border="bottom", vertical="bottom", wrap=True)
_CELL = Style(size_pt=8, align="right")
_TEXT = Style(size_pt=8)
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
MOST_STEPS = 5


@dataclass(slots=True)
class Numbers:
    """A table under the pen. top: the row of its headings; rows: how many follow."""

    top: int
    rows: int
    column: int = 1
    cells: dict[tuple[int, int], CellOut] = field(default_factory=dict)

    def add(self, heading: str, values: Sequence[float | str | None]) -> Area:
        """One more column; a value of None leaves its cell blank. Returns the area of its values."""
        column = self.column
        self.cells[self.top, column] = CellOut(heading, _HEAD)
        for row, value in enumerate(values, self.top + 1):
            if value is not None:
                self.cells[row, column] = CellOut(value, _TEXT if isinstance(value, str) else _CELL)
        self.column += 1
        return (self.top + 1, column, self.top + self.rows, column)


def spaced(values: Sequence[float]) -> tuple[tuple[float, float], float]:
    """The range of an upright axis that holds the values with some air above, and its step; both in round numbers."""
    low, high = min(values), max(values)
    span = (high - low) or abs(high) or 1.0
    low, high = max(0.0, low - 0.05 * span) if low >= 0.0 else low - 0.05 * span, high + 0.12 * span
    rough = (high - low) / MOST_STEPS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(one * power for one in STEPS if one * power >= rough * (1.0 - 1e-9))
    bottom, top = math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step
    return (round(bottom, 6), round(top, 6)), round(step, 6)


def rounded(value: float | None) -> float | None:
    """To five significant digits: more than any gauge shows, and the same on every machine."""
    if value is None or value == 0.0:
        return value
    return round(value, 4 - math.floor(math.log10(abs(value))))
