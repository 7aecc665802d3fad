"""A printed page under the pen: blocks of merged cells on a grid of narrow columns, each sized for its text."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from workbook_template.hosts.protocol import CellOut, SheetOut, Style

MM_PER_PT = 25.4 / 72.0
LINE_PER_SIZE = 1.2
# Room that a cell keeps free beside its text: plain, and set in from a border.
BARE_MM, INDENTED_MM = 2.0, 5.5
# Widths of Arial's letters against its size: groups that are alike, then all others.
_WIDTHS_EM = (("ijl'|.,:;!·I ", 0.27), ("frt-()/", 0.33), ("mwMW%→▲▶□", 0.95), ("ABCDEGHKNOPQRSTUVXY", 0.71))
_WIDTH_EM, _BOLD = 0.556, 1.07
_PX_PER_MM, _PX_PER_CHARACTER = 96.0 / 25.4, 7.0

BLACK, WHITE, SHADE, FAINT = "000000", "FFFFFF", "E7E6E6", "F5F5F5"


def text_width_mm(text: str, style: Style) -> float:
    """Width of a line of text, from the letters' usual widths."""
    em = sum(next((width for letters, width in _WIDTHS_EM if letter in letters), _WIDTH_EM) for letter in text)
    return em * (_BOLD if style.bold else 1.0) * (style.size_pt or 11) * MM_PER_PT


def text_lines(text: str, width_mm: float, style: Style) -> int:
    """How many printed lines a text takes at that width, broken between words."""
    room = width_mm - (INDENTED_MM if style.border and style.align == "left" else BARE_MM)
    count = 0
    for line in text.split("\n"):
        used = math.inf
        for word in line.split() or [""]:
            width = text_width_mm(word + " ", style)
            if used + width > room:
                count, used = count + 1, 0.0
            used += width
    return count


def text_height_pt(text: str, width_mm: float, style: Style) -> float:
    """The height that a wrapped text needs."""
    return text_lines(text, width_mm, style) * (style.size_pt or 11) * LINE_PER_SIZE + 3.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """A finished sheet, and the firings that each of its cells stands on."""

    sheet: SheetOut
    stands_on: Mapping[tuple[int, int], tuple[int, ...]]


@dataclass(slots=True)
class Page:
    """A page of `columns` narrow columns, its text drawn larger by `zoom`. `row` is the next free row.

    cramped: a text that should keep to its own lines had to be broken.
    """

    name: str
    columns: int
    column_mm: float
    row: int = 1
    cells: dict[tuple[int, int], CellOut] = field(default_factory=dict)
    merges: list[tuple[int, int, int, int]] = field(default_factory=list)
    heights_pt: dict[int, float] = field(default_factory=dict)
    stands_on: dict[tuple[int, int], tuple[int, ...]] = field(default_factory=dict)
    zoom: float = 1.0
    cramped: bool = False

    def width_mm(self, left: int, right: int) -> float:
        """Width of the columns from left to right, both counted."""
        return (right - left + 1) * self.column_mm

    @property
    def height_mm(self) -> float:
        """Height of the rows so far."""
        return sum(self.heights_pt.values()) * MM_PER_PT

    def keep_lines(self, text: str, left: int, right: int, style: Style) -> None:
        """Note that the page is cramped where this text does not keep to its own lines."""
        self.cramped |= self.lines(text, left, right, style) > text.count("\n") + 1

    def zoomed(self, style: Style) -> Style:
        """The style at the size in which this page draws it."""
        return replace(style, size_pt=round((style.size_pt or 11) * self.zoom * 2.0) / 2.0)

    def lines(self, text: str, left: int, right: int, style: Style) -> int:
        """How many lines a text takes in the columns from left to right."""
        return text_lines(text, self.width_mm(left, right), self.zoomed(style))

    def text_height_pt(self, text: str, left: int, right: int, style: Style) -> float:
        """The height that a text needs in the columns from left to right."""
        return text_height_pt(text, self.width_mm(left, right), self.zoomed(style))

    def block(self, area: tuple[int, int, int, int], text: str, style: Style, because: tuple[int, ...] = ()) -> None:
        """One block: (first row, first column, last row, last column), its text and the firings behind it."""
        top, left, bottom, right = area
        self.cells[top, left] = CellOut(text, self.zoomed(style))
        if (top, left) != (bottom, right):
            self.merges.append(area)
        if because:
            self.stands_on[top, left] = because

    def line(self, text: str, style: Style, because: tuple[int, ...] = ()) -> None:
        """A block across the page, as high as its text, in the next free row."""
        self.side_by_side([(1, self.columns, text, style, because)])

    def side_by_side(self, blocks: list[tuple[int, int, str, Style, tuple[int, ...]]]) -> None:
        """Blocks (first column, last column, text, style, firings) in the next free row, as high as the highest."""
        for left, right, text, style, because in blocks:
            self.block((self.row, left, self.row, right), text, style, because)
        self.heights_pt[self.row] = max(
            self.text_height_pt(text, left, right, style) for left, right, text, style, _ in blocks
        )
        self.row += 1

    def gap(self, height_pt: float) -> None:
        """An empty row."""
        self.heights_pt[self.row] = height_pt
        self.row += 1

    def even_rows(self, count: int, height_pt: float) -> None:
        """The next rows, all of one height."""
        for row in range(self.row, self.row + count):
            self.heights_pt[row] = height_pt
        self.row += count

    def drawn(self) -> Drawn:
        """The page as a sheet that prints on one page, upright."""
        width = self.column_mm * _PX_PER_MM / _PX_PER_CHARACTER
        sheet = SheetOut(
            name=self.name,
            cells=dict(self.cells),
            column_widths={column: round(width, 2) for column in range(1, self.columns + 1)},
            row_heights_pt={row: math.ceil(height * 4) / 4 for row, height in self.heights_pt.items()},
            merges=tuple(self.merges),
            fit_to_pages=(1, 1),
            print_area=(1, 1, self.row - 1, self.columns),
        )
        return Drawn(sheet, dict(self.stands_on))
