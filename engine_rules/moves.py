"""How a change moves the engine and its readings: what the gains lead one to expect, and what was seen."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from engine_rules.answers import MARKS, Answer, answers
from engine_rules.fit import readable
from engine_rules.logbook import Engine, Logbook, Run
from engine_rules.looks import Gains
from engine_rules.settings import Setting, SettingReader
from engine_rules.targets import Targets

Array = NDArray[np.float64]

# Kind of reading -> its name for many, its unit, and what one unit of it is written as.
NAMES = {
    "ring": ("rings", " mm", 1.0),
    "shell_ring": ("shell rings", " turns", 1.0),
    "strap_mark": ("marks", " % of the strap", 100.0),
    "egt": ("pipes", " K", 1.0),
    "lambda": ("lambda", " % fuel", 1.0),
    "bank_lambda": ("lambda of the banks", " % fuel", 1.0),
}


@dataclass(frozen=True, slots=True)
class Moved:
    """What a change was expected to move and what was seen to move, in words.

    most_pct: the most torque that such a change is worth near best, either way. back_is_harder: undoing it goes leaner,
    earlier or hotter somewhere.
    """

    expected: str
    seen: str
    most_pct: float
    back_is_harder: bool


@dataclass(frozen=True, slots=True, eq=False)
class Logged:
    """A run as far as it moves readings, and what was read of it by kind and place; None where no set was fit."""

    run: Run
    setting: Setting | str
    answered: Mapping[tuple[str, int | str], Answer] | None


def as_logged(logbook: Logbook, reader: SettingReader, run: Run) -> Logged:
    """What the log holds of one run."""
    answered = {(one.kind, one.of): one for one in answers(logbook, run)} if readable(logbook, run) else None
    return Logged(run, reader.read(run), answered)


def moved_between(logbook: Logbook, then: Logged, now: Logged, gains: Gains) -> Moved:
    """From one run to the next, by these gains; `logbook` holds the shares and the exponent to reckon with."""
    before, after = then.setting, now.setting
    for one, setting in ((then, before), (now, after)):
        if isinstance(setting, str):
            return Moved(f"not known: of run {one.run.name}, {setting}", "", 0.0, True)
    assert isinstance(before, Setting) and isinstance(after, Setting)
    mixture, timing, heat = _state(logbook, before, after)
    most_pct = _most_pct(logbook.targets, mixture, timing)
    said = [f"{name} {value:+.1f}{unit}" for name, value, unit in (
        ("mixture", float(mixture.mean()), " % fuel"), ("timing", float(timing.mean()), "°"),
        ("plugs", float(heat.mean()), " steps hotter")) if abs(value) >= 0.05]  # fmt: skip
    if most_pct >= 0.005:
        said.append(f"near best worth no more than ±{most_pct:.2g} % of torque")
    hard = bool((after.flow_pct > before.flow_pct).any() or (after.trim_pct > before.trim_pct).any())
    hard = hard or bool((after.timing_deg < before.timing_deg).any() or (heat < 0).any())
    numbers = logbook.engine.numbers
    pairs = zip(numbers, before.families, after.families, strict=True)
    other = {number for number, family, family_now in pairs if family != family_now}
    expected, seen = _readings(numbers, then, now, _answering(gains, mixture, timing, heat), other)
    return Moved("; ".join([*said, *expected]), seen, most_pct, hard)


def _state(logbook: Logbook, before: Setting, after: Setting) -> tuple[Array, Array, Array]:
    """Change of mixture (%), timing (degrees) and plug heat (steps) of each cylinder."""
    engine = logbook.engine
    mixture = _shares(engine) @ (after.flow_pct - before.flow_pct) + after.trim_pct - before.trim_pct
    if before.air_pct is not None and after.air_pct is not None and engine.stations:
        dry, moist = (now - then for now, then in zip(after.air_pct, before.air_pct, strict=True))
        mixture = mixture + logbook.targets["air.fuel_exponent"] * moist - dry
    heat = [
        float(then - now) if then is not None and now is not None else 0.0
        for then, now in zip(before.rungs, after.rungs, strict=True)
    ]
    return mixture, after.timing_deg - before.timing_deg, np.array(heat)


def _shares(engine: Engine) -> Array:
    names = [one.name for one in engine.stations]
    return np.array([[place.shares.get(name, 0.0) for name in names] for place in engine.cylinders])


def _most_pct(targets: Targets, mixture: Array, timing: Array) -> float:
    """The loss curves over the whole of the step, at their steepest, by how far their sources differ."""
    fuel = max(targets["loss.rich_pct_per_pct2"], targets["loss.lean_pct_per_pct2"])
    torque = fuel * float(np.mean(mixture**2)) + targets["loss.timing_pct_per_deg2"] * float(np.mean(timing**2))
    return targets["loss.sources_differ"] * torque


def _answering(gains: Gains, mixture: Array, timing: Array, heat: Array) -> Callable[[str], Array]:
    """What each kind of reading should move by, cylinder by cylinder."""
    by_kind = {
        "ring": gains.ring_mm_per_pct * mixture,
        "shell_ring": gains.shell_ring_turns_per_pct * mixture,
        "strap_mark": gains.strap_share_per_deg * timing
        + gains.strap_share_per_pct * mixture
        + gains.strap_share_per_heat_step * heat,
        "egt": gains.egt_k_per_pct * mixture + gains.egt_k_per_deg * timing,
    }
    return lambda kind: by_kind.get(kind, mixture)


def _readings(
    numbers: Sequence[int], then: Logged, now: Logged, answering: Callable[[str], Array], other: Set[int]
) -> tuple[list[str], str]:
    """What is expected of each kind of reading, in words, and what was seen; means over the cylinders read twice.

    other: cylinders with a plug of another kind, whose marks are left out.
    """
    early, late = then.answered, now.answered
    if early is None or late is None:
        unfit = [one.run.name for one in (then, now) if one.answered is None]
        return [], f"not compared: no set fit to read on run {' and '.join(unfit)}"
    place = {number: at for at, number in enumerate(numbers)}
    expected, seen = [], []
    for kind, (name, unit, scale) in NAMES.items():
        pairs = [
            (early[key], one)
            for key, one in late.items()
            if key[0] == kind and key in early and not (kind in MARKS and key[1] in other)
        ]
        if pairs:
            each = answering(kind).tolist()
            should = fmean(fmean(each[place[at]] for at in one.cylinders) for _, one in pairs)
            expected.append(f"{name} {scale * should:+.2g}{unit}")
            seen.append(f"{name} {_mean_words(pairs, scale)}{unit}")
    if other:
        seen.append("marks on other plugs are not compared")
    return expected, "; ".join(seen) or "nothing was read on both runs"


def _mean_words(pairs: list[tuple[Answer, Answer]], scale: float) -> str:
    mean = fmean(late.amount - early.amount for early, late in pairs)
    sd = math.sqrt(sum(early.sd**2 + late.sd**2 for early, late in pairs)) / len(pairs)
    return f"{scale * mean:+.2g} ± {scale * sd:.1g}"
