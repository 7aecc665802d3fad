"""A workbook in a layout of the racer's own, read into the logbooks of its cars."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from engine_rules.logbook import Cell, Engine, Finding, Logbook, LogbookError
from engine_rules.notes import read_note
from workbook_template.book import ReadBook
from workbook_template.found import Line
from workbook_template.gathered import readings_table, row_of, runs_table
from workbook_template.headings import MOST_CYLINDERS
from workbook_template.hosts.protocol import SheetBlock
from workbook_template.how_read import (
    HOW_READ,
    Corrections,
    EngineLine,
    HowRead,
    NotRecognised,
    heading_lines,
    read_corrections,
)
from workbook_template.joined import LoggedCar, spot_of, values_of
from workbook_template.layout import layout
from workbook_template.own_engine import asked_cylinders, cylinders_read, only_cylinder, own_parts, own_sheet
from workbook_template.own_places import OwnPlaces, own_places
from workbook_template.read_notes import with_notes
from workbook_template.read_runs import read_readings, read_runs
from workbook_template.read_shelves import NO_JETS, read_targets
from workbook_template.recognise import Recognised, asking, recognise
from workbook_template.shapes_list import WHICH_CYLINDER
from workbook_template.spelled_out import settle_single_jets
from workbook_template.tables import find_sheet, find_table
from workbook_template.units_found import Units, settle_units
from workbook_template.unread import all_unread, set_aside

_PARTS = ("engine", "jets", "plugs", "targets")


def read_own(blocks: Sequence[SheetBlock]) -> tuple[ReadBook, ...]:
    """The books of all cars. Raises LogbookError for what cannot be used."""
    corrections = read_corrections(blocks)
    parts = [block for block in blocks if _is_part(block, blocks)]
    found = recognise(blocks, corrections, parts, only_cylinder(blocks, corrections.answers))
    units = settle_units([run for car in found.cars for run in car.runs])
    _refuse_blank(found, blocks)
    cars = [car for car in found.cars if _tells_of_plugs(car, blocks, corrections)]
    if not cars:
        raise _nothing_read(found, units, corrections)
    house = _house(units, found)
    return tuple(_book(car, blocks, found, units, house, corrections) for car in cars)


def _refuse_blank(found: Recognised, blocks: Sequence[SheetBlock]) -> None:
    """Raise LogbookError for a blank workbook of ours in which no run is written down yet."""
    start = find_sheet(blocks, layout().sheets["start"])
    readings = (values for car in found.cars for run in car.runs for values in run.cylinders.values())
    if start is not None and all(value.value is None for values in readings for value in values.values()):
        raise LogbookError(f"there is no plug reading yet; the sheet {start.name} says how to begin")


def _tells_of_plugs(car: LoggedCar, blocks: Sequence[SheetBlock], corrections: Corrections) -> bool:
    """True where cells are of cylinders, or where notes are on runs and it is known how many cylinders there are."""
    if any(run.cylinders for run in car.runs):
        return True
    counted = own_sheet(blocks, "engine", car.name) is not None or asked_cylinders(car.name, corrections.answers)[0]
    return bool(counted) and _has_plug_notes(car)


def _has_plug_notes(car: LoggedCar) -> bool:
    cylinders = range(1, MOST_CYLINDERS + 1)
    return any(read_note(text, cylinders).signs for run in car.runs for text in run.notes)


def _nothing_read(found: Recognised, units: Units, corrections: Corrections) -> NotRecognised:
    """The refusal where no run, or nothing of the plugs of any, was found."""
    unnamed = any(heading.question == WHICH_CYLINDER for heading in found.headings)
    noted = [car for car in found.cars if not cylinders_read(car) and (unnamed or _has_plug_notes(car))]
    lines = tuple(asked_cylinders(car.name, corrections.answers)[1] for car in noted)
    text = (
        "no log of runs was found in the workbook; name the columns above a row for each run, such as Run, Date, "
        "Air temp and 'Cyl 1 ring', or copy your log into a new blank workbook"
    )
    if found.cars:
        text = (
            "no plug reading of any cylinder was found in the workbook; name the cylinder in the headings, as in "
            "'Cyl 1 ring', or give each cylinder a row of its own"
        )
    if noted:
        text += (
            "; where the engine has one cylinder, or notes tell of the plugs, say how many cylinders there are on the "
            f"sheet {HOW_READ}"
        )
    return NotRecognised(text, _how_read(found, units, lines, corrections))


def _is_part(block: SheetBlock, blocks: Sequence[SheetBlock]) -> bool:
    """True for a sheet that describes an engine or a shelf, of one car or of all."""
    for key in _PARTS:
        name = layout().sheets[key].name.casefold()
        own = block.name.strip().casefold()
        car = own.removeprefix(name).removesuffix(name).strip()
        if name in own and own_sheet(blocks, key, car) is block:
            return True
    return False


def _book(
    car: LoggedCar,
    blocks: Sequence[SheetBlock],
    found: Recognised,
    units: Units,
    house: str,
    corrections: Corrections,
) -> ReadBook:
    findings = list(found.findings)
    parts = own_parts(blocks, car, house, corrections.answers, found.banks, findings)
    questions = list(found.questions)
    settle_single_jets(car.runs, [station.name for station in parts.engine.stations], asking(questions))
    found = replace(found, questions=tuple(questions))
    with_jets = parts.ladder is not None
    ladder = parts.ladder or NO_JETS
    runs_list, readings_list = runs_table(car.runs, units, with_jets=with_jets), readings_table(car.runs, units)
    engine = parts.engine
    run_rows = read_runs(runs_list, replace(engine, stations=engine.stations if with_jets else ()), ladder, findings)
    plain_runs = [one.run for one in run_rows]
    read = read_readings(readings_list, plain_runs, engine, parts.shelf, findings)
    runs = tuple(replace(run, readings=read.readings.get(run.name, ())) for run in plain_runs)
    unread = all_unread(run_rows, read, {run.name: run.unread for run in car.runs})
    runs = set_aside(with_notes(runs, engine, findings), unread, findings)
    targets_block = own_sheet(blocks, "targets", car.name)
    tables = {"runs": runs_list, "readings": readings_list, **parts.tables}
    if targets_block is not None:
        tables["targets"] = find_table(targets_block, layout().sheets["targets"], layout().sheets["targets"].columns)
    targets = read_targets(tables.get("targets"), findings)
    findings += [Finding(one.text, one.cell) for one in found.questions]
    return ReadBook(
        logbook=Logbook(engine, ladder, parts.shelf, runs, targets, tuple(findings)),
        tables=tables,
        run_rows={one.run.name: one.row for one in run_rows},
        reading_rows=row_of(car.runs),
        engine_cells=parts.cells,
        own=_places(car, engine, house, blocks),
        how_read=_how_read(found, units, parts.lines, corrections),
        car=car.name,
        unread=unread,
    )


def _places(car: LoggedCar, engine: Engine, house: str, blocks: Sequence[SheetBlock]) -> OwnPlaces:
    fuel = "EFI" if engine.carburetion == "EFI" else "carburetor"
    columns = layout().sheets["readings"].columns
    keys = [column.key for column in columns if column.filled and column.only in ("", fuel)]
    return own_places(keys, house, dict(_lines(car, engine)), blocks)


def _lines(car: LoggedCar, engine: Engine) -> Iterable[tuple[tuple[str, int], Line]]:
    for run in car.runs:
        for number in engine.numbers:
            block = run.block or run.noted
            line = run.lines.get(number) or (block if run.lines.keys() <= {number} or not run.lines else None)
            if line is not None and (number in run.cylinders or line is block):
                yield (run.name, number), line


def _how_read(found: Recognised, units: Units, lines: tuple[EngineLine, ...], corrections: Corrections) -> HowRead:
    examples: dict[Cell, str] = {}
    for car in found.cars:
        for values in values_of(car.runs):
            for value in values.values():
                if value.value is not None:
                    examples[value.heading.cell] = spot_of(value).shown
    return HowRead(
        headings=heading_lines(found.headings, units, examples, corrections),
        engine=lines,
        questions=found.questions,
        shapes={sheet.sheet: sheet.shape for sheet in found.sheets},
        aside=found.aside,
        corrections=corrections,
    )


def _house(units: Units, found: Recognised) -> str:
    """'us' or 'si': the units that most headings name or show."""
    counts = {"us": 0, "si": 0}
    named = [(one.meaning.column, one.meaning.unit) for one in found.headings if one.meaning is not None]
    for column, unit in named:
        quantity = column.quantity if column is not None else None
        if quantity is not None and unit is not None and quantity.us != quantity.si:
            counts["us" if unit.name == quantity.us else "si"] += 1
    for unit in units.settled.values():
        counts["us"] += unit.name in ("°F", "inHg", "mph", "ft", "lb", "hp")
        counts["si"] += unit.name in ("°C", "hPa", "km/h", "m", "kg", "kW")
    return "si" if counts["si"] > counts["us"] else "us"
