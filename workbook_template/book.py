"""A workbook as read: the log, and where strapline may write."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from engine_rules.logbook import Cell, Logbook, LogbookError, Run
from workbook_template.found import Place
from workbook_template.hosts.protocol import CellValue
from workbook_template.how_read import HowRead
from workbook_template.own_places import OwnHeading, OwnPlaces
from workbook_template.tables import Table


@dataclass(frozen=True, slots=True)
class ReadBook:
    """What was read and from where.

    tables: sheet key ('runs', 'readings', 'engine', 'jets', 'plugs', 'targets') -> the list found there.
    run_rows: run name -> row. reading_rows: (run name, cylinder) -> row. engine_cells: setting -> its cell.
    own, how_read: for a book in a layout of the racer's own, where strapline writes and how the book was read; car: the
    name of its car, '' where the book holds one only. unread: name of a run -> its cells that could not be read.
    """

    logbook: Logbook
    tables: Mapping[str, Table]
    run_rows: Mapping[str, int]
    reading_rows: Mapping[tuple[str, int], int]
    engine_cells: Mapping[str, Cell]
    own: OwnPlaces | None = None
    how_read: HowRead | None = None
    car: str = ""
    unread: Mapping[str, Sequence[LogbookError]] = field(default_factory=dict)

    def run(self, name: str | None = None) -> Run:
        """The run of that name, or the newest with readings. Raises LogbookError for none, or a cell not readable."""
        run = self.logbook.run(name)
        for error in self.unread.get(run.name, ()):
            raise error
        return run

    @property
    def columns(self) -> Mapping[str, Mapping[str, int]]:
        """Sheet key -> column key -> 1-based column, strapline's own columns included."""
        return {
            sheet: {key: placed.index for key, placed in table.placed.items()} for sheet, table in self.tables.items()
        }

    @property
    def sheet_names(self) -> Mapping[str, str]:
        """Sheet key -> the sheet's name as this workbook writes it."""
        return {sheet: table.block.name for sheet, table in self.tables.items()}

    @property
    def filled_keys(self) -> tuple[str, ...]:
        """The columns that strapline fills in this book."""
        if self.own is not None:
            return self.own.keys
        return tuple(key for key, placed in self.tables["readings"].placed.items() if placed.column.filled)

    def place(self, run: str, cylinder: int, key: str) -> Place | None:
        """The cell (sheet, row, column) for what is said of a cylinder under that key, None where there is none."""
        if self.own is not None:
            return self.own.place(run, cylinder, key)
        table = self.tables["readings"]
        row, placed = self.reading_rows.get((run, cylinder)), table.placed.get(key)
        return None if row is None or placed is None else (table.block.name, row, placed.index)

    def like(self, run: str, cylinder: int) -> tuple[int, int] | None:
        """The cell whose look is taken over for a cylinder; None where strapline's columns have a look of their own."""
        return None if self.own is None else self.own.like(run, cylinder)

    def value_at(self, place: Place) -> CellValue:
        """What stands in a cell of strapline's columns."""
        if self.own is not None:
            return self.own.value_at(place)
        return self.tables["readings"].block.at(*place[1:])

    def headings(self, runs: Collection[str]) -> Mapping[Place, OwnHeading]:
        """The headings that strapline puts over its cells of these runs; none where the book brings them along."""
        return {} if self.own is None else self.own.headings(runs)
