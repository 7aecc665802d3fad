"""The reference set: the readings of the day the engine ran its best, against which today's are judged.

The targets of the sheet Targets hold for engines in general. On the reference day this one ran its best with its own
readings, so where they stood against those targets is where its own targets stand, cylinder by cylinder. One reading of
a set has noise too: the move is shrunk by it and its doubt is added to today's spread. A target moves only so far,
least of all toward lean and early, and what safety looks for stays with the general targets.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine_rules.estimate import Estimate
from engine_rules.evidence import is_boiling, set_plug
from engine_rules.judge import is_read
from engine_rules.logbook import Logbook, Run
from engine_rules.results import KINDS, Score, logged
from engine_rules.targets import Targets
from engine_rules.weather import air_state

Array = NDArray[np.float64]
# How many of the best runs are looked at for a settled one, before none is proposed.
MOST_LOOKED_AT = 5


@dataclass(frozen=True, slots=True)
class Refused:
    """A run marked Reference that is no measure for today's: what stands against it, a word and a sentence."""

    run: Run
    what: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """The set that today's is judged against. proposed: nobody marked it. target, doubt: see `own_target`."""

    run: Run
    proposed: bool
    target: Array
    doubt: Array


@dataclass(frozen=True, slots=True)
class Found:
    """The reference for one run, None where there is none, and the marked runs that were refused."""

    reference: Reference | None
    refused: tuple[Refused, ...]
    marked: int


@dataclass(frozen=True, slots=True)
class Knowing:
    """How to find out about a run: whether its set is fit to tune from, its estimate against the general targets by
    itself, and its score (see `results.score`)."""

    fit: Callable[[Run], bool]
    solve: Callable[[Run], Estimate]
    scored: Callable[[Run, str], Score | str]


def find_reference(logbook: Logbook, run: Run, knowing: Knowing) -> Found:
    """The nearest comparable run marked Reference before this one; where none is marked, the one worth marking.

    Nearest is the same place first, then the nearest air density, then the newest. Nothing of today's readings but the
    plugs' names goes into the choice.
    """
    before = logbook.before(run)
    marked = [one for one in before if one.reference]
    refused = [found for one in marked if (found := _refusal(logbook, one, run, knowing)) is not None]
    left = [one for one in marked if all(one is not other.run for other in refused)]
    best = min(left, key=lambda one: (*_distance(one, run), -before.index(one)), default=None)
    proposed = best is None
    solved = knowing.solve(best) if best is not None else None
    if best is None and not marked:
        best, solved = _proposal(logbook, before, run, knowing)
    if best is None or solved is None:
        return Found(None, tuple(refused), len(marked))
    target, doubt = own_target(solved, logbook.targets)
    return Found(Reference(best, proposed, target, doubt), tuple(refused), len(marked))


def own_target(solved: Estimate, targets: Targets) -> tuple[Array, Array]:
    """Where the engine's own targets stand against the general ones, 2N, and the covariance of that.

    solved: the reference set against the general targets. What was not read stays at the general target.
    """
    count = len(solved.cylinders)
    before = np.zeros((2 * count, 2 * count))
    for at, what, unit in ((0, "mixture", "pct"), (count, "timing", "deg")):
        if is_read(what, solved):
            common, own = (targets[f"reference.{what}_{part}_{unit}"] for part in ("common", "own"))
            before[at : at + count, at : at + count] = common**2 + own**2 * np.eye(count)
    weights = np.linalg.solve(before + solved.covariance, before).T
    target, doubt = weights @ solved.mean, before - weights @ before
    low = np.repeat([-targets["reference.most_lean_pct"], -targets["reference.most_retarded_deg"]], count)
    high = np.repeat([targets["reference.most_rich_pct"], targets["reference.most_advanced_deg"]], count)
    return np.clip(target, low, high), (doubt + doubt.T) / 2.0


def _refusal(logbook: Logbook, then: Run, run: Run, knowing: Knowing) -> Refused | None:
    for what, why in _against(logbook, then, run, knowing):
        return Refused(then, what, f"reference run {then.name}: {why}")
    return None


def _against(logbook: Logbook, then: Run, run: Run, knowing: Knowing) -> Iterator[tuple[str, str]]:
    plug, today = set_plug(logbook, then), set_plug(logbook, run)
    if plug != today:
        yield "other plugs", f"its plugs were {plug or 'not logged'}, today's are {today or 'not logged'}"
    stations = set(then.tuneup.jets), set(run.tuneup.jets)
    if all(stations) and stations[0] != stations[1]:
        yield "other hardware", f"its jets stood at {', '.join(sorted(stations[0]))}: another carburetion than today's"
    pull, pull_today = then.conduct.pull, run.conduct.pull
    if pull is not None and pull_today is not None and pull.value != pull_today.value:
        yield "other pull", f"it was a {pull.value}, this is a {pull_today.value}"
    if any(is_boiling(reading) for reading in then.readings):
        yield "too hot", "its plugs were at their limit of heat"
    if not knowing.fit(then):
        yield "unfit", "its set was not fit to tune from"


def _distance(then: Run, run: Run) -> tuple[bool, float]:
    places = [one.place.value.casefold() if one.place is not None else "" for one in (then, run)]
    airs = air_state(then.air), air_state(run.air)
    if airs[0] is None or airs[1] is None:
        return places[0] != places[1], math.inf
    return places[0] != places[1], abs(math.log(airs[0].moist_density_kg_m3 / airs[1].moist_density_kg_m3))


def _proposal(
    logbook: Logbook, before: tuple[Run, ...], run: Run, knowing: Knowing
) -> tuple[Run | None, Estimate | None]:
    """The best result among the fit runs whose readings are settled, and its estimate."""
    kind = next((kind for kind in KINDS if any(kind in logged(one) for one in before)), None)
    scores = [(one, knowing.scored(one, kind)) for one in before if one.readings] if kind is not None else []
    known = [(found.pct, at) for at, (_, found) in enumerate(scores) if not isinstance(found, str)]
    if len(known) < logbook.targets["reference.propose_runs"]:
        return None, None
    for _, at in heapq.nlargest(MOST_LOOKED_AT, known):
        one = scores[at][0]
        if _refusal(logbook, one, run, knowing) is None:
            solved = knowing.solve(one)
            if _is_settled(solved, logbook.targets):
                return one, solved
    return None, None


def _is_settled(solved: Estimate, targets: Targets) -> bool:
    return (
        is_read("mixture", solved)
        and is_read("timing", solved)
        and all(
            abs(state.mixture_pct) <= targets["settled.mixture_pct"]
            and abs(state.timing_deg) <= targets["settled.timing_deg"]
            for state in solved.cylinders
        )
    )
