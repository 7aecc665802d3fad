"""A workbook's blocks of values, read into a Logbook, with the places that the filler needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from engine_rules.logbook import Engine, Finding, Logbook, LogbookError
from workbook_template.book import ReadBook
from workbook_template.hosts.protocol import SheetBlock
from workbook_template.layout import SheetLayout, layout
from workbook_template.own_book import read_own
from workbook_template.read_engine import read_engine
from workbook_template.read_notes import with_notes
from workbook_template.read_runs import read_readings, read_runs
from workbook_template.read_shelves import NO_JETS, read_jets, read_plugs, read_targets
from workbook_template.recognise import is_ordinary
from workbook_template.tables import Table, find_sheet, find_table, house_of, needed_sheet
from workbook_template.unread import all_unread, set_aside

__all__ = ["ReadBook", "read_logbook", "read_logbooks"]


def read_logbooks(blocks: Sequence[SheetBlock]) -> tuple[ReadBook, ...]:
    """The logs of a workbook, one for each car: laid out as in layout.toml, or in the racer's own way.

    Raises LogbookError for what cannot be used.
    """
    if not any(block.rows for block in blocks):
        raise LogbookError("the workbook is empty; start from a new blank one, or choose another file")
    return (_read_ordinary(blocks),) if is_ordinary(blocks) else read_own(blocks)


def read_logbook(blocks: Sequence[SheetBlock]) -> ReadBook:
    """The log of a workbook, of the first car where there are several. Raises LogbookError for what cannot be used."""
    return read_logbooks(blocks)[0]


def _read_ordinary(blocks: Sequence[SheetBlock]) -> ReadBook:
    """The log of a workbook laid out as in layout.toml."""
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
    unread = all_unread(run_rows, read, {})
    runs = set_aside(with_notes(runs, engine, findings), unread, findings)
    return ReadBook(
        logbook=Logbook(engine, ladder, shelf, runs, targets, tuple(findings)),
        tables=tables,
        run_rows={one.run.name: one.row for one in run_rows},
        reading_rows=read.rows,
        engine_cells=sheet.cells,
        unread=unread,
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
