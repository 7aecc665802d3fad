"""By hand: a racer's own workbook of ten sheets against openpyxl's load and save of it, as a ratio in one run.

python -m tests.benchmarks.bench_own_book [--profile]

The ratio held to the bar has both sides in this process, in turn, with everything imported on both: what `fill` does is
done through the functions that the command calls. Beside it stands, without a bar, a command each with its start and
imports: the installed `strapline fill` against a Python that imports openpyxl, loads and saves. Times are processor
time, which other programs disturb least.
"""

from __future__ import annotations

import cProfile
import os
import pstats
import random
import subprocess
import sys
import tempfile
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from statistics import median

import openpyxl
import xlsxwriter
from rich.console import Console
from rich.table import Table

from engine_rules import advise
from tests.benchmarks.bench_fill import seconds
from workbook_template.log_file import fill_cars, open_log

AGAINST_LOAD_AND_SAVE = 0.25
PACKED_BYTES = 2_700_000
REPEATS = 5
RUNS, CYLINDERS = 60, range(1, 9)
OTHER_SHEETS = 8
_WORDS = ("oil", "valves checked", "new belts", "clutch", "left rear tyre", "gear oil", "fuel drum", "track sealed")


def write_book(path: Path) -> Path:
    """Two sheets of a log, joined by the run, and eight of other data; written so long that it packs to 2.7 MB."""
    rows = 5000
    while True:
        _write(path, rows)
        size = path.stat().st_size
        if abs(size - PACKED_BYTES) < 0.02 * PACKED_BYTES:
            return path
        rows = round(rows * PACKED_BYTES / size)


def _write(path: Path, rows: int) -> None:
    chance = random.Random(11)
    book = xlsxwriter.Workbook(str(path))
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    _write_runs(book.add_worksheet("Log"), day, chance)
    _write_plugs(book.add_worksheet("Plug sheet"), chance)
    for number in range(1, OTHER_SHEETS + 1):
        sheet = book.add_worksheet(f"Data {number}")
        sheet.write_row(0, 0, ["When", "Channel A", "Channel B", "Channel C", "Sum", "Remark"])
        for row in range(1, rows + 1):
            sheet.write_datetime(row, 0, datetime(2026, 1, 1) + timedelta(minutes=row), day)
            for column in (1, 2, 3):
                sheet.write_number(row, column, round(chance.gauss(50.0, 9.0), 2))
            sheet.write_formula(row, 4, f"=B{row + 1}+C{row + 1}", None, round(chance.gauss(100.0, 9.0), 2))
            sheet.write_string(row, 5, f"{chance.choice(_WORDS)} {chance.randrange(400)}")
    book.close()


def _write_runs(sheet: xlsxwriter.worksheet.Worksheet, day: object, chance: random.Random) -> None:
    heads = ["Run", "Date", "Track", "Air temp (F)", "Baro (inHg)", "Humidity (%)", "Jets", "Timing", "New plugs",
             "Clean cut", "Run length (s)", "ET", "MPH", "Remarks"]  # fmt: skip
    sheet.write_row(0, 0, heads)
    for row in range(1, RUNS + 1):
        sheet.write_number(row, 0, row)
        sheet.write_datetime(row, 1, datetime.combine(date(2026, 3, 1) + timedelta(days=row), datetime.min.time()), day)
        jets = chance.choice(("72/80", "72/82", "74/82"))
        sheet.write_row(row, 2, ["home strip", chance.randrange(60, 90), round(chance.uniform(29.2, 29.8), 2),
                                 chance.randrange(30, 70), jets, 34, "yes", "yes", 9.5])  # fmt: skip
        sheet.write_row(row, 11, [round(chance.gauss(10.45, 0.03), 2), round(chance.gauss(127.0, 0.4), 1), "good"])


def _write_plugs(sheet: xlsxwriter.worksheet.Worksheet, chance: random.Random) -> None:
    sheet.write_row(0, 0, ["Run", *(f"Cyl {n} {what}" for n in CYLINDERS for what in ("ring", "strap", "EGT (F)"))])
    for row in range(1, RUNS + 1):
        sheet.write_number(row, 0, row)
        for at in range(len(CYLINDERS)):
            ring, strap = chance.choice(("trace", "thin line", "wide")), chance.choice(("at bend", "past bend"))
            sheet.write_row(row, 1 + 3 * at, [ring, strap, chance.randrange(1290, 1370)])


def fill(log: Path, out: Path) -> None:
    """All that the command `fill` does for the newest run, but for its words on the terminal."""
    out.unlink(missing_ok=True)  # a result that is there is looked into for the racer's answers
    opened = open_log(log, out)
    fill_cars(opened, [(one.book, [advise(one.book.logbook)]) for one in opened.cars()])


def load_and_save(log: Path, out: Path) -> None:
    """What openpyxl takes to load the workbook and save it unchanged."""
    openpyxl.load_workbook(log).save(out)


def command_seconds(command: list[str]) -> float:
    """The median processor time of a command, its start and imports included."""
    return median(
        _children_seconds(lambda: subprocess.run(command, check=True, capture_output=True)) for _ in range(REPEATS)
    )


def _children_seconds(work: Callable[[], object]) -> float:
    before = os.times()
    work()
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def main() -> None:
    """Measure, print the table, and end with 1 where the bar is missed."""
    with tempfile.TemporaryDirectory() as folder:
        log, out = write_book(Path(folder) / "season.xlsx"), Path(folder) / "out.xlsx"
        fill(log, out)
        if "--profile" in sys.argv:
            profile = cProfile.Profile()
            profile.runcall(fill, log, out)
            pstats.Stats(profile).sort_stats("cumulative").print_stats(60)
            return
        ours, theirs = seconds(lambda: fill(log, out), REPEATS), seconds(lambda: load_and_save(log, out), REPEATS)
        strapline = [str(Path(sys.executable).with_name("strapline")), "fill", str(log), "-o", str(out)]
        script = "import sys, openpyxl; openpyxl.load_workbook(sys.argv[1]).save(sys.argv[2])"
        own_command = command_seconds(strapline)
        their_command = command_seconds([sys.executable, "-c", script, str(log), str(out)])
        size_mb = log.stat().st_size / 1e6
    rows = [
        ("all imported", ours, theirs, f"{AGAINST_LOAD_AND_SAVE:g}"),
        ("a command each", own_command, their_command, ""),
    ]
    table = Table("what", "ours, s", "load + save, s", "ratio", "bar", title=f"{size_mb:.1f} MB, ten sheets")
    for what, own, their, bar in rows:
        table.add_row(what, f"{own:.2f}", f"{their:.2f}", f"{own / their:.2f}", bar)
    Console().print(table)
    sys.exit(ours / theirs > AGAINST_LOAD_AND_SAVE)


if __name__ == "__main__":
    main()
