"""A car's runs as the lists Runs and Readings: the same rows that the blank workbook's sheets give, cell by cell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain

from engine_rules.logbook import Cell
from workbook_template.found import Value
from workbook_template.headings import READINGS, RUNS, column_of
from workbook_template.hosts.protocol import CellValue, SheetBlock
from workbook_template.joined import LoggedRun
from workbook_template.layout import Column, layout
from workbook_template.tables import Origin, PlacedColumn, Table, as_text
from workbook_template.units_found import Units, heading_key

_NO_CELL = Cell("", "")
Line = Mapping[str, tuple[CellValue, Origin]]


def runs_table(runs: Sequence[LoggedRun], units: Units, *, with_jets: bool) -> Table:
    """The list of runs, in their order. Values whose unit is open are left out, and jets where there is no ladder."""
    lines = []
    for run in runs:
        line = dict(_line(run.values, RUNS, units))
        line["name"] = (run.name, _origin_of_name(run))
        if not with_jets:
            line = {key: one for key, one in line.items() if not key.startswith("jets.")}
        lines.append(line)
    return _table(RUNS, lines)


def readings_table(runs: Sequence[LoggedRun], units: Units) -> Table:
    """The list of readings, a row for each cylinder of a run that the racer has cells for."""
    lines = []
    for run in runs:
        for number in sorted(run.cylinders):
            line = dict(_line(run.cylinders[number], READINGS, units))
            first = next((origin.cell for _, origin in line.values()), _origin_of_name(run).cell)
            line["run"] = (run.name, _origin_of_name(run))
            stated = line.get("cylinder")
            line["cylinder"] = (float(number), stated[1] if stated else Origin(first, str(number)))
            lines.append(line)
    return _table(READINGS, lines)


def row_of(runs: Sequence[LoggedRun]) -> Mapping[tuple[str, int], int]:
    """(run, cylinder) -> row of the list of readings."""
    places = [(run.name, number) for run in runs for number in sorted(run.cylinders)]
    return {place: row for row, place in enumerate(places, start=1)}


def _origin_of_name(run: LoggedRun) -> Origin:
    values = chain((run.values.get("name"), run.values.get("date")), run.values.values())
    cell = next((value.cell for value in values if value is not None), _NO_CELL)
    return Origin(cell, run.name)


def _line(values: Mapping[str, Value], sheet: str, units: Units) -> Iterable[tuple[str, tuple[CellValue, Origin]]]:
    for key, value in values.items():
        column = column_of(sheet, key)
        if column is None:
            continue
        unit = value.heading.meaning.unit if value.heading.meaning is not None else None
        held = value.value
        if column.quantity is not None and unit is None:
            unit = units.settled.get(heading_key(value.heading))
            if unit is None:
                # A cell that names its own unit is read all the same.
                unit, held = column.quantity.house_unit("us"), held if _names_a_unit(held) else None
        yield key, (held, Origin(value.cell, as_text(value.value), unit))


def _names_a_unit(value: CellValue) -> bool:
    return isinstance(value, str) and any(not one.isdecimal() and one not in ".,+- " for one in value)


def _table(sheet: str, lines: Sequence[Line]) -> Table:
    needed = ["name"] if sheet == RUNS else ["run", "cylinder"]
    keys = list(dict.fromkeys([*needed, *(key for line in lines for key in line)]))
    placed = {key: PlacedColumn(_column(sheet, key), index) for index, key in enumerate(keys, start=1)}
    rows = tuple(tuple(line[key][0] if key in line else None for key in keys) for line in lines)
    origins = {
        (row, placed[key].index): line[key][1] for row, line in enumerate(lines, start=1) for key in keys if key in line
    }
    name = next((origin.cell.sheet for origin in origins.values() if origin.cell.sheet), layout().sheets[sheet].name)
    return Table(layout().sheets[sheet], SheetBlock(name, 1, 1, rows), 0, placed, origins)


def _column(sheet: str, key: str) -> Column:
    if key == "run":
        return next(column for column in layout().sheets[sheet].columns if column.key == "run")
    column = column_of(sheet, key)
    assert column is not None
    return column
