"""Workbooks on disk with a logged season, and the steps from file to filled file."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.workbook import Workbook

from engine_rules.advice import Advice
from workbook_template.build import BlankOptions, append_run, build_blank
from workbook_template.fill import plan
from workbook_template.hosts.file import FileHost
from workbook_template.read import ReadBook, read_logbook

JETS = {"jets.LF": "74", "jets.RF": "74", "jets.LR": "80", "jets.RR": "80"}


def v8_log(path: Path) -> Path:
    """A V8's log with runs 16 and 17, eight plugs each."""
    path.write_bytes(_v8_bytes())
    return path


@cache
def _v8_bytes() -> bytes:
    return _logged(build_blank(BlankOptions(timing_hardware="tabs")), JETS, 8)


def efi_log(path: Path) -> Path:
    """An inline six with port injection, runs 16 and 17."""
    options = BlankOptions(cylinders=6, arrangement="inline", carburetion="EFI", fuel="E85")
    path.write_bytes(_logged(build_blank(options), {}, 6))
    return path


def _logged(book: Workbook, jets: dict[str, str], cylinders: int) -> bytes:
    for name, day in (("16", 13), ("17", 14)):
        append_run(
            book,
            {
                "name": name,
                "when": datetime(2026, 3, day, 18, 20),
                "place": "Home strip",
                "total_timing_deg": 34.0,
                "new_plugs": True,
                "clean_cut": True,
                "full_load_s": 9.0,
                **jets,
            },
            {
                number: {"plug": "B", "ring": "thin line", "strap_mark": "at bend", "notes": f"plug {number}"}
                for number in range(1, cylinders + 1)
            },
        )
    saved = io.BytesIO()
    book.save(saved)
    return saved.getvalue()


def read(path: Path) -> ReadBook:
    return read_logbook(FileHost(path).read())


def fill(path: Path, advices: Sequence[Advice], out: Path | None = None) -> FileHost:
    """Read, plan, apply, as the command does it."""
    host = FileHost(path, out)
    host.apply(plan(read_logbook(host.read()), advices))
    return host


def filled_row(path: Path, run: str, cylinder: int) -> dict[str, Any]:
    """Column key -> cell of the filled columns, as openpyxl reads them back."""
    book = read(path)
    row = book.reading_rows[run, cylinder]
    sheet = openpyxl.load_workbook(path)[book.sheet_names["readings"]]
    placed = book.tables["readings"].placed
    return {key: sheet.cell(row, one.index) for key, one in placed.items() if one.column.filled}
