"""Jets that move together: a corner is staggered only where that wins something worth the trouble.

A set that reads alike everywhere could be met a little nearer by one odd jet, as a matter of rounding. No tuner would
fit it. So stations that share their cylinders move alike, or alike at each end, unless a freer choice wins more than
it costs. What a pattern costs does not hang on the readings, so a cylinder that alone is leaner never gets less fuel
for it; where the others are leaner too, it may come off a fraction of a size worse as all are shared out anew.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np

from engine_rules.jet_search import JetProblem
from engine_rules.losses import TIE_PCT
from engine_rules.targets import Targets


def plainest(problem: JetProblem, free: tuple[int, ...], ends: Sequence[str], targets: Targets) -> tuple[int, ...]:
    """The best choice with the cost of its pattern counted; free: the best without. All by position on the ladder."""
    if not np.any((problem.shares > 0.0).sum(axis=1) > 1):
        return free  # every cylinder has a jet of its own
    cylinders = len(problem.shares)
    everywhere, by_end = ["all"] * len(free), [str(end) for end in ends]
    choices = [(0.0, sizes) for sizes in _alike(problem, everywhere)]
    choices += [(targets["cost.front_rear_pct"], sizes) for sizes in _alike(problem, by_end)]
    choices.append((targets["cost.corner_pct"], free))
    losses = [_loss(problem, sizes) + cost * cylinders for cost, sizes in choices]
    best = min(losses)
    return next(sizes for loss, (_, sizes) in zip(losses, choices, strict=True) if loss <= best + TIE_PCT)


def _alike(problem: JetProblem, groups: Sequence[str]) -> Iterator[tuple[int, ...]]:
    """Every choice in which the stations of a group move by the same number of sizes, the smallest moves first."""
    names = list(dict.fromkeys(groups))
    moves = sorted({int(size) - now for sizes, now in zip(problem.sizes, problem.now, strict=True) for size in sizes})
    for picked in sorted(product(moves, repeat=len(names)), key=lambda one: (sum(map(abs, one)), [-m for m in one])):
        by = dict(zip(names, picked, strict=True))
        chosen = tuple(now + by[group] for now, group in zip(problem.now, groups, strict=True))
        if all(size in sizes for size, sizes in zip(chosen, problem.sizes, strict=True)) and _linked(problem, chosen):
            yield chosen


def _linked(problem: JetProblem, chosen: tuple[int, ...]) -> bool:
    return all(one.lowest <= chosen[one.first] - chosen[one.second] <= one.highest for one in problem.links)


def _loss(problem: JetProblem, chosen: tuple[int, ...]) -> float:
    flow = [
        flows[sizes == size][0] for flows, sizes, size in zip(problem.flows_pct, problem.sizes, chosen, strict=True)
    ]
    return float(problem.total_loss(np.array(flow)))
