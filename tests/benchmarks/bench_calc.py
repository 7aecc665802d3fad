"""By hand: from the button in Calc to the filled document, with 10 sheets of 500 x 60 beside the log.

python -m tests.benchmarks.bench_calc
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median
from time import perf_counter

import openpyxl
from rich.console import Console
from rich.table import Table

from strapline_demo.season import build_season
from tests.logs_on_disk import strapline
from tests.workbook_template.hosts.office import running_office

AGAINST_A_FILE = 3.0
SHEETS, ROWS, COLUMNS = 10, 500, 60
REPEATS = 3


def seconds(work: Callable[[], object]) -> float:
    """The median time by the clock, since more than one process works."""
    taken = []
    for _ in range(REPEATS):
        start = perf_counter()
        work()
        taken.append(perf_counter() - start)
    return median(taken)


def write_large(path: Path) -> Path:
    """The season with sheets of numbers, texts and dates beside it."""
    build_season(path)
    book = openpyxl.load_workbook(path)
    first = datetime(2026, 1, 1)
    for number in range(1, SHEETS + 1):
        sheet = book.create_sheet(f"Data {number}")
        for row in range(ROWS):
            moments = [first + timedelta(hours=row)] * 2
            sheet.append([f"text {row}", *moments, *(row * 0.5 + column for column in range(COLUMNS - 3))])
    book.save(path)
    return path


def main() -> None:
    """Measure, print the table, and end with 1 where the bar is missed."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log = write_large(folder / "log.xlsx")
        by_file = seconds(lambda: strapline("fill", log, "-o", "out.xlsx", cwd=folder).check_returncode())
        with running_office(folder) as office:
            office.open(path=str(log))
            start = perf_counter()
            assert "data" in office.press(command="fill")
            first = perf_counter() - start
            office.undo()

            def press() -> None:
                office.press(command="fill")
                office.undo()

            by_button = seconds(press)
            office.close()
    table = Table("what", "seconds", "against the file", "bar")
    table.add_row("strapline fill", f"{by_file:.2f}", "1", "")
    table.add_row("the button, the first time", f"{first:.2f}", f"{first / by_file:.2f}", f"{AGAINST_A_FILE:g}")
    table.add_row("the button and undo", f"{by_button:.2f}", f"{by_button / by_file:.2f}", f"{AGAINST_A_FILE:g}")
    Console().print(table)
    sys.exit(first / by_file > AGAINST_A_FILE)


if __name__ == "__main__":
    main()
