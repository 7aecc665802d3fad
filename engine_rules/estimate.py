"""All the readings of one run -> mixture and timing error of each cylinder, with spread.

A linear Gaussian model, small and solved exactly, with two safeguards that hold whatever was read:

- Bounded. A reading further than `prior.set_aside_sd` from what the others of its family (signs of mixture, strap
  marks, exhaust probes) lead one to expect is set aside: it counts only up to that bound. It is clipped and not
  dropped, or a still leaner ring could, by being dropped, make its cylinder richer. The family alone is the judge: were
  a probe judged by rings, a leaner ring could move the probe's bound and through it make another cylinder richer.
- Monotone. No leaner ring, shell ring or lambda makes any cylinder richer, and no longer strap mark lowers any timing.
  Under the targets as shipped exact conditioning keeps to this by itself, but for a bank's lambda, which holds the mean
  of its bank: a leaner ring on one cylinder would make its neighbours richer. There, a cylinder is solved from all
  readings but those that would pull it the wrong way: the exact answer to somewhat less evidence, as its spread says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from engine_rules.advice import SetAside
from engine_rules.carry import Belief
from engine_rules.conditioning import JointModel, joint_model
from engine_rules.logbook import Cell, Engine, Finding, Logbook, Run
from engine_rules.looks import Gains, Look, Looks, gains_from, gather
from engine_rules.targets import Targets

Array = NDArray[np.float64]

ASIDE = 1e-6  # a reading that its bound moved by more was set aside; less is rounding


@dataclass(frozen=True, slots=True)
class Contribution:
    """How far one reading moved a cylinder. cell and from_cylinder are None for the rest of the set taken together."""

    text: str
    cell: Cell | None
    kind: str
    from_cylinder: int | None
    mixture_pct: float
    timing_deg: float


@dataclass(frozen=True, slots=True)
class CylinderState:
    """One cylinder against target; `own` is its difference from the mean of all cylinders.

    The contributions add up to mixture_pct and timing_deg, for the prior stands at target. usual_mixture: against
    the usual target, with its spread, where a reference set has moved the target; else None.
    """

    cylinder: int
    mixture_pct: float
    mixture_sd: float
    timing_deg: float
    timing_sd: float
    own_mixture_pct: float
    own_mixture_sd: float
    own_timing_deg: float
    own_timing_sd: float
    contributions: tuple[Contribution, ...]
    usual_mixture: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """What the readings of one run say.

    mean, covariance: mixture of each cylinder in the order of the engine (% fuel), then timing (degrees); 2N and
    2N x 2N. does_not_apply: (cylinder, kind, cell). mixture_witnesses, timing_witnesses: cylinder -> kinds of reading
    used on it ('ring', 'shell_ring', 'lambda', 'bank_lambda', 'egt'; and 'strap_mark').
    """

    cylinders: tuple[CylinderState, ...]
    common_mixture_pct: float
    common_mixture_sd: float
    common_timing_deg: float
    common_timing_sd: float
    mean: Array
    covariance: Array
    set_aside: tuple[SetAside, ...]
    does_not_apply: tuple[tuple[int, str, Cell | None], ...]
    notes: tuple[Finding, ...]
    mixture_witnesses: Mapping[int, tuple[str, ...]]
    timing_witnesses: Mapping[int, tuple[str, ...]]

    def cylinder(self, number: int) -> CylinderState:
        """The state of one cylinder. Raises KeyError when the engine lacks it."""
        for state in self.cylinders:
            if state.cylinder == number:
                return state
        raise KeyError(number)


def estimate(
    logbook: Logbook,
    run: Run,
    disregard: Set[tuple[int, str]] = frozenset(),
    noise_factor: float = 1.0,
    gains: Gains | None = None,
    belief: Belief | None = None,
) -> Estimate:
    """Mixture and timing error of every cylinder of the engine, from one run.

    disregard: (cylinder, kind) left out, kind 'ring', 'shell_ring', 'strap_mark', 'egt' or 'lambda'. noise_factor:
    widens the spread of rings and strap marks. gains: learned ones, in place of those of the targets. belief: what
    earlier runs left, in place of errors of zero with the spread of the targets.
    """
    engine, targets = logbook.engine, logbook.targets
    looks = gather(logbook, run, disregard, noise_factor, gains or gains_from(targets))
    count = len(engine.numbers)
    expected = belief.mean if belief is not None else np.zeros(2 * count)
    model = joint_model(looks.used, _prior(engine, targets, belief), expected)
    bounded, set_aside = _bound(model, targets["prior.set_aside_sd"])
    weights = model.weights(np.ones(len(looks.used), dtype=bool))
    weights, notes = _doubt_probes(engine, targets, looks, model, bounded, weights, expected)
    mean, covariance = expected + weights @ bounded, model.error_covariance(weights)
    common, spread = _common(mean, covariance)
    return Estimate(
        cylinders=_states(engine, looks.used, weights * bounded, mean, covariance, belief),
        common_mixture_pct=common[0],
        common_mixture_sd=spread[0],
        common_timing_deg=common[1],
        common_timing_sd=spread[1],
        mean=mean,
        covariance=covariance,
        set_aside=set_aside,
        does_not_apply=looks.not_applying,
        notes=(*looks.notes, *notes),
        mixture_witnesses=_witnesses(engine, looks.used, ("mixture", "egt")),
        timing_witnesses=_witnesses(engine, looks.used, ("strap",)),
    )


def _prior(engine: Engine, targets: Targets, belief: Belief | None) -> Array:
    """Covariance of the state before anything is read: what earlier runs left, or a common error and each one's own."""
    count = len(engine.numbers)
    covariance = np.zeros((2 * count + 2, 2 * count + 2))
    for at, quantity in ((0, "mixture_{}_pct"), (count, "timing_{}_deg")):
        common, own = (targets["prior." + quantity.format(part)] for part in ("common", "own"))
        covariance[at : at + count, at : at + count] = common**2 + own**2 * np.eye(count)
    if belief is not None:
        covariance[: 2 * count, : 2 * count] = belief.covariance
    covariance[-2, -2] = targets["strap.heat_steps_sd"] ** 2
    covariance[-1, -1] = targets["egt.offset_sd_k"] ** 2
    return covariance


def _bound(model: JointModel, bound_sd: float) -> tuple[Array, tuple[SetAside, ...]]:
    """The readings, each kept within so many spreads of what the others of its family expect; and which were not."""
    expect, room = _expectations(model)
    room = bound_sd * room
    bounded = model.values
    # Each round takes every reading half way to its bound; all steps are monotone, so the outcome is, and readings in
    # pairs cannot chase each other. Bounds move with the bounded readings, so one wild reading does not drag them.
    for _ in range(400):
        middle = expect @ bounded
        nearer = (bounded + np.clip(model.values, middle - room, middle + room)) / 2.0
        settled = np.allclose(nearer, bounded, rtol=0.0, atol=1e-10)
        bounded = nearer
        if settled:
            break
    middle = expect @ bounded
    aside = tuple(
        SetAside(
            str(look.cell) if look.cell else None,
            _why_aside(look, model.foretold[at] + middle[at], model.foretold[at] + bounded[at]),
            look.cylinder,
        )
        for at, look in enumerate(model.looks)
        if abs(model.values[at] - bounded[at]) > ASIDE
    )
    return bounded, aside


def _expectations(model: JointModel) -> tuple[Array, Array]:
    """Weights, n x n, that foretell each reading from the others of its family; and the spread of its surprise, n."""
    count = len(model.looks)
    expect, room = np.zeros((count, count)), np.zeros(count)
    readings = model.seen + np.diag(model.sds**2)
    everything = np.ones(count, dtype=bool)
    for at, look in enumerate(model.looks):
        others = model.family(look.family)
        others[at] = False
        weights = model.best_weights(model.seen[at : at + 1], others, everything)[0]
        expect[at] = weights
        room[at] = np.sqrt(readings[at, at] - 2.0 * weights @ model.seen[at] + weights @ readings @ weights)
    return expect, room


def _why_aside(look: Look, expected: float, kept: float) -> str:
    where = f" on cylinder {look.cylinder}" if look.cylinder is not None else ""
    match look.family:
        case "mixture":
            said = f"means {look.value:+.0f} % fuel, where the other signs of mixture make {expected:+.0f} % likely"
            return f"{look.text}{where} {said}; it counts as {kept:+.0f} %"
        case "strap":
            said = f"means {look.value:+.1f}° of timing, where the other marks make {expected:+.1f}° likely"
            return f"{look.text}{where} {said}; it counts as {kept:+.1f}°"
    side = "above" if look.value > expected else "below"
    said = f"stands {abs(look.value - expected):.0f} K {side} what the other probes make likely"
    return f"{look.text}{where} {said}; it counts as {abs(kept - expected):.0f} K {side}"


def _doubt_probes(
    engine: Engine, targets: Targets, looks: Looks, model: JointModel, bounded: Array, weights: Array, expected: Array
) -> tuple[Array, list[Finding]]:
    """The weights, with a probe left out where it is in doubt and the answer without it is the safer one.

    In doubt for its own cylinder's mixture: a probe where the exhaust may be past stoichiometric, very lean being as
    cold as rich. There, its other signs call it leaner than `egt.rich_side_pct`, or it has none. In doubt for all: a
    probe that was set aside, for a dead one reads cold. Safer is leaner (more fuel) and more advanced (less timing).
    """
    count, numbers = len(engine.numbers), engine.numbers
    first = expected + model.weights(model.family("mixture")) @ bounded
    probes = {look.cylinder: at for at, look in enumerate(looks.used) if look.kind == "egt"}
    aside = model.family("egt") & (np.abs(model.values - bounded) > ASIDE)
    weights, notes = weights.copy(), []
    for row in range(2 * count):
        own = probes.get(numbers[row]) if row < count else None
        alone = row < count and not looks.of_mixture(numbers[row])
        trials = [~aside]
        if own is not None and (alone or first[row] < targets["egt.rich_side_pct"]):
            # Beside the one before, not in its place: what is open to a rich cylinder must be open to a leaner one.
            trials.append(~aside & (np.arange(len(aside)) != own))
        forward = model.family("mixture" if row < count else "strap")
        for use in trials:
            if use.all():
                continue
            without = model.best_weights(model.cross[row : row + 1], use, forward)[0]
            change = float((without - weights[row]) @ bounded)
            if (change if row >= count else -change) > 0.0:
                weights[row] = without
                if own is not None and not use[own] and bounded[own] < 0.0:
                    notes.append(_not_rich(looks.used[own], alone, bool(aside[own])))
    return weights, notes


def _not_rich(look: Look, alone: bool, aside: bool) -> Finding:
    if aside:
        why = "it is further off than the other probes explain"
    else:
        why = "no ring or lambda tells very lean from rich" if alone else "its other signs call it very lean"
    return Finding(f"{look.text} on cylinder {look.cylinder} is cold, but not read as rich: {why}", look.cell)


def _states(
    engine: Engine, looks: tuple[Look, ...], moves: Array, mean: Array, covariance: Array, belief: Belief | None
) -> tuple[CylinderState, ...]:
    """Each cylinder's part of the result. moves: 2N x n, what each reading moved from what was expected."""
    count = len(engine.numbers)
    lines = [
        (*_carried(belief, at, count), *_contributions(cylinder, looks, moves[at], moves[count + at]))
        for at, cylinder in enumerate(engine.numbers)
    ]
    return _stated(engine.numbers, mean, covariance, lines)


def _stated(
    numbers: Sequence[int],
    mean: Array,
    covariance: Array,
    lines: Sequence[tuple[Contribution, ...]],
) -> tuple[CylinderState, ...]:
    count = len(numbers)
    apart = np.kron(np.eye(2), np.eye(count) - 1.0 / count)
    own = apart @ mean
    own_sd = np.sqrt(np.maximum(np.diag(apart @ covariance @ apart.T), 0.0))
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return tuple(
        CylinderState(
            cylinder=cylinder,
            mixture_pct=float(mean[at]),
            mixture_sd=float(sd[at]),
            timing_deg=float(mean[count + at]),
            timing_sd=float(sd[count + at]),
            own_mixture_pct=float(own[at]),
            own_mixture_sd=float(own_sd[at]),
            own_timing_deg=float(own[count + at]),
            own_timing_sd=float(own_sd[count + at]),
            contributions=lines[at],
        )
        for at, cylinder in enumerate(numbers)
    )


def against(solved: Estimate, target: Array, doubt: Array, text: str) -> Estimate:
    """The same estimate against other targets: the errors, 2N, at which the engine ran its best, with covariance."""
    numbers = [state.cylinder for state in solved.cylinders]
    count = len(numbers)
    mean, covariance = solved.mean - target, solved.covariance + doubt
    lines = [
        (*state.contributions, Contribution(text, None, "reference", None, -target[at], -target[count + at]))
        for at, state in enumerate(solved.cylinders)
    ]
    common, spread = _common(mean, covariance)
    moved = zip(_stated(numbers, mean, covariance, lines), solved.cylinders, strict=True)
    return replace(
        solved,
        cylinders=tuple(replace(one, usual_mixture=(usual.mixture_pct, usual.mixture_sd)) for one, usual in moved),
        common_mixture_pct=common[0],
        common_mixture_sd=spread[0],
        common_timing_deg=common[1],
        common_timing_sd=spread[1],
        mean=mean,
        covariance=covariance,
    )


def _common(mean: Array, covariance: Array) -> tuple[tuple[float, float], tuple[float, float]]:
    """Mixture and timing error of the whole engine, and their spreads."""
    count = len(mean) // 2
    level = np.kron(np.eye(2), np.full((1, count), 1.0 / count))
    spread = np.sqrt(np.diag(level @ covariance @ level.T))
    return (float(mean[:count].mean()), float(mean[count:].mean())), (float(spread[0]), float(spread[1]))


def _carried(belief: Belief | None, at: int, count: int) -> tuple[Contribution, ...]:
    if belief is None:
        return ()
    text = f"expected from the runs up to {belief.since}"
    return (Contribution(text, None, "carried", None, float(belief.mean[at]), float(belief.mean[count + at])),)


def _contributions(
    cylinder: int, looks: tuple[Look, ...], mixture_pct: Array, timing_deg: Array
) -> tuple[Contribution, ...]:
    """The cylinder's own readings one by one, then the rest of the set in one line for mixture and one for timing."""
    own = np.array([cylinder in look.cylinders for look in looks], dtype=bool)
    lines = [
        Contribution(look.text, look.cell, look.kind, look.cylinder, float(mixture_pct[at]), float(timing_deg[at]))
        for at, look in enumerate(looks)
        if own[at]
    ]
    if not own.all():
        rest_mixture, rest_timing = float(mixture_pct[~own].sum()), float(timing_deg[~own].sum())
        lines.append(Contribution("the rest of the set, in mixture", None, "set", None, rest_mixture, 0.0))
        lines.append(Contribution("the rest of the set, in timing", None, "set", None, 0.0, rest_timing))
    return tuple(lines)


def _witnesses(engine: Engine, looks: tuple[Look, ...], families: tuple[str, ...]) -> Mapping[int, tuple[str, ...]]:
    return {
        cylinder: tuple(look.kind for look in looks if look.family in families and cylinder in look.cylinders)
        for cylinder in engine.numbers
    }
