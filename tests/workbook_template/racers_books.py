"""Every layout of the racers' own that carries the season, by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from openpyxl.workbook import Workbook

from tests.workbook_template.racers_forms import sheet_per_day, sheet_per_run
from tests.workbook_template.racers_lists import row_per_cylinder, sheets_joined, two_cars, two_heading_rows, wide

LAYOUTS: Mapping[str, Callable[[], Workbook]] = {
    "a row for each cylinder, the run in the first": lambda: row_per_cylinder(repeated=False),
    "a row for each cylinder, the run in each": lambda: row_per_cylinder(repeated=True),
    "a row for each run, a block for each cylinder": lambda: wide(lambda number, name: f"Cyl {number} {name}"),
    "a row for each run, a block for each quantity": lambda: wide(lambda n, name: f"{name}{n}", by_quantity=True),
    "two heading rows, cylinders above": lambda: two_heading_rows(by_quantity=False),
    "two heading rows, quantities above": lambda: two_heading_rows(by_quantity=True),
    "runs across": lambda: wide(lambda number, name: f"#{number} {name}", turned=True),
    "sheets joined by the run": lambda: sheets_joined(by_time=False),
    "weather joined by day and time": lambda: sheets_joined(by_time=True),
    "two cars in one list": two_cars,
    "a form for each run, a box for each cylinder": sheet_per_run,
    "a sheet for each day, forms with small tables": sheet_per_day,
}
