"""By hand: how long learning from a long log takes, and whether twice the runs take twice the time.

python -m tests.benchmarks.learn
"""

from __future__ import annotations

import itertools
import sys
from dataclasses import replace
from time import perf_counter

import numpy as np

from engine_rules.logbook import Logbook
from engine_rules.response import responses
from tests.engine_rules.simulated_logs import drawn, engine_to_learn, simulated, tunes

RUNS = (500, 1000, 2000)
MOST_S = 1.0
GROWTH_PER_DOUBLING = 2.3  # 2 is linear; the rest is for noise


def seconds(log: Logbook) -> float:
    """The best of three: learning from a log that was not met before."""
    taken = []
    for _ in range(3):
        fresh = replace(log)
        start = perf_counter()
        responses(fresh)
        taken.append(perf_counter() - start)
    return min(taken)


def main() -> None:
    """Measure, print, and end with 1 where a bar is missed."""
    of, rng = engine_to_learn(), np.random.default_rng(1)
    log = simulated(rng, of, drawn(rng, of), tunes(rng, of, RUNS[-1]))
    taken = {runs: seconds(replace(log, runs=log.runs[:runs])) for runs in RUNS}
    for runs, one in taken.items():
        print(f"{runs} runs of 8 cylinders: {one:.2f} s")
    grown = [taken[many] / taken[few] for few, many in itertools.pairwise(RUNS)]
    print("twice the runs take " + " and ".join(f"{ratio:.2f}" for ratio in grown) + " times as long")
    sys.exit(taken[RUNS[-1]] > MOST_S or max(grown) > GROWTH_PER_DOUBLING)


if __name__ == "__main__":
    main()
