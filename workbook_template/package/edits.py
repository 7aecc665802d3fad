"""What a caller asks for: cells, sheets and removals as plain data."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from openpyxl import Workbook


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula, without the leading equals sign; any other text stays text, whatever it begins with."""

    text: str


Value = None | bool | int | float | str | datetime.datetime | datetime.date | datetime.time | Formula


@dataclass(frozen=True, slots=True)
class CellStyle:
    """How a written cell looks; font family, size and borders stay those of the place. Colours are RRGGBB."""

    bold: bool = False
    italic: bool = False
    underline: bool = False
    color: str | None = None
    fill: str | None = None
    wrap: bool = False
    horizontal: str | None = None


@dataclass(frozen=True, slots=True)
class CellEdit:
    """The whole state of one cell (1-based): a note or link that is None takes away one written earlier.

    `style` None keeps the cell's look; `like` (row, column) takes over the look of that cell of the sheet first, its
    number format aside; `link` leads inside the book, as "#Sheet!A1"; `number_format` is an Excel format code.
    """

    sheet: str
    row: int
    column: int
    value: Value
    style: CellStyle | None = None
    link: str | None = None
    note: str | None = None
    number_format: str | None = None
    like: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class CellPlace:
    """One cell (1-based) to be cleared."""

    sheet: str
    row: int
    column: int


AUTHOR = "strapline"


@dataclass(frozen=True, slots=True)
class Edits:
    """Everything of one save.

    The sheets named in `sheets` are taken from `scratch` and come last in the book, in that order; one that an
    earlier save added is replaced where it stands. `remove_sheets` names earlier added sheets to take out.
    `author` signs notes and links, so that they are known from the user's own. Of two edits of one cell the last
    counts.
    """

    cells: tuple[CellEdit, ...] = ()
    clear: tuple[CellPlace, ...] = ()
    scratch: Workbook | None = None
    sheets: tuple[str, ...] = ()
    remove_sheets: tuple[str, ...] = ()
    author: str = AUTHOR
