"""A long log of a V8 that varies from run to run as logs do."""

from __future__ import annotations

import random
from copy import copy
from datetime import timedelta
from pathlib import Path
from typing import Any

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from tests.logs_on_disk import GOOD_PLUG, GOOD_RUN
from workbook_template.build import BlankOptions, append_run, build_blank

HEADING_ROW, FIRST_ROW = 3, 4
RINGS = ("trace", "thin line", "thin line", "wide")
STRAPS = ("short of bend", "at bend", "at bend", "past bend")
JETS = ("73", "74", "75")


def write_long_log(path: Path, runs: int, cylinders: int = 8) -> Path:
    """Write a log with that many runs, every cylinder read in each."""
    book = build_blank(BlankOptions(timing_hardware="tabs"))
    append_run(book, GOOD_RUN | {"name": "1"}, dict.fromkeys(range(1, cylinders + 1), GOOD_PLUG))
    chance = random.Random(7)
    for number in range(2, runs + 1):
        day = GOOD_RUN["when"] + timedelta(days=number)
        jet = {f"Jet {corner}": chance.choice(JETS) for corner in ("LF", "RF")}
        speed = {"Speed (mph)": round(chance.gauss(128.0, 0.4), 2), "Total timing (°)": chance.choice((33.0, 34.0))}
        _copied(book["Runs"], FIRST_ROW, FIRST_ROW - 1 + number, {"Run": number, "Date": day} | jet | speed)
        for place in range(cylinders):
            row = FIRST_ROW + (number - 1) * cylinders + place
            marks = {"Ring": chance.choice(RINGS), "Strap mark": chance.choice(STRAPS)}
            _copied(book["Readings"], FIRST_ROW + place, row, {"Run": number} | marks)
    _grow(book, {"Runs": FIRST_ROW - 1 + runs, "Readings": FIRST_ROW - 1 + runs * cylinders})
    book.save(path)
    return path


def _copied(sheet: Worksheet, source: int, row: int, changed: dict[str, Any]) -> None:
    """A row like the source row, but for the values under these headings."""
    for heading in sheet[HEADING_ROW]:
        old, new = sheet.cell(source, heading.column), sheet.cell(row, heading.column)
        new.value = changed.get(str(heading.value), old.value)
        new._style = copy(old._style)


def _grow(book: Workbook, last_rows: dict[str, int]) -> None:
    for name, last in last_rows.items():
        for table in book[name].tables.values():
            first, _, end = table.ref.partition(":")
            column = end.rstrip("0123456789")
            table.ref = f"{first}:{column}{last}"
            if table.autoFilter is not None:
                table.autoFilter.ref = table.ref
