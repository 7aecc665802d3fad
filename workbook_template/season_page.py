"""The page that the season charts stand on: rows of charts, none of which a page break can cut, and lines of text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from workbook_template.hosts.protocol import Area, Band, CellOut, ChartOut, Series, SheetOut, Style
from workbook_template.page import MM_PER_PT, text_height_pt, text_lines
from workbook_template.season_numbers import Numbers

# A row of charts is one high row of cells, since a page breaks between rows alone. A4 and Letter, landscape, hold this
# width at the size that is set here, and this height.
COLUMNS, WIDTH_MM, HEIGHT_MM = 12, 258.0, 182.0
COLUMN_MM = WIDTH_MM / COLUMNS
HEADING_PT = 20.0
TEXT_PT, TITLE_PT = 8.0, 9.0
# What letters of the axes take: a line of them, and one letter of a run's name.
LINE_MM, LETTER_MM, TITLE_MM = 5.0, 1.9, 7.0
# Left of the plot for its numbers, right of it for the legend.
LEFT_MM, LEGEND_MM, RIGHT_MM = 13.0, 32.0, 4.0
PLOT_MM = WIDTH_MM - LEFT_MM - RIGHT_MM
# Room below a plot without names, and the height of one that only carries marks.
BARE_MM = 2.0
_PX_PER_CHARACTER = 7.0

TITLE = Style(bold=True, size_pt=16)
PART = Style(bold=True, size_pt=13, vertical="top")
LINE = Style(size_pt=9, vertical="top")


@dataclass(frozen=True, slots=True)
class Drawing:
    """What one chart shows, wherever it stands.

    names: the longest name across, in letters; count: how many of them; where: as in ChartOut. below_mm: room for them.
    """

    title: str
    categories: Area
    series: tuple[Series, ...]
    y_range: tuple[float, float]
    y_step: float
    band: Band | None = None
    names: int = 2
    count: int = 1
    legend: str = "top"
    text_pt: float = TEXT_PT
    where: str = "level"
    to_edges: bool = True
    below_mm: float = LINE_MM

    def of_newest(self, count: int) -> Drawing:
        """The same of the last so many categories."""

        def newest(area: Area) -> Area:
            return (max(area[0], area[2] - count + 1), *area[1:])

        band = self.band and replace(self.band, lowest=newest(self.band.lowest), widths=newest(self.band.widths))
        series = tuple(replace(one, values=newest(one.values)) for one in self.series)
        names = newest(self.categories)
        return replace(self, categories=names, series=series, band=band, count=min(self.count, count))


@dataclass(slots=True)
class SeasonPage:
    """The sheet under the pen. `row` is the next free row."""

    name: str
    numbers: Numbers
    row: int = 1
    cells: dict[tuple[int, int], CellOut] = field(default_factory=dict)
    heights_pt: dict[int, float] = field(default_factory=dict)
    merges: list[Area] = field(default_factory=list)
    charts: list[ChartOut] = field(default_factory=list)

    @property
    def used_mm(self) -> float:
        """Height of the rows so far."""
        return sum(self.heights_pt.values()) * MM_PER_PT

    @property
    def left_mm(self) -> float:
        """What is left of the first page."""
        return HEIGHT_MM - self.used_mm

    def line(self, text: str, style: Style = LINE) -> None:
        """A text across the page, as high as it needs."""
        wrapped = text_lines(text, WIDTH_MM, style) > 1
        self.cells[self.row, 1] = CellOut(text, replace(style, wrap=wrapped))
        if wrapped:
            self.merges.append((self.row, 1, self.row, COLUMNS))
        self.heights_pt[self.row] = round(text_height_pt(text, WIDTH_MM, style) * 4.0) / 4.0
        self.row += 1

    def chart_row(
        self, drawings: Sequence[Drawing], across: int, height_mm: float, heading: str = "", style: Style = PART
    ) -> None:
        """Charts side by side, each as wide as a page holds `across` of them, below a heading in the same row."""
        drop_pt = HEADING_PT if heading else 0.0
        if heading:
            self.cells[self.row, 1] = CellOut(heading, style)
        self.heights_pt[self.row] = round((height_mm / MM_PER_PT + drop_pt) * 4.0) / 4.0
        columns = COLUMNS // across
        for at, one in enumerate(drawings):
            placed = _placed(one, columns * COLUMN_MM, height_mm)
            begins, ends = (self.row, 1 + at * columns), (self.row + 1, 1 + (at + 1) * columns)
            self.charts.append(replace(placed, anchor=begins, until=ends, drop_pt=drop_pt))
        self.row += 1

    def drawn(self) -> SheetOut:
        """The sheet: what was drawn prints, the numbers below it do not."""
        width = COLUMN_MM / 25.4 * 96.0 / _PX_PER_CHARACTER
        return SheetOut(
            name=self.name,
            cells=self.cells | self.numbers.cells,
            column_widths={column: round(width, 2) for column in range(1, max(COLUMNS, self.numbers.column) + 1)},
            row_heights_pt=self.heights_pt,
            merges=tuple(self.merges),
            charts=tuple(self.charts),
            landscape=True,
            fit_to_pages=(1, 0),
            print_area=(1, 1, self.row - 1, COLUMNS),
            footer=self.name,
        )


def _placed(one: Drawing, width_mm: float, height_mm: float) -> ChartOut:
    """The drawing as a chart of that size; its plot begins at the same place in every chart of that width."""
    legend = LEGEND_MM if one.legend == "right" else RIGHT_MM
    inside = width_mm - LEFT_MM - legend
    above, below = TITLE_MM, BARE_MM if one.where == "none" else one.below_mm
    return ChartOut(
        kind="line",
        title=one.title,
        categories=one.categories,
        series=one.series,
        x_title="",
        y_title="",
        anchor=(1, 1),
        width_cm=width_mm / 10.0,
        height_cm=height_mm / 10.0,
        y_range=one.y_range,
        band=one.band,
        plot=(LEFT_MM / width_mm, above / height_mm, inside / width_mm, (height_mm - above - below) / height_mm),
        text_pt=one.text_pt,
        title_pt=TITLE_PT,
        names=one.where,
        legend=one.legend,
        to_edges=one.to_edges,
        every=_every(one, inside) if one.where == "level" else 1,
        y_step=one.y_step,
    )


def _every(one: Drawing, plot_mm: float) -> int:
    """At each how many names one is written, so that they stand clear of each other."""
    return max(1, math.ceil(one.count * (one.names * LETTER_MM + 1.5) / plot_mm))
