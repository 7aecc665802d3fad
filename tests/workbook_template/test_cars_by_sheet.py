"""Logs that do not say which car or which run: a sheet for each car, a day without run numbers; and units of gauges."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import pytest
from openpyxl import Workbook

from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.read import ReadBook, read_logbooks

HEADINGS = ["Run", "Date", "Air temp (°F)", "Jets", "Timing", "New plugs", "Clean cut"]
RINGS = [f"Cyl {number} ring" for number in range(1, 5)]


def book(**sheets: Sequence[Sequence[object]]) -> Workbook:
    """A workbook with these sheets; '_' in a name is a blank."""
    made = Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        sheet = made.create_sheet(name.replace("_", " "))
        for row in rows:
            sheet.append(list(row))
    return made


def log(jets: str = "72/80", ring: str = "thin line", day: int = 2) -> list[list[object]]:
    """Two runs of a day on one sheet."""
    runs = [[run, datetime(2026, 5, day), 75, jets, 34, "yes", "yes", *[ring] * 4] for run in (1, 2)]
    return [[*HEADINGS, *RINGS], *runs]


def read(made: Workbook) -> tuple[ReadBook, ...]:
    """The cars of the workbook."""
    return read_logbooks(blocks_from_workbook(made))


def runs_of(one: ReadBook) -> list[str]:
    """The names of a car's runs, oldest first."""
    return [run.name for run in one.logbook.runs]


def test_sheets_that_tell_of_the_same_plugs_are_cars_of_their_own() -> None:
    cars = read(book(Blue=log("72/80"), Red=log("76/84", ring="wide")))
    assert [one.car for one in cars] == ["Blue", "Red"]
    assert [runs_of(one) for one in cars] == [["1", "2"], ["1", "2"]]
    assert {one.cell.sheet for one in (cars[1].logbook.runs[0].readings[0].sign("ring"),) if one} == {"Red"}
    assert any("'Blue' and 'Red' tell of run 1 each" in finding.text for finding in cars[0].logbook.findings)


def test_sheets_named_as_cars_are_cars_whatever_their_days() -> None:
    cars = read(book(Car_14=log(day=2), Car_41=log(day=9)))
    assert [(one.car, runs_of(one)) for one in cars] == [("Car 14", ["1", "2"]), ("Car 41", ["1", "2"])]


def test_a_copy_of_the_log_is_no_second_car() -> None:
    (one,) = read(book(Log=log(), Copy=log()))
    assert runs_of(one) == ["1", "2"] and one.car == ""


def test_a_sheet_for_each_day_is_no_car() -> None:
    (one,) = read(book(Day_1=log(day=2), Day_2=log(day=9)))
    assert len(runs_of(one)) == 4 and one.car == ""


def test_a_day_without_run_numbers_has_another_run_where_a_cylinder_comes_again() -> None:
    rows: list[list[object]] = [["Date", "Cyl", "Ring", "Strap mark", "New plugs", "Clean cut"]]
    for ring in ("thin line", "wide"):
        rows += [[datetime(2026, 5, 2), number, ring, "at bend", "yes", "yes"] for number in range(1, 5)]
    (one,) = read(book(Log=rows))
    first, second = one.logbook.runs
    assert [len(run.readings) for run in (first, second)] == [4, 4]
    assert {reading.sign("ring").word for reading in second.readings} == {"wide"}  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("heading", "written", "lambda_ratio"),
    [("AFR", 12.8, 12.8 / 14.7), ("Lambda", 0.87, 0.87), ("AFR methanol", 5.2, 5.2 / 6.47)],
)
def test_a_gauge_in_air_to_fuel_is_read_as_lambda(heading: str, written: float, lambda_ratio: float) -> None:
    rows = log()
    rows[0] += [f"Cyl {number} {heading}" for number in range(1, 5)]
    rows[1] += [written] * 4
    (one,) = read(book(Log=rows))
    value = one.logbook.runs[0].readings[0].lambda_ratio
    assert value is not None and value.value == pytest.approx(lambda_ratio, abs=1e-6)
