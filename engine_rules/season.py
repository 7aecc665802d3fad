"""The season run by run: what was read beside its goal, results in standard air, what was changed, what was learned.

A set that is not fit to tune from, and a spoiled plug, leave a gap: what they show is no course of the engine.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

from engine_rules.changes import changes
from engine_rules.fit import readable, spoiled
from engine_rules.logbook import Logbook, Run
from engine_rules.looks import applies
from engine_rules.reference import Reference
from engine_rules.response import Learned, beliefs, responses_before
from engine_rules.season_result import ResultCourse, result_course
from engine_rules.session import Session
from engine_rules.words import word_lists

READ_KINDS = ("ring", "shell_ring", "strap_mark", "egt")
NEWEST = 100
# Fewer make no course.
LEAST_RUNS = 3


@dataclass(frozen=True, slots=True)
class Course:
    """One kind of reading over the runs. Units: mm, turns, share of strap, °C.

    amounts: by run, cylinder -> what was read. goal: the lowest and highest that are on target, None without one.
    """

    kind: str
    amounts: tuple[Mapping[int, float], ...]
    goal: tuple[float, float] | None

    @property
    def runs_read(self) -> int:
        """How many runs it was read on."""
        return sum(1 for one in self.amounts if one)


@dataclass(frozen=True, slots=True)
class Season:
    """The newest runs, oldest first. Everything by run stands in their order.

    total: of the whole log. unfit: names of runs whose set is not fit to tune from. changed: what each run changed
    against the one before it, in words. beliefs: what was believed of this engine's answers after each run. reference:
    the set in use for the newest run that was read.
    """

    runs: tuple[Run, ...]
    total: int
    unfit: tuple[str, ...]
    changed: tuple[tuple[str, ...], ...]
    courses: tuple[Course, ...]
    result: ResultCourse | None
    beliefs: tuple[tuple[Learned, ...], ...]
    reference: Reference | None


def season(logbook: Logbook, newest: int = NEWEST) -> Season:
    """The newest runs of the log. Raises LogbookError where there is none."""
    first = max(0, len(logbook.runs) - newest)
    runs = logbook.runs[first:]
    reference = Session(logbook).reference(logbook.run())
    fit = [readable(logbook, run) for run in runs]
    every = [(logbook.runs[at - 1] if at else None, logbook.runs[at]) for at in range(first, len(logbook.runs))]
    return Season(
        runs=runs,
        total=len(logbook.runs),
        unfit=tuple(run.name for run, one in zip(runs, fit, strict=True) if run.readings and not one),
        changed=tuple(() if then is None else changes(logbook, then, now) for then, now in every),
        courses=tuple(_course(logbook, runs, fit, kind, reference) for kind in READ_KINDS),
        result=result_course(logbook, first, LEAST_RUNS),
        beliefs=tuple(beliefs(logbook, at + 1) for at in range(first, len(logbook.runs))),
        reference=reference,
    )


def _course(
    logbook: Logbook, runs: Sequence[Run], fit: Sequence[bool], kind: str, reference: Reference | None
) -> Course:
    amounts = tuple(_amounts(logbook, run, kind) if one else {} for run, one in zip(runs, fit, strict=True))
    return Course(kind, amounts, _goal(logbook, kind, reference))


def _amounts(logbook: Logbook, run: Run, kind: str) -> dict[int, float]:
    """Cylinder -> what was read of it, spoiled plugs aside."""
    found: dict[int, float] = {}
    for reading in run.readings:
        if reading.cylinder not in logbook.engine.numbers or spoiled(reading):
            continue
        if kind == "egt":
            amount = None if reading.egt_c is None else reading.egt_c.value
        else:
            sign = reading.sign(kind)
            if sign is None or sign.certainty <= 0.0 or not applies(logbook.engine, kind):
                continue
            amount = sign.amount if sign.amount is not None else word_lists()[kind].amounts.get(sign.word or "")
        if amount is not None:
            found[reading.cylinder] = amount
    return found


def _goal(logbook: Logbook, kind: str, reference: Reference | None) -> tuple[float, float] | None:
    """Where the set belongs: as near its target as counts for settled; for exhaust, at the reference set's level."""
    targets, engine = logbook.targets, logbook.engine
    if kind == "egt":
        there = None if reference is None else list(_amounts(logbook, reference.run, kind).values())
        if not there:
            return None
        return fmean(there) - targets["reference.egt_k"], fmean(there) + targets["reference.egt_k"]
    gains = responses_before(logbook, logbook.run()).gains(targets)
    mixture = timing = 0.0
    if reference is not None:
        count = len(engine.numbers)
        mixture, timing = float(reference.target[:count].mean()), float(reference.target[count:].mean())
    if kind == "strap_mark":
        middle = targets[f"strap.target_{engine.run_length}"]
        middle += gains.strap_share_per_deg * timing + gains.strap_share_per_pct * mixture
        half = abs(gains.strap_share_per_deg) * targets["settled.timing_deg"]
        return max(0.0, middle - half), min(1.0, middle + half)
    gain = gains.ring_mm_per_pct if kind == "ring" else gains.shell_ring_turns_per_pct
    middle = targets["ring.target_mm" if kind == "ring" else "shell_ring.target_turns"] + gain * mixture
    half = abs(gain) * targets["settled.mixture_pct"]
    return max(0.0, middle - half), middle + half
