"""The best tune-up that an engine's hardware allows, by someone who knows the truth, and what torque it leaves."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from tests.virtual_engine import JET_SIZES, PLUG_LABELS, Air, Floats, Tuneup, VirtualEngine

MOST_TRIM_DEG = 4.0


@dataclass(frozen=True, slots=True)
class Best:
    """The oracle's tune-up, inside every limit, and its torque in percent of the engine's own best."""

    tuneup: Tuneup
    torque_pct: float


def best(engine: VirtualEngine, air: Air) -> Best:
    """Whole jet sizes, half degrees of total timing, trims as the hardware moves them, any plug of the shelf."""
    sizes = _nearest_sizes(engine, air)
    while True:
        around = _around(sizes)
        losses, totals, trims = _timed(engine, air, around)
        at = int(losses.argmin())
        if (around[at] == sizes).all():
            break
        sizes = around[at]
    trim_of = dict(zip(engine.layout.numbers, (float(trim) for trim in trims[at]), strict=True))
    jets = dict(zip(engine.layout.stations, (int(size) for size in sizes), strict=True))
    tuneup = Tuneup(jets, float(totals[at]), trim_of, _plugs(engine))
    return Best(tuneup, engine.state(tuneup, air).torque_pct)


def trim_choices(engine: VirtualEngine) -> Floats:
    """Every trim that the hardware can set on one cylinder."""
    if engine.hardware == "none":
        return np.zeros(1)
    steps = round(MOST_TRIM_DEG / engine.trim_step_deg)
    return np.arange(-steps, steps + 1) * engine.trim_step_deg


def moving_groups(engine: VirtualEngine) -> list[list[int]]:
    """Places of the cylinders that one trim moves together."""
    if engine.hardware == "paired":
        return [[number - 1 for number in pair] for pair in engine.layout.companions()]
    return [[at] for at in range(engine.layout.cylinders)]


def _nearest_sizes(engine: VirtualEngine, air: Air) -> np.ndarray:
    """All stations on the one size that comes nearest: a start for the search."""
    same = np.repeat(np.array(JET_SIZES)[:, None], len(engine.layout.stations), axis=1)
    loss = engine.mixture_loss_pct(engine.mixture_pct(same, air)).mean(axis=1)
    return same[int(loss.argmin())]


def _around(sizes: np.ndarray) -> np.ndarray:
    steps = np.array(list(itertools.product((-2, -1, 0, 1, 2), repeat=len(sizes))))
    return np.clip(sizes + steps, JET_SIZES[0], JET_SIZES[-1])


def _timed(engine: VirtualEngine, air: Air, sizes: np.ndarray) -> tuple[Floats, Floats, Floats]:
    """(loss, total timing, trims) of each set of jets with the timing that suits it best."""
    mixture = engine.mixture_pct(sizes, air)
    limit = engine.knock_limit_deg(mixture, air)
    best_deg = engine.best_deg(air)
    middle = round(float(best_deg.mean()))
    trims = trim_choices(engine)
    losses, choices = [], []
    totals = np.arange(middle - 6.0, middle + 6.5, 0.5)
    for total in totals:
        timing = total + trims[:, None] - best_deg
        loss = engine.truth.timing_loss * timing**2
        allowed = np.where(timing[None] <= limit[:, None, :], loss[None], np.inf)
        grouped = np.stack([allowed[:, :, group].sum(axis=2) for group in moving_groups(engine)], axis=2)
        choices.append(grouped.argmin(axis=1))
        losses.append(grouped.min(axis=1).sum(axis=1) / engine.layout.cylinders)
    by_total = np.array(losses)
    at = by_total.argmin(axis=0)
    rows = np.arange(len(sizes))
    chosen = np.zeros(mixture.shape)
    for place, group in enumerate(moving_groups(engine)):
        chosen[:, group] = trims[np.array(choices)[at, rows, place]][:, None]
    return by_total[at, rows] + engine.mixture_loss_pct(mixture).mean(axis=1), totals[at], chosen


def _plugs(engine: VirtualEngine) -> dict[int, str]:
    """The plug nearest to each cylinder's right heat: near best mixture and timing it neither fouls nor overheats."""
    return {
        number: PLUG_LABELS[int(np.clip(round(float(engine.truth.right_heat[at])), 1, len(PLUG_LABELS))) - 1]
        for at, number in enumerate(engine.layout.numbers)
    }
