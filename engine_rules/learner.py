"""Learning from one run after another what this engine answers to each change.

Each reading has its own level on this engine, and what was changed moves it by the gains that are being learned. Levels
may wander and are never trusted for long, so what counts is the difference between runs. The belief starts at the
targets and is sharpened run by run by an extended Kalman filter: the gains multiply the shares, so each run is taken as
linear around the present belief, and what that leaves out is added to its noise. Source: textbook Kalman filter, such
as Bar-Shalom, Li and Kirubarajan 2001, ch. 10 (from memory).

Robust: a single reading that stands far off counts for less (Huber's weight), and so does a run (the weight of a
multivariate t); a run whose readings all together cannot be explained teaches nothing and is named. After two such runs
in a row something has changed that was not logged, and the levels start anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from engine_rules.answers import KINDS, MARKS, Answer, answers
from engine_rules.fit import readable
from engine_rules.logbook import Finding, Logbook, Run
from engine_rules.regression import Coefficients, conditioned, spreads_of_chi_square, surprise
from engine_rules.settings import Setting, SettingReader

Array = NDArray[np.float64]
Places = NDArray[np.intp]

EXPONENT = "air.fuel_exponent"
LEARNED = (
    "ring.mm_per_pct",
    "shell_ring.turns_per_pct",
    "strap.share_per_deg",
    "strap.share_per_pct",
    "strap.share_per_heat_step",
    "egt.k_per_pct",
    "egt.k_per_deg",
    EXPONENT,
)
# Two coefficients that are known stand behind the learned ones, so that every kind of reading has three gains.
_ONE, _ZERO = len(LEARNED), len(LEARNED) + 1
SHARES_AT = len(LEARNED) + 2
_AT = {key: place for place, key in enumerate(LEARNED)}
# By kind: which coefficient multiplies mixture, timing and plug heat.
_BY_MIXTURE = np.array([_AT["ring.mm_per_pct"], _AT["shell_ring.turns_per_pct"], _AT["strap.share_per_pct"],
                        _AT["egt.k_per_pct"], _ONE, _ONE])  # fmt: skip
_BY_TIMING = np.array([_ZERO, _ZERO, _AT["strap.share_per_deg"], _AT["egt.k_per_deg"], _ZERO, _ZERO])
_BY_HEAT = np.array([_ZERO, _ZERO, _AT["strap.share_per_heat_step"], _ZERO, _ZERO, _ZERO])
_KIND = {kind: place for place, kind in enumerate(KINDS)}
# A level that was never seen is this many times wider than one reading of it.
_UNSEEN = 300.0


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """What is known between two runs: coefficients without the levels, their spread, how many changes bore on each.

    changes: of each of LEARNED, then of the shares. asides, notes: how many there were by then.
    """

    mean: Array
    sd: Array
    changes: Array
    asides: int
    notes: int


@dataclass(frozen=True, slots=True, eq=False)
class _Looks:
    """The k readings of a run, linear around the belief.

    kinds: place in KINDS. whose: how each weighs the cylinders, k x N. of_mixture: the rows of the mixture that each
    looks at, k x d. rows: of the readings themselves, k x d. foretold: what the belief expects of them.
    """

    kinds: Places
    of_mixture: Array
    rows: Array
    foretold: Array


@dataclass(slots=True)
class Learner:
    """The belief as it stands, and what it takes to sharpen it by one more run."""

    logbook: Logbook
    belief: Coefficients
    reader: SettingReader
    changes: Array
    slots: dict[tuple[str, int | str], int] = field(default_factory=dict)
    variances: list[float] = field(default_factory=list)  # of one reading, by level
    base: Setting | None = None
    last: Setting | None = None
    rungs: dict[int, int] = field(default_factory=dict)
    families: dict[int, str] = field(default_factory=dict)
    astray: bool = False
    asides: list[tuple[str, str]] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)

    @staticmethod
    def begin(logbook: Logbook) -> Learner:
        """Nothing learned yet."""
        return Learner(logbook, _prior(logbook), SettingReader(logbook), np.zeros(len(LEARNED) + 1))

    @property
    def _fixed(self) -> int:
        """How many coefficients stand before the levels."""
        return SHARES_AT + len(self.logbook.engine.cylinders) * len(self.logbook.engine.stations)

    def page(self) -> Page:
        """What is known now."""
        mean, sd = self.belief.mean[: self._fixed].copy(), self.belief.sd[: self._fixed]
        return Page(mean, sd, self.changes.copy(), len(self.asides), len(self.notes))

    def take(self, run: Run) -> None:
        """Learn from one run, or note why nothing is learned from it."""
        if not run.readings and not run.bank_lambda:
            return
        if not readable(self.logbook, run):
            return
        setting = self.reader.read(run)
        if isinstance(setting, str):
            self.notes.append(Finding(f"nothing is learned from run {run.name}: {setting}"))
            return
        seen = list(answers(self.logbook, run))
        if not seen:
            return
        self._meet_plugs(run, setting)
        if self.base is None or (self.base.air_pct is None and setting.air_pct is not None):
            self.base = setting if self.base is None else replace(self.base, air_pct=setting.air_pct)
        self._wander()
        slots = self._slots(seen)
        if self._learn(run, seen, slots, setting):
            self._count(seen, setting)
            self.last = setting

    # -- levels

    def _slots(self, seen: Sequence[Answer]) -> Places:
        """The coefficient that holds the level of each reading; new ones are added."""
        fresh = [one for one in seen if (one.kind, one.of) not in self.slots]
        if fresh:
            size = len(self.belief.mean)
            mean = np.concatenate([self.belief.mean, [one.amount for one in fresh]])
            covariance = np.zeros((len(mean), len(mean)))
            covariance[:size, :size] = self.belief.covariance
            for place, one in enumerate(fresh, size):
                self.slots[one.kind, one.of] = place
                covariance[place, place] = (_UNSEEN * one.sd) ** 2
                self.variances.append(one.sd**2)
            self.belief = Coefficients(mean, covariance)
        return np.array([self.slots[one.kind, one.of] for one in seen], dtype=np.intp)

    def _wander(self) -> None:
        levels = np.arange(self._fixed, len(self.belief.mean))
        drift = self.logbook.targets["learn.drift"] ** 2
        self.belief.covariance[levels, levels] += drift * np.array(self.variances)

    def _forget(self, slots: Iterable[int]) -> None:
        """Take what is known of these levels away."""
        for slot in slots:
            self.belief.covariance[slot, :] = self.belief.covariance[:, slot] = 0.0
            self.belief.covariance[slot, slot] = _UNSEEN**2 * self.variances[slot - self._fixed]

    def _meet_plugs(self, run: Run, setting: Setting) -> None:
        """Where plugs of another family were fitted, their marks are not compared with those of before."""
        told = False
        for at, number in enumerate(self.logbook.engine.numbers):
            rung, family = setting.rungs[at], setting.families[at]
            if number in self.families and family != self.families[number]:
                self._forget([self.slots[kind, number] for kind in MARKS if (kind, number) in self.slots])
                if not told:
                    told = True
                    text = f"run {run.name} has plugs of another kind: its marks are not compared with earlier ones"
                    self.notes.append(Finding(text, run.places.get("name")))
                self.rungs.pop(number, None)
            self.families[number] = family
            if rung is not None:
                self.rungs.setdefault(number, rung)

    # -- one run

    def _learn(self, run: Run, seen: Sequence[Answer], slots: Places, setting: Setting) -> bool:
        """Condition the belief on the run; False where its readings together cannot be explained."""
        targets, count = self.logbook.targets, len(seen)
        looks = self._looks(seen, slots, setting)
        beyond = np.array([one.amount for one in seen]) - looks.foretold
        own, common = self._noise(seen, looks, setting)
        seen_alone = surprise(self.belief, looks.rows, beyond, np.diag(own) + common)
        # Huber's weight for each reading, then the weight of a multivariate t for the run.
        far = np.maximum(np.abs(seen_alone.in_spreads) / targets["learn.doubt_sd"], 1.0)
        doubted = seen_alone.with_noise(np.diag(own * far) + common)
        squared = doubted.squared_distance
        if spreads_of_chi_square(squared, count) > targets["learn.set_aside_sd"]:
            return self._go_astray(run, slots)
        self.astray = False
        weight = min(1.0, (targets["learn.tail"] + count) / (targets["learn.tail"] + squared))
        self.belief = conditioned(self.belief, doubted.with_noise(doubted.noise / weight))
        return True

    def _go_astray(self, run: Run, slots: Places) -> bool:
        """Set the run aside; where the run before was too, forget the levels. False: nothing was learned."""
        if self.astray:
            self.asides.append((run.name, "nor do those of this run: what is learned of marks starts anew after it"))
            self._forget(int(slot) for slot in slots)
        else:
            why = "its readings do not fit what was changed: a slip in the log, or a change that was not logged"
            self.asides.append((run.name, why))
        self.astray = not self.astray
        return False

    def _looks(self, seen: Sequence[Answer], slots: Places, setting: Setting) -> _Looks:
        assert self.base is not None
        mean, every = self.belief.mean, np.arange(len(seen))
        kinds = np.array([_KIND[one.kind] for one in seen], dtype=np.intp)
        whose = self._whose(seen)
        flow = setting.flow_pct - self.base.flow_pct
        by_air, by_exponent = self._air(setting)
        of_mixture = np.zeros((len(seen), len(mean)))
        of_mixture[:, _AT[EXPONENT]] = by_exponent
        of_mixture[:, SHARES_AT : self._fixed] = (whose[:, :, None] * flow).reshape(len(seen), -1)
        mixture = whose @ (setting.trim_pct - self.base.trim_pct) - by_air + of_mixture @ mean
        timing = whose @ (setting.timing_deg - self.base.timing_deg)
        heat = whose @ self._heat(setting)
        rows, foretold = mean[_BY_MIXTURE[kinds]][:, None] * of_mixture, mean[slots].copy()
        for gains, moved in ((_BY_MIXTURE, mixture), (_BY_TIMING, timing), (_BY_HEAT, heat)):
            rows[every, gains[kinds]] += moved
            foretold += mean[gains[kinds]] * moved
        rows[every, slots] += 1.0
        return _Looks(kinds, of_mixture, rows, foretold)

    def _whose(self, seen: Sequence[Answer]) -> Array:
        place = {number: at for at, number in enumerate(self.logbook.engine.numbers)}
        whose = np.zeros((len(seen), len(place)))
        for row, one in enumerate(seen):
            for number in one.cylinders:
                whose[row, place[number]] = 1.0 / len(one.cylinders)
        return whose

    def _air(self, setting: Setting) -> tuple[float, float]:
        """What the air takes from the mixture whatever the exponent, and what it gives for each unit of it."""
        if setting.air_pct is None or self.base is None or self.base.air_pct is None:
            return 0.0, 0.0
        return setting.air_pct[0] - self.base.air_pct[0], setting.air_pct[1] - self.base.air_pct[1]

    def _heat(self, setting: Setting) -> Array:
        """Steps by which each cylinder's plug is hotter than the first of its family there."""
        pairs = zip(self.logbook.engine.numbers, setting.rungs, strict=True)
        return np.array([0.0 if rung is None else float(self.rungs.get(at, rung) - rung) for at, rung in pairs])

    def _noise(self, seen: Sequence[Answer], looks: _Looks, setting: Setting) -> tuple[Array, Array]:
        """Variance of each reading, k, and the covariance of what they have in common, k x k."""
        targets, mean, kinds = self.logbook.targets, self.belief.mean, looks.kinds
        by_mixture, by_timing = mean[_BY_MIXTURE[kinds]], mean[_BY_TIMING[kinds]]
        own = np.array([one.sd for one in seen]) ** 2
        own += (by_mixture * targets["carry.mixture_own_pct"]) ** 2 + (by_timing * targets["carry.timing_own_deg"]) ** 2
        # What the linear view leaves out: doubt of a gain times doubt of the mixture that it multiplies.
        fuel = slice(_AT[EXPONENT], self._fixed)
        of_mixture, covariance = looks.of_mixture[:, fuel], self.belief.covariance
        mixture = np.einsum("ij,ij->i", of_mixture @ covariance[fuel, fuel], of_mixture)
        own += covariance.diagonal()[_BY_MIXTURE[kinds]] * mixture
        air_pct = 0.0 if setting.air_pct is not None else targets["learn.unknown_air_pct"]
        shared = np.stack(
            [
                np.hypot(targets["carry.mixture_common_pct"], air_pct) * by_mixture,
                targets["carry.timing_common_deg"] * by_timing,
                np.where(kinds == _KIND["egt"], targets["learn.egt_wander_k"], 0.0),
            ]
        )
        return own, shared.T @ shared

    # -- counting

    def _count(self, seen: Sequence[Answer], setting: Setting) -> None:
        """Note which values this change bears on."""
        if self.last is None:
            return
        kinds = {one.kind for one in seen}
        then, now = self.last, setting
        step = now.flow_pct - then.flow_pct
        fuel = bool(step.any()) or bool((now.trim_pct != then.trim_pct).any())
        timing = bool((now.timing_deg != then.timing_deg).any())
        heat = now.rungs != then.rungs and now.families == then.families and None not in (*now.rungs, *then.rungs)
        air = now.air_pct is not None and then.air_pct is not None and now.air_pct != then.air_pct
        bears = {
            "ring.mm_per_pct": fuel and "ring" in kinds,
            "shell_ring.turns_per_pct": fuel and "shell_ring" in kinds,
            "strap.share_per_deg": timing and "strap_mark" in kinds,
            "strap.share_per_pct": fuel and "strap_mark" in kinds,
            "strap.share_per_heat_step": heat and "strap_mark" in kinds,
            "egt.k_per_pct": fuel and "egt" in kinds,
            "egt.k_per_deg": timing and "egt" in kinds,
            EXPONENT: air and self.logbook.engine.carburetion != "EFI",
        }
        self.changes[: len(LEARNED)] += [bears[key] for key in LEARNED]
        self.changes[-1] += bool(len(step)) and float(np.ptp(step)) > 0.0


def _prior(logbook: Logbook) -> Coefficients:
    """The belief before the first run: the targets, the usual shares, and how far an engine may stand from them."""
    engine, targets = logbook.engine, logbook.targets
    stations = [one.name for one in engine.stations]
    mean = np.array([targets[key] for key in LEARNED] + [1.0, 0.0])
    sd = np.abs(mean) * targets["learn.gain_spread"]
    sd[_ONE] = sd[_ZERO] = 0.0
    # Whether an injection follows the air by itself is not logged: anything from not at all to wholly.
    sd[_AT[EXPONENT]] = 0.5 if engine.carburetion == "EFI" else targets["learn.exponent_spread"]
    shares = np.array([[place.shares.get(name, 0.0) for name in stations] for place in engine.cylinders])
    covariance = np.zeros((SHARES_AT + shares.size, SHARES_AT + shares.size))
    covariance[:SHARES_AT, :SHARES_AT] = np.diag(sd**2)
    for at, row in enumerate(shares):
        block = slice(SHARES_AT + at * len(stations), SHARES_AT + (at + 1) * len(stations))
        # As of a Dirichlet distribution: shares that add up to one, and none or all of it is certain.
        covariance[block, block] = (np.diag(row) - np.outer(row, row)) / (targets["learn.share_weight"] + 1.0)
    return Coefficients(np.concatenate([mean, shares.ravel()]), covariance)
