"""By hand: how long a long log takes. Ratios hold on any machine, since both sides run in turn in one process.

python -m tests.benchmarks.bench_fill [--profile]
"""

from __future__ import annotations

import cProfile
import pstats
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median
from time import process_time

import openpyxl
from rich.console import Console
from rich.table import Table

from engine_rules import advise
from tests.benchmarks.long_log import write_long_log
from workbook_template.log_file import advise_each, fill_in, open_log, runs_to_read

NEWEST_AGAINST_LOAD_AND_SAVE = 1.3
INFERENCE_MS = 50.0
GROWTH_PER_DOUBLING = 2.3  # 2 is linear; the rest is for noise
REPEATS = 5


def seconds(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """The median processor time of that work, which other programs disturb least."""
    taken = []
    for _ in range(repeats):
        start = process_time()
        work()
        taken.append(process_time() - start)
    return median(taken)


def fill_newest(log: Path, out: Path) -> None:
    """All that `fill` does for the newest run."""
    opened = open_log(log, out)
    fill_in(opened, [advise(opened.book.logbook)])


def fill_all(log: Path, out: Path) -> None:
    """All that `fill --all` does."""
    opened = open_log(log, out)
    fill_in(opened, list(advise_each(opened, runs_to_read(opened))))


def load_and_save(log: Path, out: Path) -> None:
    """What openpyxl takes to load the workbook and save it unchanged."""
    openpyxl.load_workbook(log).save(out)


def main() -> None:
    """Measure, print the table, and end with 1 where a bar is missed."""
    rows: list[tuple[str, float, float, str]] = []
    with tempfile.TemporaryDirectory() as folder:
        logs = {runs: write_long_log(Path(folder) / f"{runs}.xlsx", runs) for runs in (250, 500, 1000)}
        out = Path(folder) / "out.xlsx"
        if "--profile" in sys.argv:
            profile = cProfile.Profile()
            profile.runcall(fill_newest, logs[500], out)
            pstats.Stats(profile).sort_stats("cumulative").print_stats(45)
            return
        book = open_log(logs[500]).book.logbook
        alone = replace(book, runs=book.runs[-1:])
        advise(book)
        taken = 1000 * seconds(lambda: advise(alone))
        learning = 1000 * seconds(lambda: advise(book))
        note = f"{learning:.0f} ms with what 500 runs teach and remember"
        rows.append(("inference, one run of 8 cylinders, ms", taken, INFERENCE_MS, note))

        ours = seconds(lambda: fill_newest(logs[500], out))
        plain = seconds(lambda: load_and_save(logs[500], out))
        note = f"{ours:.2f} s against {plain:.2f} s"
        rows.append(("newest of 500 runs, against load + save", ours / plain, NEWEST_AGAINST_LOAD_AND_SAVE, note))

        every = {runs: seconds(lambda log=log: fill_all(log, out), repeats=1) for runs, log in logs.items()}  # type: ignore[misc]
        for few, many in ((250, 500), (500, 1000)):
            note = f"{every[many]:.1f} s against {every[few]:.1f} s"
            rows.append((f"--all, {many} runs against {few}", every[many] / every[few], GROWTH_PER_DOUBLING, note))
    table = Table("what", "measured", "bar", "note")
    for what, measured, bar, note in rows:
        table.add_row(what, f"{measured:.2f}", f"{bar:g}", note)
    Console().print(table)
    sys.exit(any(measured > bar for _, measured, bar, _ in rows))


if __name__ == "__main__":
    main()
