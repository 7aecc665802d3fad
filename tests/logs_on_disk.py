"""Workbooks on disk for the tests of the installed command, and the command itself."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.workbook import Workbook

from workbook_template.build import BlankOptions, append_run, build_blank

COMMAND = Path(sys.executable).with_name("strapline.exe" if sys.platform == "win32" else "strapline")
GOOD_RUN = {
    "when": datetime(2026, 3, 14, 18, 20), "place": "home strip", "pull": "pass", "temp_c": 21.0,
    "pressure_pa": 99_500.0, "pressure_kind": "station", "humidity_pct": 45.0, "jets.LF": "74", "jets.RF": "74",
    "jets.LR": "80", "jets.RR": "80", "total_timing_deg": 34.0, "timing_known_safe": "yes", "new_plugs": "yes",
    "clean_cut": "yes", "idled_after": "no", "lifted_or_spun": "no", "full_load_s": 9.0, "et_s": 10.42,
    "speed_m_s": 57.2, "weight_kg": 1430.0,
}  # fmt: skip
GOOD_PLUG = {"plug": "B", "ring": "thin line", "strap_mark": "at bend", "specks": "none", "porcelain": "tan"}


def strapline(*arguments: str | Path, cwd: Path, **more: Any) -> subprocess.CompletedProcess[str]:
    """Run the installed command in that folder."""
    environment = {name: value for name, value in os.environ.items() if name != "STRAPLINE_DEBUG"}
    return subprocess.run(
        [str(COMMAND), *map(str, arguments)], cwd=cwd, env=environment, capture_output=True, text=True,
        encoding="utf-8", timeout=120, **more,
    )  # fmt: skip


def write_log(
    path: Path,
    runs: int = 2,
    plugs: Mapping[int, Mapping[str, Any]] | None = None,
    options: BlankOptions | None = None,
    edit: Callable[[Workbook], None] | None = None,
) -> Path:
    """A V8's log of good runs 1, 2 ...; plugs: cylinder -> what its plug showed in the last one; edit: a last touch."""
    book = build_blank(options or BlankOptions(timing_hardware="tabs", name="Blue car"))
    for number in range(1, runs + 1):
        when = GOOD_RUN["when"] + timedelta(hours=number)
        last = (plugs or {}) if number == runs else {}
        readings = {cylinder: GOOD_PLUG | last.get(cylinder, {}) for cylinder in range(1, 9)}
        append_run(book, GOOD_RUN | {"name": str(number), "when": when}, readings)
    if edit is not None:
        edit(book)
    book.save(path)
    return path


def place_of(book: Workbook, sheet: str, heading: str, row: int) -> str:
    """The cell under the heading that begins so, in that row of the sheet."""
    return next(f"{cell.column_letter}{row}" for cell in book[sheet][3] if str(cell.value or "").startswith(heading))


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below the folder, by its name."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def texts(path: Path, sheet: str) -> list[str]:
    """Every text on a sheet."""
    book = openpyxl.load_workbook(path)
    return [str(cell.value) for row in book[sheet].iter_rows() for cell in row if cell.value is not None]
