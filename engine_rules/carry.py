"""What earlier runs still say of today's engine: their estimate, moved by what was changed since.

A set of plugs read today is seldom the first. The errors that the last fit runs showed, shifted by the jets, timing and
air that changed since, are what is expected today before a plug is looked at; the spread grows with every run and every
change. Only the last few runs count, and today's set can always outvote them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine_rules.fuel import Ladder, flow_change_pct, mixture_drift_pct
from engine_rules.logbook import Engine, Logbook, Run
from engine_rules.targets import Targets
from engine_rules.weather import air_state

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """What is expected of the 2N errors, mixture (%) before timing (degrees), with its covariance; and since when."""

    mean: Array
    covariance: Array
    since: str


@dataclass(frozen=True, slots=True, eq=False)
class _Move:
    """What was changed between two runs, by cylinder, and the air: percent fuel and degrees. None: cannot be known."""

    mixture_pct: Array | None
    timing_deg: Array | None


def belief_before(logbook: Logbook, run: Run, solved: Callable[[Run, Belief | None], Belief | None]) -> Belief | None:
    """The belief that the last fit runs leave for this one; None where there is none.

    solved: estimates a run from its readings and a belief; None for a run that is not fit to tune from.
    """
    targets = logbook.targets
    recent = [one for one in logbook.before(run) if one.readings][-int(targets["carry.runs"]) :]
    belief: Belief | None = None
    last: Run | None = None
    for one in (*recent, run):
        if belief is not None and last is not None:
            belief = _moved(belief, _changes(logbook, last, one), logbook.engine, targets)
        if one is run:
            return belief
        seen = solved(one, belief)
        if seen is not None:
            belief, last = seen, one
    return belief


def _moved(belief: Belief, move: _Move, engine: Engine, targets: Targets) -> Belief:
    count = len(engine.numbers)
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    for start, unit, change in ((0, "mixture_{}_pct", move.mixture_pct), (count, "timing_{}_deg", move.timing_deg)):
        block = slice(start, start + count)
        source = "carry" if change is not None else "prior"
        common, own = (targets[f"{source}.{unit.format(part)}"] for part in ("common", "own"))
        covariance[block, block] += common**2 + own**2 * np.eye(count)
        if change is not None:
            mean[block] += change
            doubt = targets["carry.change_doubt"] * change
            covariance[block, block] += np.outer(doubt, doubt)
    return Belief(mean, covariance, belief.since)


def _changes(logbook: Logbook, then: Run, now: Run) -> _Move:
    return _Move(_mixture_change(logbook, then, now), _timing_change(logbook.engine, then, now))


def _mixture_change(logbook: Logbook, then: Run, now: Run) -> Array | None:
    engine = logbook.engine
    if engine.carburetion == "EFI":
        return _trim_change(engine.numbers, "fuel_trim_pct", then, now)
    flow = {}
    for station in engine.stations:
        before, after = then.tuneup.jets.get(station.name), now.tuneup.jets.get(station.name)
        if before is None or after is None:
            return None
        flow[station.name] = _flow_change(
            logbook.jets, before.value, after.value, engine.enrichment_area_in2.get(station.end, 0.0)
        )
    fuel = np.array(
        [sum(share * flow.get(name, 0.0) for name, share in one.shares.items()) for one in engine.cylinders]
    )
    return np.asarray(fuel + _drift(then, now, logbook.targets["air.fuel_exponent"]))


def _flow_change(ladder: Ladder, before: str, after: str, enrichment_in2: float) -> float:
    return flow_change_pct(ladder.jet(before).bore_in, ladder.jet(after).bore_in, enrichment_in2)


def _drift(then: Run, now: Run, exponent: float) -> float:
    """What the air did to the mixture with the jets kept, percent; nothing where it was not logged."""
    before, after = air_state(then.air), air_state(now.air)
    if before is None or after is None:
        return 0.0
    thicker = after.moist_density_kg_m3 / before.moist_density_kg_m3
    return mixture_drift_pct(after.dry_density_kg_m3 / before.dry_density_kg_m3 / thicker**exponent)


def _timing_change(engine: Engine, then: Run, now: Run) -> Array | None:
    before, after = then.tuneup.total_timing_deg, now.tuneup.total_timing_deg
    if before is None or after is None:
        return None
    return np.asarray(after.value - before.value + _trim_change(engine.numbers, "timing_trim_deg", then, now))


def _trim_change(numbers: Iterable[int], key: str, then: Run, now: Run) -> Array:
    def of(run: Run, number: int) -> float:
        reading = run.reading(number)
        entry = getattr(reading, key) if reading is not None else None
        return entry.value if entry is not None else 0.0

    return np.array([of(now, number) - of(then, number) for number in numbers])
