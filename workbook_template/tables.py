"""Lists in sheets: finding the row of headings, and the cells that stand under each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time

from openpyxl.utils import get_column_letter

from engine_rules.logbook import Cell, LogbookError
from workbook_template.hosts.protocol import CellError, CellValue, SheetBlock
from workbook_template.layout import Column, SheetLayout, Unit, split_heading

HEADINGS_WITHIN_ROWS = 15
DITTO = frozenset({"same", "ditto", '"', "''", '-"-', "“", "”", "〃", ",,"})
# Written where there is nothing to write: it counts as unknown.
NOTHING = frozenset(
    {"-", "--", "---", "–", "—", "?", "??", "n/a", "n.a.", "na", "tbd", "dnf", "dns", "no time", "not read"}
)


@dataclass(frozen=True, slots=True)
class PlacedColumn:
    """A column found in a sheet: its 1-based number, and the unit of its heading (assumed where it names none)."""

    column: Column
    index: int
    unit: Unit | None = None
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class Spot:
    """One filled cell under a known heading. `written` is what the racer wrote, 'same' included."""

    value: CellValue
    written: str
    cell: Cell
    placed: PlacedColumn

    @property
    def column(self) -> Column:
        """The column that the cell stands in."""
        return self.placed.column

    @property
    def shown(self) -> str:
        """What was written, short enough for a sentence."""
        return shortened(self.written)

    def refusal(self, text: str) -> LogbookError:
        """The error that names this cell, on one line whatever the cell holds."""
        return LogbookError(" ".join(text.split()), self.cell.sheet, self.cell.ref)


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a value of a gathered list stands in the racer's own sheets, how it is written there, and in which unit."""

    cell: Cell
    written: str
    unit: Unit | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a list; `copied` holds what 'same' stands for, `unread` what could not be read in it."""

    table: Table
    number: int
    copied: Mapping[str, CellValue]
    unread: list[LogbookError] = field(default_factory=list, compare=False)

    def raw(self, key: str) -> CellValue:
        """The value of that column, None where it is blank or the sheet lacks the column."""
        if key in self.copied:
            return self.copied[key]
        placed = self.table.placed.get(key)
        return None if placed is None else filled(self.table.block.at(self.number, placed.index))

    def spot(self, key: str) -> Spot | None:
        """The filled cell of that column, or None. Raises LogbookError where it shows an error value."""
        value = self.raw(key)
        if value is None:
            return None
        placed = self.table.placed[key]
        cell = self.cell(key)
        if isinstance(value, CellError):
            raise LogbookError(f"the cell shows {value.code}; mend its formula or clear it", cell.sheet, cell.ref)
        origin = self._origin(key)
        if origin is not None:
            return Spot(value, origin.written, cell, replace(placed, unit=origin.unit))
        return Spot(value, as_text(self.table.block.at(self.number, placed.index)), cell, placed)

    def cell(self, key: str) -> Cell:
        """The place of that column in this row."""
        origin = self._origin(key)
        if origin is not None:
            return origin.cell
        return Cell(self.table.block.name, f"{get_column_letter(self.table.placed[key].index)}{self.number}")

    def _origin(self, key: str) -> Origin | None:
        return self.table.origins.get((self.number, self.table.placed[key].index))

    @property
    def places(self) -> Mapping[str, Cell]:
        """The place of every known column, filled or blank; of a gathered list those that the racer has."""
        if not self.table.origins:
            return Places(self)
        return {key: self.cell(key) for key in self.table.placed if self._origin(key) is not None}

    def holds_any(self, *but: str) -> bool:
        """True where a column that the racer fills holds something, those named aside."""
        ours = (key for key, placed in self.table.placed.items() if key not in but and not placed.column.filled)
        return any(self.raw(key) is not None for key in ours)

    def dittos(self) -> list[str]:
        """The columns that say 'same'."""
        return [
            key
            for key, placed in self.table.placed.items()
            if not placed.column.filled and is_ditto(self.table.block.at(self.number, placed.index))
        ]


class Places(Mapping[str, Cell]):
    """The place of every column of a row, worked out when it is asked for: few of them ever are."""

    __slots__ = ("_row",)

    def __init__(self, row: Row) -> None:
        self._row = row

    def __getitem__(self, key: str) -> Cell:
        return self._row.cell(key)

    def __iter__(self) -> Iterator[str]:
        return iter(self._row.table.placed)

    def __len__(self) -> int:
        return len(self._row.table.placed)


@dataclass(frozen=True, slots=True)
class Table:
    """A list found in a sheet: where its headings stand and which columns were recognised.

    A list gathered from a racer's own sheets stands in a block of its own; `origins` then leads from (row, column) of
    that block to the cell that holds the value.
    """

    sheet: SheetLayout
    block: SheetBlock
    heading_row: int
    placed: Mapping[str, PlacedColumn]
    origins: Mapping[tuple[int, int], Origin] = field(default_factory=dict)

    def rows(self) -> Iterator[Row]:
        """The rows that hold something of the racer's, top to bottom."""
        for number in range(self.heading_row + 1, self.block.last_row + 1):
            row = Row(self, number, {})
            if row.holds_any():
                yield row

    def with_house_units(self, house: str) -> Table:
        """The same with the units of a 'us' or 'si' workbook wherever a heading names none."""
        return replace(self, placed={key: _housed(placed, house) for key, placed in self.placed.items()})


def _housed(placed: PlacedColumn, house: str) -> PlacedColumn:
    quantity = placed.column.quantity
    if quantity is None or placed.unit is not None:
        return placed
    only_one = quantity.us == quantity.si
    return replace(placed, unit=quantity.house_unit(house), assumed=not only_one)


def house_of(tables: Sequence[Table]) -> str:
    """'us' or 'si': the units that most headings name; 'us' where none does."""
    si = us = 0
    for table in tables:
        for placed in table.placed.values():
            quantity = placed.column.quantity
            if quantity is not None and placed.unit is not None and quantity.us != quantity.si:
                us += placed.unit.name == quantity.us
                si += placed.unit.name != quantity.us
    return "si" if si > us else "us"


def find_sheet(blocks: Sequence[SheetBlock], sheet: SheetLayout) -> SheetBlock | None:
    """The sheet of that name; case and spaces at the ends do not matter."""
    wanted = sheet.name.casefold()
    return next((block for block in blocks if block.name.strip().casefold() == wanted), None)


def needed_sheet(blocks: Sequence[SheetBlock], sheet: SheetLayout) -> SheetBlock:
    """The sheet of that name. Raises LogbookError where the workbook lacks it."""
    block = find_sheet(blocks, sheet)
    if block is None:
        names = ", ".join(block.name for block in blocks) or "no sheet at all"
        raise LogbookError(f"the workbook has no sheet named {sheet.name} (it has {names}); add it or rename yours")
    return block


def find_table(
    block: SheetBlock, sheet: SheetLayout, columns: Sequence[Column], within_rows: int = HEADINGS_WITHIN_ROWS
) -> Table:
    """The list of that sheet: the first row with all needed headings, in any order.

    Raises LogbookError where no row has them, or a heading names a unit that is not known.
    """
    needed = {column.key for column in columns if column.needed}
    named: dict[str, list[Column]] = {}
    for column in columns:
        for name in column.names:
            named.setdefault(name, []).append(column)
    best: Mapping[str, tuple[Column, int, str]] = {}
    for row in range(block.first_row, min(block.last_row, block.first_row + within_rows - 1) + 1):
        found = _headings(block, row, named)
        if needed <= found.keys():
            return Table(sheet, block, row, {key: _placed(block, row, *place) for key, place in found.items()})
        best = max(best, found, key=lambda one: (len(needed & one.keys()), len(one)))
    lacking = ", ".join(column.heading for column in columns if column.needed and column.key not in best)
    raise LogbookError(
        f"the heading {lacking} was not found in the first {within_rows} rows; write it above its column", block.name
    )


def _headings(
    block: SheetBlock, row: int, named: Mapping[str, Sequence[Column]]
) -> Mapping[str, tuple[Column, int, str]]:
    found: dict[str, tuple[Column, int, str]] = {}
    for index in range(block.first_column, block.last_column + 1):
        value = block.at(row, index)
        if not isinstance(value, str) or not value.strip():
            continue
        column = _column_headed(value, named)
        if column is not None:
            found.setdefault(column.key, (column, index, value))
    return found


def _column_headed(heading: str, named: Mapping[str, Sequence[Column]]) -> Column | None:
    """The column meant. Where a word and its measure share a name, the one with a unit is the measure."""
    name, bracket = split_heading(heading)
    meant = list(named.get(name, ()))
    own = [column for column in meant if split_heading(column.heading)[0] == name] or meant
    if len(own) > 1:
        measured = [column for column in own if column.quantity is not None]
        own = measured if bracket is not None and measured else [column for column in own if column.quantity is None]
    return next(iter(own), None)


def _placed(block: SheetBlock, row: int, column: Column, index: int, heading: str) -> PlacedColumn:
    quantity = column.quantity
    name, bracket = split_heading(heading)
    if quantity is None:
        return PlacedColumn(column, index)
    if bracket is None:
        # A heading may be a unit itself, such as 'mph' or 'hp'.
        return PlacedColumn(column, index, quantity.unit(name))
    unit = quantity.unit(bracket)
    if unit is None and not column.filled:
        known = ", ".join(one for one in quantity.units if one) or "none"
        raise LogbookError(
            f"the unit {shortened(bracket)} of the heading {column.heading} is not known; write one of {known}",
            block.name,
            f"{get_column_letter(index)}{row}",
        )
    return PlacedColumn(column, index, unit)


def shortened(written: str) -> str:
    """Text on one line, cut where it is long."""
    line = " ".join(written.split())
    return line if len(line) <= 40 else f"{line[:39]}…"


def filled(value: CellValue) -> CellValue:
    """The value, or None where it is blank, or says in words or by a dash that there is none."""
    said = value.strip().casefold() if isinstance(value, str) else None
    return None if said == "" or said in NOTHING else value


def is_ditto(value: CellValue) -> bool:
    """True for 'same', 'ditto' and the marks that mean it."""
    return isinstance(value, str) and value.strip().rstrip(".").lower() in DITTO


def as_text(value: CellValue) -> str:
    """A value as a reader would see it written."""
    match value:
        case None:
            return ""
        case bool():
            return "TRUE" if value else "FALSE"
        case float() | int():
            return f"{value:.15g}"
        case datetime():
            return f"{value:%Y-%m-%d %H:%M}" if value.time() != time() else f"{value:%Y-%m-%d}"
        case date():
            return value.isoformat()
        case time():
            return f"{value:%H:%M:%S}"
        case CellError():
            return value.code
    return value.strip()
