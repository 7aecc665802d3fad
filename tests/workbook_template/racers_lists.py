"""The season as racers keep it in lists: rows for cylinders, blocks of columns, runs across, several sheets."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from tests.workbook_template.racers_season import CORNERS, CYLINDERS, Run, blank_parts, season

# What a racer calls the columns: heading, and the cell of a run.
RUN_CELLS: Mapping[str, Callable[[Run], Any]] = {
    "Pass #": lambda run: run["name"],
    "Race date": lambda run: run["date"],
    "Time of day": lambda run: run["time"],
    "Track": lambda run: run["place"],
    "Type of run": lambda run: run["pull"],
    "Temp F": lambda run: run["temp_c"],
    "Baro": lambda run: run["pressure_pa"],
    "Baro kind": lambda run: run["pressure_kind"],
    "Elevation (ft)": lambda run: run["altitude_m"],
    "RH %": lambda run: run["humidity_pct"],
    "Timing": lambda run: run["total_timing_deg"],
    "Timing safe": lambda run: run["timing_known_safe"],
    "Fresh plugs": lambda run: run["new_plugs"],
    "Clean shut-off": lambda run: run["clean_cut"],
    "Idled": lambda run: run["idled_after"],
    "Lifted": lambda run: run["lifted_or_spun"],
    "WOT sec": lambda run: run["full_load_s"],
    "E.T.": lambda run: run["et_s"],
    "MPH": lambda run: run["speed_m_s"],
    "Weight lbs": lambda run: run["weight_kg"],
    "Baseline": lambda run: run["reference"],
    "Comments": lambda run: run["notes"],
}
JET_CELLS: Mapping[str, Callable[[Run], Any]] = {
    f"{corner} jet": (lambda run, at=at: run["jets"][at]) for at, corner in enumerate(CORNERS)
}
PLUG_CELLS = {
    "Plug type": "plug", "Porcelain ring": "ring", "Base ring": "shell_ring", "Strap": "strap_mark", "Pepper": "specks",
    "Porcelain": "porcelain", "EGT": "egt_c", "Lambda": "lambda_ratio", "Trim": "timing_trim_deg",
}  # fmt: skip
Cell = Any


def _put(page: Worksheet, row: int, column: int, value: Cell, turned: bool = False) -> None:
    page.cell(*((column, row) if turned else (row, column)), value)


def row_per_cylinder(*, repeated: bool) -> Workbook:
    """A row for each run and cylinder; what is of the run stands in the first of its rows, or in each."""
    book = blank_parts()
    _rows(book.create_sheet("Log", 0), [("", run) for run in season()], repeated)
    return book


def two_cars() -> Workbook:
    """A row for each run and cylinder of two cars, whose runs are mixed; the red car made the first two runs only."""
    book = blank_parts()
    book["Engine"].title = "Engine Blue"
    book.copy_worksheet(book["Engine Blue"]).title = "Engine Red"
    runs = [(car, run) for run in season() for car in ("Blue", "Red") if car == "Blue" or run["name"] in ("11", "12")]
    _rows(book.create_sheet("Log", 0), runs, repeated=False)
    return book


def _rows(page: Worksheet, runs: list[tuple[str, Run]], repeated: bool) -> None:
    page["A1"] = "Our season"
    heads = [*RUN_CELLS, *JET_CELLS, "Cyl", *PLUG_CELLS, *(["Car"] if any(car for car, _ in runs) else [])]
    for column, head in enumerate(heads, start=1):
        page.cell(3, column, head)
    row = 4
    for car, run in runs:
        for number in CYLINDERS:
            shown = [cell(run) for cell in (*RUN_CELLS.values(), *JET_CELLS.values())]
            shown = shown if repeated or number == 1 else [None] * len(shown)
            cells = [run["plugs"][number][key] for key in PLUG_CELLS.values()]
            for column, value in enumerate([*shown, number, *cells, car or None], start=1):
                page.cell(row, column, value)
            row += 1


def wide(head: Callable[[int, str], str], *, by_quantity: bool = False, turned: bool = False) -> Workbook:
    """A row for each run (a column where turned), a block of columns for each cylinder or quantity."""
    book = blank_parts()
    page = book.create_sheet("Runs 2026", 0)
    blocks = _blocks(by_quantity)
    heads = [*RUN_CELLS, *JET_CELLS, *(head(number, name) for number, name in blocks)]
    for column, text in enumerate(heads, start=1):
        _put(page, 1, column, text, turned)
    for row, run in enumerate(season(), start=2):
        _put_run(page, row, run, blocks, turned)
    return book


def _blocks(by_quantity: bool) -> list[tuple[int, str]]:
    if by_quantity:
        return [(number, name) for name in PLUG_CELLS for number in CYLINDERS]
    return [(number, name) for number in CYLINDERS for name in PLUG_CELLS]


def _put_run(page: Worksheet, row: int, run: Run, blocks: list[tuple[int, str]], turned: bool = False) -> None:
    shown = [cell(run) for cell in (*RUN_CELLS.values(), *JET_CELLS.values())]
    for column, value in enumerate([*shown, *(run["plugs"][number][PLUG_CELLS[name]] for number, name in blocks)], 1):
        _put(page, row, column, value, turned)


def two_heading_rows(*, by_quantity: bool) -> Workbook:
    """A row for each run under merged headings: cylinders over quantities, or the other way round."""
    book = blank_parts()
    page = book.create_sheet("Log book", 0)
    blocks = _blocks(by_quantity)
    first = len(RUN_CELLS) + len(JET_CELLS) + 1
    page.cell(1, 6, "Weather")
    page.merge_cells(start_row=1, start_column=6, end_row=1, end_column=10)
    for column, text in enumerate([*RUN_CELLS, *JET_CELLS], start=1):
        page.cell(2, column, text)
    page.cell(1, 11, "Tune-up")
    size = len(CYLINDERS) if by_quantity else len(PLUG_CELLS)
    for at, (number, name) in enumerate(blocks):
        upper, lower = (name, number) if by_quantity else (f"Cyl {number}", name)
        if at % size == 0:
            page.cell(1, first + at, upper)
            page.merge_cells(start_row=1, start_column=first + at, end_row=1, end_column=first + at + size - 1)
        page.cell(2, first + at, lower)
    for row, run in enumerate(season(), start=3):
        _put_run(page, row, run, blocks)
    return book


JETS_AS_WRITTEN = {"11": "72/80", "12": "+2 rear", "13": "74-74-82-82", "14": "+2 rear"}
TIMING_AS_WRITTEN = {"11": 34, "12": "same", "13": "35/33 on 5,7", "14": "35"}


def sheets_joined(*, by_time: bool) -> Workbook:
    """Weather, tune-up and plugs on sheets of their own, joined by the run, or the weather by day and time."""
    book = blank_parts()
    slips, weather, tune = (book.create_sheet(name, at) for at, name in enumerate(("Slips", "Weather", "Tune-ups")))
    plugs = book.create_sheet("Plug book", 3)
    of_weather = ("Temp F", "Baro", "Baro kind", "RH %")
    of_tune = ("Timing", "Timing safe", "Weight lbs")
    joins = ("Race date", "Time of day") if by_time else ("Pass #",)
    rest = [head for head in RUN_CELLS if head not in of_weather + of_tune + ("E.T.", "MPH")]
    lists = ((slips, [*rest, "ET @ MPH"]), (weather, [*joins, *of_weather]), (tune, ["Pass #", *of_tune, "Jets"]))
    for page, heads in lists:
        for column, head in enumerate(heads, start=1):
            page.cell(1, column, head)
            for row, run in enumerate(season(), start=2):
                page.cell(row, column, _in_short(head, run))
    for column, head in enumerate(["Run", "Cylinder", *(name for name in PLUG_CELLS if name != "Trim")], start=1):
        plugs.cell(2, column, head)
    row = 3
    for run in season():
        for number in CYLINDERS:
            cells = [run["plugs"][number][key] for name, key in PLUG_CELLS.items() if name != "Trim"]
            for column, value in enumerate([run["name"] if number == 1 else None, number, *cells], start=1):
                plugs.cell(row, column, value)
            row += 1
    return book


def _in_short(head: str, run: Run) -> Cell:
    if head == "ET @ MPH":
        return f"{run['et_s']}@{run['speed_m_s']}"
    if head == "Jets":
        return JETS_AS_WRITTEN[run["name"]]
    if head == "Timing":
        return TIMING_AS_WRITTEN[run["name"]]
    return RUN_CELLS[head](run)
