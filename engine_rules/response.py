"""What this engine's own log says that each change does: what was learned, for the estimate, the trace and the sheets.

`learner` does the learning; here its pages are read. A value that the workbook gives as Yours is where learning starts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from engine_rules.kept import SameLog
from engine_rules.learner import EXPONENT, LEARNED, SHARES_AT, Learner, Page
from engine_rules.logbook import Engine, Finding, Logbook, Run
from engine_rules.looks import GainDoubt, Gains, gains_from
from engine_rules.targets import Targets

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Learned:
    """One value learned: in the unit of its target, with its spread, from so many changes; the usual one beside it."""

    key: str
    value: float
    sd: float
    changes: int
    usual: float


@dataclass(frozen=True, slots=True)
class LearnedShare:
    """The share of a cylinder's fuel that comes from a station, learned from so many changes of unequal jets."""

    cylinder: int
    station: str
    value: float
    sd: float
    changes: int
    usual: float


@dataclass(frozen=True, slots=True)
class Responses:
    """What the log had taught by some run. set_aside: (run, why) of those that teach nothing; notes: what it lacks."""

    values: tuple[Learned, ...] = ()
    shares: tuple[LearnedShare, ...] = ()
    set_aside: tuple[tuple[str, str], ...] = ()
    notes: tuple[Finding, ...] = ()

    def value(self, key: str) -> Learned | None:
        """One learned value, or None where the log says nothing of it."""
        return next((one for one in self.values if one.key == key), None)

    def gains(self, targets: Targets) -> Gains:
        """The gains for the estimate: the learned ones in place of the usual, with what their spread adds."""
        taught = {one.key: one for one in self.values}
        usual = gains_from(targets.overridden({key: one.value for key, one in taught.items()}))
        sd = {key: one.sd for key, one in taught.items()}
        mixture, timing = targets["settled.mixture_pct"], targets["settled.timing_deg"]

        def both(by_mixture: str, by_timing: str) -> float:
            return float(np.hypot(sd.get(by_mixture, 0.0) * mixture, sd.get(by_timing, 0.0) * timing))

        # At the edge of the settled band, whatever was read: a spread that hung on the reading would let a leaner one
        # count for less. Far from target it is too small, and there the direction is plain.
        doubt = GainDoubt(
            ring_mm=sd.get("ring.mm_per_pct", 0.0) * mixture,
            shell_ring_turns=sd.get("shell_ring.turns_per_pct", 0.0) * mixture,
            strap_share=both("strap.share_per_pct", "strap.share_per_deg"),
            egt_k=both("egt.k_per_pct", "egt.k_per_deg"),
        )
        return replace(usual, doubt=doubt)

    def taught(self, logbook: Logbook) -> Logbook:
        """The log with the learned shares and the learned exponent of the air in place of the usual ones."""
        exponent = self.value(EXPONENT)
        targets = logbook.targets if exponent is None else logbook.targets.overridden({EXPONENT: exponent.value})
        return replace(logbook, engine=self.engine(logbook.engine), targets=targets)

    def engine(self, engine: Engine) -> Engine:
        """The engine with the learned shares of fuel in place of the usual ones."""
        if not self.shares:
            return engine
        taught: dict[int, dict[str, float]] = {}
        for one in self.shares:
            taught.setdefault(one.cylinder, {})[one.station] = one.value
        return replace(
            engine,
            cylinders=tuple(
                replace(place, shares=taught.get(place.number, place.shares)) for place in engine.cylinders
            ),
        )


def responses_before(logbook: Logbook, run: Run) -> Responses:
    """What the runs before this one teach.

    This run's own readings stay out, or a leaner ring could change the gain that all rings are read by.
    """
    return responses(logbook, logbook.runs.index(run))


def responses(logbook: Logbook, count: int | None = None) -> Responses:
    """What the first so many runs of the log teach; all of them without a count."""
    return _history(SameLog(logbook)).before(len(logbook.runs) if count is None else count)


def beliefs(logbook: Logbook, count: int) -> tuple[Learned, ...]:
    """Every value as it was believed after the first so many runs, those on which no change bore yet too."""
    return _history(SameLog(logbook)).values(count)


@lru_cache(maxsize=2)
def _history(of: SameLog) -> _History:
    return _History.of(of.logbook)


@dataclass(frozen=True, slots=True, eq=False)
class _History:
    """The whole learning of one log, a page before each run and one after the last."""

    logbook: Logbook
    pages: tuple[Page, ...]
    asides: tuple[tuple[str, str], ...]
    notes: tuple[Finding, ...]

    @staticmethod
    def of(logbook: Logbook) -> _History:
        learner = Learner.begin(logbook)
        pages = [learner.page()]
        for run in logbook.runs:
            learner.take(run)
            pages.append(learner.page())
        return _History(logbook, tuple(pages), tuple(learner.asides), tuple(learner.notes))

    def values(self, index: int) -> tuple[Learned, ...]:
        page, targets = self.pages[index], self.logbook.targets
        return tuple(
            Learned(key, _clamped(key, page.mean[at], targets), float(page.sd[at]), int(page.changes[at]), targets[key])
            for at, key in enumerate(LEARNED)
        )

    def before(self, index: int) -> Responses:
        page = self.pages[index]
        values = tuple(one for one in self.values(index) if one.changes)
        return Responses(values, self._shares(page), self.asides[: page.asides], self.notes[: page.notes])

    def _shares(self, page: Page) -> tuple[LearnedShare, ...]:
        engine, changes = self.logbook.engine, int(page.changes[-1])
        stations = [one.name for one in engine.stations]
        if not changes or not page.sd[SHARES_AT:].any():
            return ()
        table = page.mean[SHARES_AT:].reshape(len(engine.cylinders), len(stations))
        spread = page.sd[SHARES_AT:].reshape(table.shape)
        return tuple(
            LearnedShare(place.number, name, float(share), float(sd), changes, place.shares.get(name, 0.0))
            for place, row, sds in zip(engine.cylinders, table, spread, strict=True)
            for name, share, sd in zip(stations, _proper(row), sds, strict=True)
        )


def _clamped(key: str, value: float, targets: Targets) -> float:
    entry = targets.entry(key)
    return float(min(max(value, entry.lowest), entry.highest))


def _proper(shares: Array) -> Array:
    """Shares that are not below zero and add up to one."""
    positive = np.maximum(shares, 0.0)
    return np.asarray(positive / positive.sum())


def learned_words(one: Learned, targets: Targets) -> str:
    """'learned from 14 changes: 0.071 ± 0.012 share per degree, usual 0.07'."""
    unit = targets.entry(one.key).unit
    return f"learned from {_changes(one.changes)}: {one.value:.3g} ± {one.sd:.2g} {unit}, usual {one.usual:g}"


def share_words(one: LearnedShare) -> str:
    """'cylinder 1 takes 0.52 ± 0.06 of its fuel from LF, usual 0.45: learned from 6 changes'."""
    return (
        f"cylinder {one.cylinder} takes {one.value:.2f} ± {one.sd:.2f} of its fuel from {one.station}, usual "
        f"{one.usual:.2f}: learned from {_changes(one.changes)}"
    )


def _changes(count: int) -> str:
    return f"{count} change{'s' if count != 1 else ''}"
