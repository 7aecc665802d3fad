"""Workbooks in memory with two logged runs, and ways to change single cells."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from workbook_template.build import BlankOptions, append_run, build_blank
from workbook_template.build_engine import starter_engine, starter_jets
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.read import ReadBook, read_logbook

US_V8 = BlankOptions()
AIR = {"temp_c": 25.0, "pressure_pa": 98_500.0, "pressure_kind": "station", "altitude_m": 260.0, "humidity_pct": 45.0}
CONDUCT = {"pull": "pass", "new_plugs": True, "clean_cut": True, "idled_after": False, "lifted_or_spun": False}
RESULT = {"et_s": 10.42, "speed_m_s": 56.9, "lap_time_s": 92.4, "power_kw": 382.0, "weight_kg": 1430.0}
RUN = {"place": "home strip", "total_timing_deg": 34.0, "timing_known_safe": True, "full_load_s": 10.4, "laps": 1.0}
READING = {
    "plug": "B",
    "ring": "thin line",
    "shell_ring": "full",
    "strap_mark": "at bend",
    "specks": "none",
    "porcelain": "tan",
    "centre_wire": "sharp",
    "threads": "two",
    "also_seen": "anti-seize, loose",
    "egt_c": 732.0,
    "lambda_ratio": 0.87,
    "timing_trim_deg": -1.0,
    "notes": "good",
}


def logged_book(options: BlankOptions = US_V8) -> Workbook:
    """Runs 17 and 18, every column of run 17 filled, of run 18 the ring of cylinder 1."""
    book = build_blank(options)
    engine = starter_engine(options)
    label = str(starter_jets(engine.words["fuel"], engine.units)[7][0])
    jets = {f"jets.{station}": label for station in engine.stations}
    banks = {bank for bank, _ in engine.places.values()}
    lambdas = {f"bank_lambda.{bank}": 0.88 for bank in banks}
    first = {"name": "17", "when": datetime(2025, 6, 14, 14, 30), "reference": True, "notes": "cloudy"}
    trim = {"fuel_trim_pct": 2.0} if not engine.stations else {}
    append_run(
        book,
        {**first, **AIR, **CONDUCT, **RESULT, **RUN, **jets, **lambdas},
        {number: {**READING, **trim} for number in engine.places},
    )
    append_run(book, {"name": "18", "when": datetime(2025, 6, 14, 16, 0)}, {1: {"ring": "trace"}})
    return book


def read(book: Workbook) -> ReadBook:
    """The workbook in memory, read."""
    return read_logbook(blocks_from_workbook(book))


def column_of(page: Worksheet, heading: str) -> int:
    """The column under that heading of the third row, where the blank workbook's headings stand."""
    return next(int(cell.column or 0) for cell in page[3] if cell.value == heading)


def put(book: Workbook, sheet: str, heading: str, row: int, value: Any) -> str:
    """Write one cell; the first row under the headings is 1. Gives its place as the errors name it."""
    page = book[sheet]
    cell = page.cell(3 + row, column_of(page, heading))
    cell.value = value
    return f"{sheet}!{cell.coordinate}"


def setting(book: Workbook, name: str, value: Any) -> str:
    """Write a setting of the sheet Engine. Gives its place as the errors name it."""
    cell = next(row[0] for row in book["Engine"].iter_rows(max_col=1) if str(row[0].value).startswith(name))
    cell.offset(0, 1).value = value
    return f"Engine!B{cell.row}"
