"""Logs that leave much unsaid: which car, which run, which cylinder; and the units of gauges."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from openpyxl import Workbook

from engine_rules import advise
from workbook_template.command_line import run_command
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.how_read import HOW_READ
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


def test_days_that_cannot_be_read_still_tell_runs_apart() -> None:
    rows = log()
    for row, day in zip(rows[1:], ("3/5/2026", "4/5/2026"), strict=True):
        row[:2] = [1, day]
    (one,) = read(book(Log=rows))
    assert runs_of(one) == ["3/5/2026/1", "4/5/2026/1"]


def test_runs_without_name_and_day_are_called_by_their_row() -> None:
    rows = [row[2:] for row in log()]
    (one,) = read(book(Log=rows))
    assert runs_of(one) == ["row 2", "row 3"]
    assert sum("is called 'row" in finding.text for finding in one.logbook.findings) == 2


def test_numbered_pulls_are_runs() -> None:
    rows = [["Pull #", *row[2:]] if at == 0 else [20 + at, *row[2:]] for at, row in enumerate(log())]
    (one,) = read(book(Log=rows))
    assert runs_of(one) == ["21", "22"]


def abreast(*banks: str) -> list[list[object]]:
    """A form that draws four cylinders in two banks, side by side, what was seen in the rows below."""
    rows: list[list[object]] = [["Run", 7, "Date", datetime(2026, 5, 2)], ["Timing", 34, "Fresh plugs", "Y"]]
    for bank, numbers in zip(banks, ((1, 3), (2, 4)), strict=True):
        rows += [[], [bank, *numbers], ["Ring", *[f"{number} mm" for number in numbers]], ["Strap", "at bend", "tip"]]
    return rows


@pytest.mark.parametrize("banks", [("Cyl", "Cyl"), ("Left bank", "Right bank")])
def test_cylinders_drawn_side_by_side(banks: tuple[str, str]) -> None:
    (one,) = read(book(Run_7=abreast(*banks)))
    (run,) = one.logbook.runs
    assert {reading.cylinder: reading.sign("ring").amount for reading in run.readings} == {  # type: ignore[union-attr]
        number: float(number) for number in (1, 2, 3, 4)
    }
    sides = {place.number: place.bank for place in one.logbook.engine.cylinders}
    assert sides == ({1: "L", 2: "R", 3: "L", 4: "R"} if banks[0] == "Left bank" else dict.fromkeys(range(1, 5), ""))


def test_an_engine_of_one_cylinder_needs_no_number_in_its_headings(tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    headings = ["Session", "Date", "Main jet", "New plug", "Clean cut", "Ring", "Strap", "EGT °C"]
    days = [[number, datetime(2026, 5, 2), 152, "yes", "yes", "thin line", "at bend", 640] for number in (1, 2)]
    book(Kart=[headings, *days]).save(path)
    assert run_command(["fill", str(path)]) == 2
    asked = openpyxl.load_workbook(path)
    page = asked[HOW_READ]
    page.cell(next(cell.row for cell in page["A"] if cell.value == "Cylinders"), 8, 1)
    asked.save(path)
    for _ in range(2):  # the answer stays
        assert run_command(["fill", str(path)]) == 0
    (one,) = read(openpyxl.load_workbook(path))
    (reading,) = one.logbook.runs[-1].readings
    assert reading.cylinder == 1 and reading.egt_c is not None and reading.egt_c.value == 640.0
    assert [station.name for station in one.logbook.engine.stations] == ["single"]


def test_one_row_of_cylinders_side_by_side() -> None:
    rows: list[list[object]] = [["Run", 7], ["Date", datetime(2026, 5, 2)], ["Timing", 34], ["Cyl", 1, 2, 3, 4]]
    rows += [["Ring", *["thin line"] * 4], ["Strap", "at bend", "tip", "at bend", "tip"], ["EGT", *["1350F"] * 4]]
    (one,) = read(book(Run_7=rows))
    (run,) = one.logbook.runs
    assert run.name == "7" and run.tuneup.total_timing_deg is not None
    assert [reading.cylinder for reading in run.readings] == [1, 2, 3, 4]
    assert all(reading.egt_c is not None and reading.sign("ring") is not None for reading in run.readings)


def test_without_bores_it_is_the_bores_that_are_missing() -> None:
    (one,) = read(book(Log=log()))
    missing = advise(one.logbook).missing
    assert any("the bore of each size of jet" in text for text in missing)
    assert not any("the jet that ran" in text for text in missing)


def test_jets_of_the_front_and_of_r_are_front_and_rear() -> None:
    rows = log()
    rows[0][3:4] = ["Mains F", "Mains R"]
    for row in rows[1:]:
        row[3:4] = [72, 80]
    made = book(Log=rows, Jets=[["Jet", "Bore (in)", "On hand"], [72, 0.072, "yes"], [80, 0.08, "yes"]])
    (one,) = read(made)
    jets = one.logbook.runs[-1].tuneup.jets
    assert {corner: jet.value for corner, jet in jets.items()} == {"LF": "72", "RF": "72", "LR": "80", "RR": "80"}


def test_a_note_below_the_last_cylinders_box_is_of_the_run() -> None:
    rows: list[list[object]] = [["Run", 7, None, "Date", datetime(2026, 5, 2)]]
    for number in range(1, 5):
        rows += [[f"Cyl {number}"], ["Ring", "thin line"], ["Notes", f"plug {number} checked"]]
    rows += [[], ["Notes", "all tan"]]
    (one,) = read(book(Run_7=rows))
    (run,) = one.logbook.runs
    assert [note.value for note in run.notes] == ["all tan"]
    assert [[note.value for note in reading.notes] for reading in run.readings][3] == ["plug 4 checked"]


def test_ditto_within_a_run_contradicts_nothing() -> None:
    rows: list[list[object]] = [["Run", "Cyl", "Ring", "Timing", "New plugs", "Clean cut"]]
    rows += [[7, 1, "thin line", 34, "yes", "yes"]] + [[7, number, "wide", *['"'] * 3] for number in (2, 3, 4)]
    (one,) = read(book(Log=rows))
    assert not [finding.text for finding in one.logbook.findings if "which counts" in finding.text]
    assert one.logbook.runs[0].tuneup.total_timing_deg is not None
