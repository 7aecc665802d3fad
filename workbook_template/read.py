"""A workbook's blocks of values, read into a Logbook, with the places that the filler needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from engine_rules.logbook import Cell, Engine, Finding, Logbook, LogbookError
from workbook_template.hosts.protocol import SheetBlock
from workbook_template.layout import SheetLayout, layout
from workbook_template.read_engine import read_engine
from workbook_template.read_runs import read_readings, read_runs
from workbook_template.read_shelves import NO_JETS, read_jets, read_plugs, read_targets
from workbook_template.tables import Table, find_sheet, find_table, house_of, needed_sheet


@dataclass(frozen=True, slots=True)
class ReadBook:
    """What was read and from where.

    tables: sheet key ('runs', 'readings', 'engine', 'jets', 'plugs', 'targets') -> the list found there.
    run_rows: run name -> row. reading_rows: (run name, cylinder) -> row. engine_cells: setting -> its cell.
    """

    logbook: Logbook
    tables: Mapping[str, Table]
    run_rows: Mapping[str, int]
    reading_rows: Mapping[tuple[str, int], int]
    engine_cells: Mapping[str, Cell]

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


def read_logbook(blocks: Sequence[SheetBlock]) -> ReadBook:
    """The log of a workbook laid out as in layout.toml. Raises LogbookError for what cannot be used."""
    if not any(block.rows for block in blocks):
        raise LogbookError("the workbook is empty; start from a new blank one, or choose another file")
    sheets = layout().sheets
    findings: list[Finding] = []
    needed = {key: needed_sheet(blocks, sheets[key]) for key in ("engine", "runs", "readings", "plugs")}
    jets_block = find_sheet(blocks, sheets["jets"])
    present = needed | ({"jets": jets_block} if jets_block is not None and jets_block.rows else {})
    house = house_of([_table(present[key], sheets[key]) for key in ("runs", "readings", "jets") if key in present])
    sheet = read_engine(needed["engine"], house, findings)
    engine = sheet.engine
    if engine.stations:
        needed_sheet(blocks, sheets["jets"])
    stations = tuple(station.name for station in engine.stations)
    tables = {
        key: _table(block, sheets[key], stations).with_house_units(house)
        for key, block in present.items()
        if key != "engine"
    }
    tables["engine"] = sheet.table
    targets_block = find_sheet(blocks, sheets["targets"])
    if targets_block is not None and targets_block.rows:
        tables["targets"] = _table(targets_block, sheets["targets"])

    ladder = read_jets(tables["jets"], findings) if engine.stations else NO_JETS
    shelf = read_plugs(tables["plugs"], findings)
    targets = read_targets(tables.get("targets"), findings)
    _note_headings(tables, engine, findings)
    run_rows = read_runs(tables["runs"], engine, ladder, findings)
    plain_runs = [one.run for one in run_rows]
    read = read_readings(tables["readings"], plain_runs, engine, shelf, findings)
    runs = tuple(replace(run, readings=read.readings.get(run.name, ())) for run in plain_runs)
    return ReadBook(
        logbook=Logbook(engine, ladder, shelf, runs, targets, tuple(findings)),
        tables=tables,
        run_rows={one.run.name: one.row for one in run_rows},
        reading_rows=read.rows,
        engine_cells=sheet.cells,
    )


def _table(block: SheetBlock, sheet: SheetLayout, stations: Sequence[str] = ()) -> Table:
    return find_table(block, sheet, sheet.columns_for(stations))


def _note_headings(tables: Mapping[str, Table], engine: Engine, findings: list[Finding]) -> None:
    """A finding for each station without a column of jets, and each heading whose unit had to be assumed."""
    for station in engine.stations:
        if f"jets.{station.name}" not in tables["runs"].placed:
            findings.append(
                Finding(f"{tables['runs'].block.name} has no column Jet {station.name}; jets there are unknown")
            )
    for table in tables.values():
        for placed in table.placed.values():
            if placed.assumed and placed.unit is not None and not placed.column.filled:
                text = f"the heading {placed.column.heading} names no unit; {placed.unit.name} was taken"
                findings.append(Finding(f"{table.block.name}: {text}"))
