"""The same log written into blank workbooks of every style, each value under its own heading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, time
from typing import Any

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from workbook_template.build import BlankOptions, build_blank
from workbook_template.build_engine import StarterEngine, starter_engine
from workbook_template.build_form import UNITS
from workbook_template.build_sheet import HEADING_ROW
from workbook_template.build_wide import cylinder_columns
from workbook_template.layout import Column, layout

# Values as written, by column key; a word's is its list's first. Numbers fit either house's unit or come in two.
_NUMBERS: Mapping[str, tuple[float, float]] = {
    "temp_c": (71, 21.5), "pressure_pa": (29.42, 996), "altitude_m": (850, 260), "humidity_pct": (45, 45),
    "total_timing_deg": (34, 34), "full_load_s": (9.5, 9.5), "laps": (3, 3), "et_s": (10.42, 10.42),
    "speed_m_s": (127.4, 205), "lap_time_s": (61.5, 61.5), "power_kw": (512, 382), "weight_kg": (3150, 1430),
    "bank_lambda.L": (0.87, 0.87), "bank_lambda.R": (0.86, 0.86), "bank_lambda.": (0.87, 0.87),
    "egt_c": (1340, 727), "lambda_ratio": (0.87, 0.87), "timing_trim_deg": (-1, -1), "fuel_trim_pct": (2, 2),
}  # fmt: skip
_OTHERS: Mapping[str, Any] = {
    "date": date(2026, 4, 18), "time": time(15, 45), "place": "home strip", "plug": "B", "ring": "thin line",
    "strap_mark": "at bend", "porcelain": "tan", "notes": "all went well",
}  # fmt: skip


def runs_of(options: BlankOptions) -> tuple[Mapping[str, Any], ...]:
    """Two runs: every column of the run by its key, those of each cylinder under 'plugs'."""
    engine = starter_engine(options)
    columns = engine.columns(layout().sheets["runs"])
    return tuple(
        {column.key: _value(column, engine, at) for column in columns}
        | {
            "plugs": {
                number: {column.key: _value(column, engine, at + number) for column in cylinder_columns(engine)}
                for number in engine.places
            }
        }
        for at in (1, 2)
    )


def _value(column: Column, engine: StarterEngine, at: int) -> Any:
    if column.key == "name":
        return at
    if column.key in _NUMBERS:
        base = _NUMBERS[column.key][engine.units == "si"]
        return base + (0.01 * at if base < 1 else at % 2)
    if column.key.startswith("jets."):
        first = 100 if engine.words["fuel"] == "methanol" else 150 if engine.units == "si" else 72
        return first + (5 if engine.units == "si" else 2) * (at % 3)
    if column.kind == "yes_no":
        return ("yes", "no")[at % 2]
    if column.key in _OTHERS:
        return _OTHERS[column.key]
    return layout().lists[column.list].words[0]


def styled(options: BlankOptions, style: str) -> Workbook:
    """A workbook of that style with the runs in it."""
    book = build_blank(replace(options, style=style))
    engine = starter_engine(options)
    write = {"rows": _write_rows, "wide": _write_wide, "form": _write_forms}[style]
    write(book, engine, runs_of(options))
    return book


def _write_rows(book: Workbook, engine: StarterEngine, runs: tuple[Mapping[str, Any], ...]) -> None:
    log, plugs = book["Runs"], book["Readings"]
    row = HEADING_ROW + 1
    for at, run in enumerate(runs, HEADING_ROW + 1):
        for column in engine.columns(layout().sheets["runs"]):
            _under(log, HEADING_ROW, column.headed(engine.units), at, run[column.key])
        for number, cells in run["plugs"].items():
            _under(plugs, HEADING_ROW, "Run", row, run["name"])
            _under(plugs, HEADING_ROW, "Cylinder", row, number)
            for column in cylinder_columns(engine):
                _under(plugs, HEADING_ROW, column.headed(engine.units), row, cells[column.key])
            row += 1


def _write_wide(book: Workbook, engine: StarterEngine, runs: tuple[Mapping[str, Any], ...]) -> None:
    log = book["Log"]
    for at, run in enumerate(runs, HEADING_ROW + 1):
        for column in engine.columns(layout().sheets["runs"]):
            _under(log, HEADING_ROW, column.headed(engine.units), at, run[column.key])
        for number, cells in run["plugs"].items():
            for column in cylinder_columns(engine):
                name = column.headed(engine.units)
                name = name if column.heading.isupper() else f"{name[0].lower()}{name[1:]}"
                _under(log, HEADING_ROW, f"Cyl {number} {name}", at, cells[column.key])


def _under(page: Worksheet, heading_row: int, heading: str, row: int, value: Any) -> None:
    found = [cell.column for cell in page[heading_row] if cell.value == heading]
    assert found, f"no heading {heading}"
    page.cell(row, found[0], value)


def _write_forms(book: Workbook, engine: StarterEngine, runs: tuple[Mapping[str, Any], ...]) -> None:
    for run in runs:
        page = book[f"Run {run['name']}"]
        boxes = {
            int(cell.value.removeprefix("Cyl ")): (cell.row, cell.column)
            for row in page.iter_rows()
            for cell in row
            if isinstance(cell.value, str) and cell.value.startswith("Cyl ")
        }
        first_box = min(row for row, _ in boxes.values())
        for column in engine.columns(layout().sheets["runs"]):
            _below(page, column.headed(engine.units), (1, 1), (first_box - 1, UNITS), run[column.key])
        across = UNITS // len({column for _, column in boxes.values()})
        for number, (top, left) in boxes.items():
            below = min((row for row, _ in boxes.values() if row > top), default=page.max_row + 1) - 1
            for column in cylinder_columns(engine):
                value = run["plugs"][number][column.key]
                _below(page, column.headed(engine.units), (top, left), (below, left + across - 1), value)


def _below(page: Worksheet, label: str, first: tuple[int, int], last: tuple[int, int], value: Any) -> None:
    found = [
        (row, column)
        for row in range(first[0], last[0] + 1)
        for column in range(first[1], last[1] + 1)
        if (text := page.cell(row, column).value) == label or str(text).startswith(f"{label} (")
    ]
    assert len(found) == 1, f"{label}: {found}"
    row, column = found[0]
    page.cell(row + 1, column).value = value
