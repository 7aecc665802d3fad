"""What is set cylinder by cylinder or for the whole engine on a grid: total timing, timing trims, fuel trims."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import ArrayLike

from engine_rules.logbook import Engine
from engine_rules.losses import TIE_PCT, mixture_loss, timing_loss
from engine_rules.spark import companion_pairs
from engine_rules.targets import Targets

# How far a setting may move, lowest (negative) and highest: degrees of advance, or percent of fuel.
Span = tuple[float, float]


def choose_total_timing(
    mean_deg: ArrayLike, sd_deg: ArrayLike, targets: Targets, lowest_deg: float, highest_deg: float
) -> float:
    """The change of total timing that loses least, on the grid of cap.total_step_deg; positive is advance.

    mean_deg, sd_deg: timing error of each cylinder, positive advanced. lowest_deg, highest_deg: limits of the change,
    held within the caps. Where no step of the grid lies between them, the first that is later than highest_deg.
    """
    mean, sd = np.asarray(mean_deg, dtype=float), np.asarray(sd_deg, dtype=float)
    caps = (-targets["cap.retard_deg"], targets["cap.advance_deg"])
    moves = _moves(targets["cap.total_step_deg"], (lowest_deg, highest_deg), caps)
    return _cheapest(moves, lambda move: timing_loss(mean + move, sd, targets))


def choose_trims(
    engine: Engine,
    current_trims: Mapping[int, float],
    mean_deg: ArrayLike,
    sd_deg: ArrayLike,
    targets: Targets,
    limits: Mapping[int, Span],
) -> dict[int, float]:
    """Cylinder -> trim to set, in whole steps of the hardware from the present one; positive is advance.

    mean_deg, sd_deg: timing error in the order of the engine. limits: of the change, by cylinder. Without a stated step
    of the hardware a move is cap.trim_step_deg. Companions on 'paired' hardware move together, within the limits of
    both, the later limit first. On 'none' nothing moves.
    """
    trims = {cylinder: current_trims.get(cylinder, 0.0) for cylinder in engine.numbers}
    mean, sd = np.asarray(mean_deg, dtype=float), np.asarray(sd_deg, dtype=float)
    for cylinders in _moving_together(engine):
        at = [engine.numbers.index(cylinder) for cylinder in cylinders]
        caps = [_trim_cap(trims[cylinder], targets) for cylinder in cylinders]
        asked = [limits[cylinder] for cylinder in cylinders if cylinder in limits]
        moves = _moves(engine.trim_step_deg or targets["cap.trim_step_deg"], _both(asked), _both(caps))
        move = _cheapest(moves, lambda step, at=at: timing_loss(mean[at] + step, sd[at], targets))  # type: ignore[misc]
        trims.update({cylinder: round(trims[cylinder] + move, 9) for cylinder in cylinders})
    return trims


def choose_fuel_trims(
    engine: Engine,
    current_trims: Mapping[int, float],
    mean_pct: ArrayLike,
    sd_pct: ArrayLike,
    targets: Targets,
    limits: Mapping[int, Span],
) -> dict[int, float]:
    """Cylinder -> fuel trim to set in percent, in whole steps from the present one; positive is more fuel.

    mean_pct, sd_pct: mixture error in the order of the engine, positive rich. limits: of the change, by cylinder. An
    engine without a step of fuel trim keeps what it has.
    """
    trims = {cylinder: current_trims.get(cylinder, 0.0) for cylinder in engine.numbers}
    if engine.fuel_trim_step_pct is None:
        return trims
    caps = (-targets["cap.fuel_trim_leaner_pct"], targets["cap.fuel_trim_richer_pct"])
    loss = mixture_loss(mean_pct, sd_pct, targets)
    for at, cylinder in enumerate(engine.numbers):
        own = loss.of(np.array([at]))
        asked = limits.get(cylinder, caps)
        # For fuel the safe side is up: turned about, the same choice gives way to the richer limit.
        moves = [-move for move in _moves(engine.fuel_trim_step_pct, _turned(asked), _turned(caps))]
        move = _cheapest(moves, lambda move, own=own: float(own.at(np.array([move])).sum()))  # type: ignore[misc]
        trims[cylinder] = round(trims[cylinder] + move, 9)
    return trims


def _cheapest(moves: list[float], loss: Callable[[float], float]) -> float:
    """The move that loses least: of equals the smallest, then the one named first."""
    losses = [loss(move) for move in moves]
    tied = [move for move, lost in zip(moves, losses, strict=True) if lost <= min(losses) + TIE_PCT]
    return min(tied, key=abs)


def _moves(step: float, asked: Span, caps: Span) -> list[float]:
    """Multiples of step within limits and caps, lowest first; where there are none, the first below the highest."""
    highest = max(min(asked[1], caps[1]), caps[0])
    lowest = min(max(asked[0], caps[0]), highest)
    last = max(math.floor(highest / step + 1e-9), math.ceil(caps[0] / step - 1e-9))
    first = min(math.ceil(lowest / step - 1e-9), last)
    return [round(count * step, 9) for count in range(first, last + 1)]


def _both(limits: list[Span]) -> Span:
    """What all allow; where they part, the lower bound gives way."""
    highest = min((one[1] for one in limits), default=math.inf)
    lowest = max((one[0] for one in limits), default=-math.inf)
    return min(lowest, highest), highest


def _turned(limits: Span) -> Span:
    return -limits[1], -limits[0]


def _trim_cap(trim_deg: float, targets: Targets) -> Span:
    """Moves that one step may make, and that do not take the trim further out than allowed, or than it is."""
    step, furthest = targets["cap.trim_step_deg"], targets["cap.trim_total_deg"]
    return max(-step, min(-furthest - trim_deg, 0.0)), min(step, max(furthest - trim_deg, 0.0))


def _moving_together(engine: Engine) -> list[tuple[int, ...]]:
    """The cylinders that one move of the hardware takes along."""
    match engine.timing_hardware:
        case "none":
            return []
        case "paired" if len(engine.firing_order) % 2 == 0:
            return list(companion_pairs(engine.firing_order))
    return [(cylinder,) for cylinder in engine.numbers]
