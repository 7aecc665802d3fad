"""What was found in a racer's own sheets, before it is put together: headings, values, records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from openpyxl.utils import get_column_letter

from engine_rules.logbook import Cell, LogbookError
from workbook_template.headings import Meaning, is_ours
from workbook_template.hosts.protocol import CellValue, SheetBlock
from workbook_template.layout import Unit

Place = tuple[str, int, int]  # sheet, row, column


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of the racer's: where it stands, its words (those of the row above included), what it was taken for.

    question: what to ask where it was not understood or is not used; proposal: the meaning offered with the question.
    """

    cell: Cell
    written: str
    meaning: Meaning | None = None
    proposal: Meaning | None = None
    question: str = ""


@dataclass(frozen=True, slots=True)
class Value:
    """One cell under a heading, filled or blank, or a part of what a cell says."""

    value: CellValue
    cell: Cell
    heading: Heading

    def worked_out(self, value: CellValue, sheet: str, key: str, unit: Unit | None = None) -> Value:
        """A value of another column that this cell says too."""
        meaning = Meaning(sheet, key, None, unit)
        return Value(value, self.cell, replace(self.heading, meaning=meaning))


@dataclass(frozen=True, slots=True)
class Line:
    """Where strapline may write beside a record: one line (a row, or a column where runs go across) of a frame."""

    frame: Frame
    at: int
    cylinder: int | None = None


@dataclass(frozen=True, slots=True)
class Frame:
    """The stretch of a sheet beside which strapline writes: lanes cross lines.

    across: lines are columns and lanes rows (runs across). headings_at: the line of the headings. taken: lane of each
    of our headings that is there. free: the first free lane. like: the lane whose look is taken over.
    own: plain headings of the racer's. listed: a row a cylinder, numbered by strapline itself.
    """

    sheet: str
    headings_at: int
    taken: tuple[tuple[str, int], ...]
    free: int
    like: int
    across: bool = False
    own: frozenset[str] = frozenset()
    listed: bool = False

    def place(self, line: int, lane: int) -> Place:
        """The cell where they cross."""
        return (self.sheet, lane, line) if self.across else (self.sheet, line, lane)


@dataclass(slots=True)
class Record:
    """What one row, column or form says: values of the run by column key, of cylinders by number and key.

    line: where strapline writes; with a cylinder where the record is of one cylinder, else for all. lines: for a form,
    by cylinder. unread: what could not be read in it.
    """

    run: dict[str, Value] = field(default_factory=dict)
    cylinders: dict[int, dict[str, Value]] = field(default_factory=dict)
    line: Line | None = None
    lines: dict[int, Line] = field(default_factory=dict)
    unread: list[LogbookError] = field(default_factory=list)


def put(into: dict[str, Value], key: str, value: Value) -> None:
    """The first value of a column stands, but every column of notes counts."""
    if key == "notes" and key in into and into[key].heading.cell != value.heading.cell:
        key = f"notes.{value.heading.cell}"
    into.setdefault(key, value)


@dataclass(frozen=True, slots=True)
class Sheetful:
    """All that one sheet gave. shape: in plain words; banks: cylinder -> bank and place, where they are drawn."""

    sheet: str
    shape: str
    headings: Sequence[Heading]
    records: Sequence[Record]
    banks: Mapping[int, tuple[str, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class View:
    """A block as it stands, or turned: then rows are columns and columns rows.

    texts: (row, column, text) of every text, row by row, but of strapline's own headings, which stand in ours.
    """

    block: SheetBlock
    texts: Sequence[tuple[int, int, str]]
    ours: Sequence[tuple[int, int, str]]
    turned: bool = False

    def at(self, row: int, column: int) -> CellValue:
        """The value at a place of the view, None where blank."""
        value = self.block.at(column, row) if self.turned else self.block.at(row, column)
        return None if isinstance(value, str) and not value.strip() else value

    def turned_over(self) -> View:
        """The same with rows and columns exchanged."""
        texts, ours = (sorted((column, row, text) for row, column, text in one) for one in (self.texts, self.ours))
        return View(self.block, texts, ours, not self.turned)

    def cell(self, row: int, column: int) -> Cell:
        """The place as the workbook names it."""
        across, down = (row, column) if self.turned else (column, row)
        return Cell(self.block.name, f"{get_column_letter(across)}{down}")

    @property
    def first_row(self) -> int:
        """The first row of the view that may hold something."""
        return self.block.first_column if self.turned else self.block.first_row

    @property
    def last_row(self) -> int:
        """The last used row of the view."""
        return self.block.last_column if self.turned else self.block.last_row

    @property
    def last_column(self) -> int:
        """The last used column of the view."""
        return self.block.last_row if self.turned else self.block.last_column


def view_of(block: SheetBlock) -> View:
    """The view of a block as it stands."""
    found = [
        (row, column, value)
        for row, line in enumerate(block.rows, start=block.first_row)
        for column, value in enumerate(line, start=block.first_column)
        if isinstance(value, str) and value and not value.isspace()
    ]
    ours = [one for one in found if is_ours(one[2])]
    return View(block, [one for one in found if not is_ours(one[2])] if ours else found, ours)
