"""The numbers behind the season charts: a table under them with a row for each run, growing to the right."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from workbook_template.hosts.protocol import Area, Band, CellOut, Look, Series, Style

_ABOUT = Style(bold=True, size_pt=8)
_HEAD = Style(bold=True, size_pt=8, border="bottom", vertical="bottom", wrap=True)
_CELL = Style(size_pt=8, align="right")
_TEXT = Style(size_pt=8)
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
MOST_STEPS, SMALLEST_SPAN = 5, 0.001


@dataclass(frozen=True, slots=True)
class Column:
    """One column of numbers: its heading and where that stands, and the area below it."""

    heading: str
    at: tuple[int, int]
    area: Area

    def series(self, look: Look, in_legend: bool = True) -> Series:
        """The column as a line of a chart, by the name of its heading."""
        return Series(self.heading, self.area, look=look, in_legend=in_legend, title_at=self.at)

    def band(self, widths: Column) -> Band:
        """A band that begins at these numbers and is so wide, by the name of this column's heading."""
        return Band(self.heading, self.area, widths.area, self.at)


@dataclass(slots=True)
class Numbers:
    """A table under the pen. top: the row of what its columns are about; their own headings stand in the next."""

    top: int
    column: int = 1
    cells: dict[tuple[int, int], CellOut] = field(default_factory=dict)

    def about(self, text: str) -> None:
        """What the next columns are about."""
        self.cells[self.top, self.column] = CellOut(text, _ABOUT)

    def add(self, heading: str, values: Sequence[float | str | None]) -> Column:
        """One more column; a value of None leaves its cell blank."""
        at = (self.top + 1, self.column)
        self.cells[at] = CellOut(heading, _HEAD)
        for row, value in enumerate(values, self.top + 2):
            if value is not None:
                self.cells[row, self.column] = CellOut(value, _TEXT if isinstance(value, str) else _CELL)
        self.column += 1
        return Column(heading, at, (self.top + 2, at[1], self.top + 1 + len(values), at[1]))


def spaced(values: Sequence[float]) -> tuple[tuple[float, float], float]:
    """The range of an upright axis that holds the values with some air above, and its step; both in round numbers."""
    low, high = min(values), max(values)
    span = max((high - low) or abs(high), SMALLEST_SPAN)
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
