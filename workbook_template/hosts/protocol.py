"""What passes between a spreadsheet host and the rest: sheets in as blocks of values, changes out as plain data.

A host knows no tuning and no layout. It reads every sheet in bulk and applies one `Changes` all or nothing.
Rows and columns count from 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Protocol

from engine_rules.logbook import LogbookError


@dataclass(frozen=True, slots=True)
class CellError:
    """An error value such as #DIV/0!."""

    code: str


CellValue = None | bool | float | str | datetime | date | time | CellError


@dataclass(frozen=True, slots=True)
class SheetBlock:
    """The used range of one sheet: every row has the same length; numbers are floats."""

    name: str
    first_row: int
    first_column: int
    rows: tuple[tuple[CellValue, ...], ...]

    def at(self, row: int, column: int) -> CellValue:
        """The value at a 1-based place; None outside the used range."""
        r, c = row - self.first_row, column - self.first_column
        if 0 <= r < len(self.rows) and 0 <= c < len(self.rows[r]):
            return self.rows[r][c]
        return None

    @property
    def last_row(self) -> int:
        """The last used row, 1-based; first_row - 1 when nothing is used."""
        return self.first_row + len(self.rows) - 1

    @property
    def last_column(self) -> int:
        """The last used column, 1-based; first_column - 1 when nothing is used."""
        return self.first_column + (len(self.rows[0]) if self.rows else 0) - 1


@dataclass(frozen=True, slots=True)
class Style:
    """How a cell looks. Colours are RRGGBB; None leaves the host's default. align: 'left', 'center', 'right' or ''."""

    bold: bool = False
    italic: bool = False
    size_pt: float | None = None
    color: str | None = None
    fill: str | None = None
    border: str = ""  # '', 'thin', 'medium', 'thick', 'bottom'
    align: str = ""
    vertical: str = ""  # '', 'top', 'center', 'bottom'
    wrap: bool = False
    number_format: str = ""
    underline: bool = False


@dataclass(frozen=True, slots=True)
class CellOut:
    """A cell to be written. link: internal target as 'Sheet!A1'. Text that starts with '=' stays text.

    like: the cell (row, column) of the same sheet whose look it takes over, its number format aside.
    """

    value: str | float | bool | datetime | None
    style: Style | None = None
    link: str | None = None
    note: str | None = None
    like: tuple[int, int] | None = None


Area = tuple[int, int, int, int]  # first row, first column, last row, last column


@dataclass(frozen=True, slots=True)
class Look:
    """How a series is drawn. Dash and mark tell series apart where no colour is printed. width_pt 0: no line.

    dash: 'solid', 'dash', 'dot', 'dash dot' or 'long dash'. mark: 'circle', 'square', 'diamond', 'triangle', 'x',
    'plus', 'bar' or '' for none; hollow marks let those behind them show. drop: a hair line from each point down to
    the axis.
    """

    color: str = "000000"
    width_pt: float = 0.0
    dash: str = "solid"
    mark: str = ""
    mark_pt: int = 5
    hollow: bool = False
    drop: bool = False


@dataclass(frozen=True, slots=True)
class Series:
    """One line or set of points of a chart. A cell left blank is a gap. look: None leaves it to the chart's kind.

    title_at: the cell (row, column) that holds the title; some programs lose one that stands in the chart alone.
    """

    title: str
    values: Area
    error_values: Area | None = None  # half-widths, drawn as plus and minus
    look: Look | None = None
    in_legend: bool = True
    title_at: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """A grey band behind the lines. lowest: where it begins; widths: how far it goes up; title_at: as in Series."""

    title: str
    lowest: Area
    widths: Area
    title_at: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class ChartOut:
    """A native chart. kind: 'bar' (upright columns), 'line' or 'points'.

    anchor: the cell of its top left corner, drop_pt below that cell's top. until: the cell at whose top left corner it
    ends, for a chart that goes with its cells; without one the width and height hold. plot: left, top, width and height
    of the inner plot as shares of the chart, so that charts below each other line up. text_pt: of axes and legend, 0
    for the host's own. names: of the categories below the plot, 'level', 'broken' into lines where they are long,
    'upright' without numbers beside the plot, or 'none'. every: a name at each so many. y_step: from one number beside
    the plot to the next, 0 for the host's choice. to_edges: the first and the last category stand at the ends of the
    plot, as bands want it. legend: 'right', 'top' beside the title, or '' for none; one series alone has none.
    """

    kind: str
    title: str
    categories: Area
    series: tuple[Series, ...]
    x_title: str
    y_title: str
    anchor: tuple[int, int]
    width_cm: float
    height_cm: float
    y_range: tuple[float, float] | None = None  # None leaves it to the host, which may cut off error bars
    band: Band | None = None
    until: tuple[int, int] | None = None
    drop_pt: float = 0.0
    plot: tuple[float, float, float, float] | None = None
    text_pt: float = 0.0
    title_pt: float = 13.0
    names: str = "level"
    legend: str = "right"
    every: int = 1
    y_step: float = 0.0
    to_edges: bool = False


@dataclass(frozen=True, slots=True)
class TableOut:
    """A list with a filter; its area is (first row, first column, last row, last column), headings first."""

    name: str
    area: tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class SheetOut:
    """A whole sheet of ours, put in place of one of the same name or at the end of the book.

    choices: area with a drop-down -> the area of this sheet that lists its words; other words are let through.
    """

    name: str
    cells: Mapping[tuple[int, int], CellOut]
    column_widths: Mapping[int, float] = field(default_factory=dict)  # in characters
    row_heights_pt: Mapping[int, float] = field(default_factory=dict)
    merges: tuple[tuple[int, int, int, int], ...] = ()
    freeze: tuple[int, int] | None = None  # the first cell that scrolls
    tables: tuple[TableOut, ...] = ()
    charts: tuple[ChartOut, ...] = ()
    landscape: bool = False
    fit_to_pages: tuple[int, int] | None = None  # pages wide, pages high (0: as many as needed)
    print_area: tuple[int, int, int, int] | None = None
    repeat_rows: tuple[int, int] | None = None
    footer: str = ""
    show_gridlines: bool = False
    choices: Mapping[tuple[int, int, int, int], tuple[int, int, int, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Changes:
    """All that one fill does to a workbook: cells in sheets that are there, and whole sheets of ours.

    if_linked: cells that are set so only where they hold a link now, since what it led to is about to change. removed:
    sheets of ours to take out, by the names that they were first asked for under.
    """

    cells: Mapping[str, Mapping[tuple[int, int], CellOut]] = field(default_factory=dict)
    if_linked: Mapping[str, Mapping[tuple[int, int], CellOut]] = field(default_factory=dict)
    sheets: tuple[SheetOut, ...] = ()
    removed: tuple[str, ...] = ()


class NotInPlace(LogbookError):
    """The workbook itself cannot take the changes; a workbook of its own may hold what would have been written."""


class Host(Protocol):
    """A spreadsheet program, or a file, that holds one workbook."""

    def read(self) -> tuple[SheetBlock, ...]:
        """Every sheet's used range, in the order of the book."""
        ...

    def apply(self, changes: Changes) -> None:
        """Make the changes, all or nothing. Raises NotInPlace when the workbook cannot take them."""
        ...
