"""By hand: how long the installed command takes to show its help, against starting Python alone.

python -m tests.benchmarks.bench_help
"""

from __future__ import annotations

import subprocess
import sys
from statistics import median
from time import perf_counter

from tests.logs_on_disk import COMMAND

HELP_S = 0.4
REPEATS = 15


def seconds(*command: str) -> float:
    """The median time of that command."""
    taken = []
    for _ in range(REPEATS):
        start = perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        taken.append(perf_counter() - start)
    return median(taken)


def main() -> None:
    """Measure, print, and end with 1 where the bar is missed."""
    python = seconds(sys.executable, "-c", "pass")
    shown = seconds(str(COMMAND), "--help")
    print(f"strapline --help {shown:.3f} s (bar {HELP_S} s), {shown / python:.1f} times Python alone at {python:.3f} s")
    sys.exit(shown > HELP_S)


if __name__ == "__main__":
    main()
