"""Cars that share a book on a sheet each, told apart where no column names them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import combinations

from engine_rules.labels import label_key
from engine_rules.logbook import Cell, Finding
from workbook_template.found import Heading, Record, Sheetful, Value
from workbook_template.headings import RUNS, Meaning
from workbook_template.tables import as_text

_CAR_NAMED = re.compile(r"\b(cars?|engines?|motors?|karts?|bikes?|boats?|chassis)\b|#\s*\d", re.IGNORECASE)

Place = tuple[str, str, int, str]  # run, day, cylinder, column


def name_cars_by_sheet(sheets: Sequence[Sheetful], findings: list[Finding]) -> None:
    """Give the runs of a sheet its name as their car, where two sheets tell of the same plugs of the same run.

    So it is with sheets that are named as cars are. Two sheets that say the same throughout are copies and stay one.
    """
    logs = [sheet for sheet in sheets if not _has_car(sheet) and any(record.cylinders for record in sheet.records)]
    by_sheet = {sheet.sheet: told(sheet) for sheet in logs}
    rivals = {
        name: common
        for one, other in combinations(by_sheet, 2)
        if (common := rival_run(by_sheet[one], by_sheet[other])) is not None
        for name in (one, other)
    }
    by_name = [sheet.sheet for sheet in logs if _CAR_NAMED.search(sheet.sheet)]
    cars = {sheet.sheet for sheet in logs if sheet.sheet in rivals or (len(by_name) > 1 and sheet.sheet in by_name)}
    for sheet in logs:
        if sheet.sheet in cars:
            _name_car(sheet)
    if cars:
        shown = " and ".join(f"'{name}'" for name in by_sheet if name in cars)
        same = next((f" tell of run {run} each, and so" for run in rivals.values()), "")
        text = f"the sheets {shown}{same} were read as cars of their own; a column Car says it otherwise"
        findings.append(Finding(text, Cell(next(name for name in by_sheet if name in cars), "A1")))


def _has_car(sheet: Sheetful) -> bool:
    return any("car" in record.run and record.run["car"].value is not None for record in sheet.records)


def told(sheet: Sheetful) -> Mapping[Place, str]:
    """What the sheet says at each place; the run's own values stand under cylinder 0."""
    found: dict[Place, str] = {}
    for record in sheet.records:
        run, day = _text(record, "name"), _text(record, "date")
        if not run:
            continue
        for number, values in ((0, record.run), *record.cylinders.items()):
            for key, value in values.items():
                if value.value is not None and key not in ("name", "date"):
                    found[label_key(run), day, number, key] = as_text(value.value).casefold()
    return found


def _text(record: Record, key: str) -> str:
    value = record.run.get(key)
    return "" if value is None or value.value is None else as_text(value.value)


def rival_run(one: Mapping[Place, str], other: Mapping[Place, str]) -> str | None:
    """A run of which both tell the same plugs and do not agree; None where there is none."""
    plugs = sorted(place for place in one.keys() & other.keys() if place[2] and place[3] not in ("plug", "cylinder"))
    differ = {place[:2] for place in one.keys() & other.keys() if one[place] != other[place]}
    return next((run for run, day, *_ in plugs if (run, day) in differ), None)


def car_named(title: Value) -> bool:
    """True for a title that names a car by such a word."""
    return _CAR_NAMED.search(as_text(title.value)) is not None


def name_car(sheet: Sheetful, named: Value) -> None:
    """Give every run of the sheet that car."""
    for record in sheet.records:
        record.run["car"] = named


def _name_car(sheet: Sheetful) -> None:
    cell = Cell(sheet.sheet, "")  # no heading's
    name_car(sheet, Value(sheet.sheet, cell, Heading(cell, sheet.sheet, Meaning(RUNS, "car", sure="likely"))))
