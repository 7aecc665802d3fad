"""What a racer logs of a virtual engine: words for the marks on the plug, gauges, speed. Nonlinear, noisy, biased.

How much each sign answers, how this racer's eye sees it and how each gauge is off are drawn from the engine's seed, far
from any usual value. The words are those that the workbook's drop-downs offer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tests.virtual_engine import FOULED_BELOW_C, Air, State, Tuneup, VirtualEngine

RING = ("none", "trace", "thin line", "wide", "heavy", "all over")
STRAP = ("tip", "short of bend", "at bend", "past bend", "near weld", "at weld")
THREADS = ("none", "one", "two", "three", "more")
SPECKS = ("none", "few black", "many black", "bright")

LOGGED = ("plugs", "egt", "lambda", "one-plug", "off-by-one")


@dataclass(frozen=True, slots=True)
class Look:
    """One cylinder's row: words of the drop-downs, or None where nothing was looked at."""

    ring: str | None = None
    strap_mark: str | None = None
    specks: str | None = None
    porcelain: str | None = None
    centre_wire: str | None = None
    threads: str | None = None
    egt_c: float | None = None
    lambda_ratio: float | None = None


@dataclass(frozen=True, slots=True)
class Observations:
    """All that is logged of one run, and the hidden truth beside it (which no tuner may look at)."""

    air: Air
    tuneup: Tuneup
    looks: dict[int, Look]
    bank_lambda: dict[str, float]
    speed_m_s: float
    full_load_s: float
    clean_cut: bool
    idled_after: bool
    timing_known_safe: bool
    truth: State

    @property
    def fit(self) -> bool:
        """Whether the set may be tuned from: new plugs were used, so the cut alone decides."""
        return self.clean_cut and not self.idled_after

    @property
    def shows_specks(self) -> bool:
        return any(look.specks not in (None, "none") for look in self.looks.values())


@dataclass(frozen=True, slots=True)
class _Eye:
    """How the signs answer on this engine and how its racer sees them. Steps are from one word to the next."""

    ring_step_pct: float
    ring_bias_pct: float
    strap_step_deg: float
    strap_bias_deg: float
    strap_deg_per_lean_pct: float
    strap_deg_per_heat_c: float
    threads_step_c: float
    threads_bias: float
    egt_middle_c: float
    egt_per_rich_pct: float
    egt_per_late_deg: float
    egt_own_c: tuple[float, ...]
    lambda_best: float
    lambda_own: tuple[float, ...]
    lambda_by_bank: bool
    speed_m_s: float
    one_plug: int


class Racer:
    """Runs an engine and logs it, run after run. The same seed and the same tune-ups give the same log."""

    def __init__(self, engine: VirtualEngine, logged: str = "plugs") -> None:
        if logged not in LOGGED:
            raise ValueError(f"logged is one of {', '.join(LOGGED)}")
        self.engine = engine
        self.logged = logged
        self._eye = _draw_eye(np.random.default_rng([engine.seed, 3]), engine)
        self._runs: list[Observations] = []

    def run(self, tuneup: Tuneup, air: Air) -> Observations:
        """One run with that tune-up in that air, as it is logged. Noise depends on the seed and the run's number."""
        rng = np.random.default_rng([self.engine.seed, 4, len(self._runs)])
        state = self.engine.state(tuneup, air)
        fault = rng.random()
        clean_cut, idled = fault >= 0.025, bool(0.025 <= fault < 0.05)
        looks = self._looks(rng, state, fit=clean_cut and not idled)
        seen = Observations(
            air=air,
            tuneup=tuneup,
            looks=looks,
            bank_lambda=self._bank_lambda(rng, state) if self.logged == "lambda" and self._eye.lambda_by_bank else {},
            speed_m_s=self._speed(rng, state, air),
            full_load_s=round(float(rng.uniform(8.5, 11.5)), 1),
            clean_cut=clean_cut,
            idled_after=idled,
            timing_known_safe=False,
            truth=state,
        )
        seen = replace(seen, timing_known_safe=self._known_safe(seen))
        self._runs.append(seen)
        return seen

    def _known_safe(self, seen: Observations) -> bool:
        """A cautious racer says yes to a start a degree inside the limit, later to what has run without a speck."""
        if seen.shows_specks:
            return False
        if not self._runs:
            return bool((seen.truth.knock_margin_deg >= 1.0).all())
        return seen.fit or any(_no_more_advance(seen.tuneup, old.tuneup) for old in self._runs if old.timing_known_safe)

    def _looks(self, rng: np.random.Generator, state: State, fit: bool) -> dict[int, Look]:
        looks = {}
        for at, number in enumerate(self.engine.layout.numbers):
            look = self._look(rng, state, at, fit)
            hidden = self.logged == "one-plug" and number != self._eye.one_plug
            looks[number] = Look() if hidden else look
        return looks

    def _look(self, rng: np.random.Generator, state: State, at: int, fit: bool) -> Look:
        eye, noise = self._eye, rng.normal(0.0, 1.0, 8)
        slips = rng.integers(-1, 2, 3) if self.logged == "off-by-one" else np.zeros(3, dtype=int)
        mixture, timing, tip = (float(x[at]) for x in (state.mixture_pct, state.timing_deg, state.tip_c))
        margin = float(state.knock_margin_deg[at])
        too_hot_c = tip - self.engine.truth.overheated_above_c

        ring_at = _bent((mixture - eye.ring_bias_pct) / eye.ring_step_pct) + 0.35 * noise[0] + (0.0 if fit else 1.3)
        heat_deg = timing - eye.strap_bias_deg - eye.strap_deg_per_lean_pct * mixture
        heat_deg += eye.strap_deg_per_heat_c * (tip - 740.0) + (3.0 if too_hot_c > 0.0 else 0.0)
        strap_at = _bent(heat_deg / eye.strap_step_deg) + 0.30 * noise[1] - (0.0 if fit else 0.8)
        threads_at = 1.5 + eye.threads_bias + (tip - 740.0) / eye.threads_step_c + 0.35 * noise[2]
        return Look(
            ring=_word(RING, 2.0 + ring_at + slips[0]),
            strap_mark=_word(STRAP, 2.0 + strap_at + slips[1]),
            specks=_specks(margin + 0.3 * noise[3]),
            porcelain=_porcelain(mixture + 1.5 * noise[4], tip, too_hot_c + 8.0 * noise[5]),
            centre_wire=_centre_wire(margin + 0.6 * noise[6], too_hot_c),
            threads=_word(THREADS, threads_at + slips[2]),
            egt_c=self._egt(mixture, timing, at, noise[7]) if self.logged == "egt" else None,
            lambda_ratio=self._lambda(rng, mixture, at) if self.logged == "lambda" and not eye.lambda_by_bank else None,
        )

    def _egt(self, mixture: float, timing: float, at: int, noise: float) -> float:
        eye = self._eye
        # Hottest near stoichiometric; leaner than that it falls again.
        rich_of_peak = mixture + 13.0
        cooling = eye.egt_per_rich_pct * (abs(rich_of_peak) - 13.0)
        egt_c = eye.egt_middle_c - cooling - eye.egt_per_late_deg * timing + eye.egt_own_c[at] + 4.0 * noise
        return float(round(egt_c))

    def _lambda(self, rng: np.random.Generator, mixture: float, at: int) -> float:
        ratio = self._eye.lambda_best * (1.0 + self._eye.lambda_own[at]) / (1.0 + mixture / 100.0)
        return round(ratio * float(rng.normal(1.0, 0.008)), 3)

    def _bank_lambda(self, rng: np.random.Generator, state: State) -> dict[str, float]:
        layout = self.engine.layout
        banks: dict[str, list[int]] = {}
        for at, number in enumerate(layout.numbers):
            banks.setdefault(layout.bank(number), []).append(at)
        return {
            bank: self._lambda(rng, float(state.mixture_pct[places].mean()), places[0])
            for bank, places in banks.items()
        }

    def _speed(self, rng: np.random.Generator, state: State, air: Air) -> float:
        power = state.torque_pct / 100.0 * air.dry_kg_m3 / 1.19
        return round(self._eye.speed_m_s * power ** (1.0 / 3.0) * float(rng.normal(1.0, 0.002)), 2)


def _draw_eye(rng: np.random.Generator, engine: VirtualEngine) -> _Eye:
    count = engine.layout.cylinders
    return _Eye(
        ring_step_pct=5.0 * float(np.exp(rng.normal(0.0, 0.35))),
        ring_bias_pct=float(rng.normal(0.5, 1.2)),
        strap_step_deg=3.5 * float(np.exp(rng.normal(0.0, 0.35))),
        strap_bias_deg=float(rng.normal(-0.4, 0.8)),
        strap_deg_per_lean_pct=float(rng.uniform(0.05, 0.25)),
        strap_deg_per_heat_c=float(rng.uniform(0.004, 0.016)),
        threads_step_c=80.0 * float(np.exp(rng.normal(0.0, 0.25))),
        threads_bias=float(rng.normal(0.0, 0.2)),
        egt_middle_c=float(rng.uniform(640.0, 800.0)),
        egt_per_rich_pct=5.0 * float(np.exp(rng.normal(0.0, 0.3))),
        egt_per_late_deg=4.0 * float(np.exp(rng.normal(0.0, 0.35))),
        egt_own_c=tuple(float(x) for x in rng.normal(0.0, 7.0, count)),
        lambda_best=float(rng.normal(0.875, 0.010)),
        lambda_own=tuple(float(x) for x in rng.normal(0.0, 0.006, count)),
        lambda_by_bank=bool(rng.random() < 0.5),
        speed_m_s=float(rng.uniform(42.0, 66.0)),
        one_plug=int(rng.integers(1, count + 1)),
    )


def _bent(steps: float) -> float:
    """A mark moves less and less towards its ends."""
    return 3.2 * float(np.tanh(steps / 3.2))


def _word(words: Sequence[str], place: float) -> str:
    return words[int(np.clip(np.rint(place), 0, len(words) - 1))]


def _specks(margin_deg: float) -> str:
    """Few black at the limit and slightly past it, many black further, bright far past."""
    return SPECKS[int(np.searchsorted([-0.3, 1.0, 3.5], -margin_deg, side="right"))]


def _porcelain(mixture: float, tip_c: float, too_hot_c: float) -> str:
    if too_hot_c > 30.0:
        return "blistered"
    if too_hot_c > 0.0:
        return "glazed"
    if tip_c < FOULED_BELOW_C + 25.0 or mixture > 15.0:
        return "sooty"
    if mixture > 6.0:
        return "grey"
    return "white" if too_hot_c > -45.0 or mixture < -7.0 else "tan"


def _centre_wire(margin_deg: float, too_hot_c: float) -> str:
    """Sharp with headroom; the edge softens as the limit comes near."""
    if margin_deg < -5.0 or too_hot_c > 90.0:
        return "melted"
    if margin_deg < 0.0 or too_hot_c > 20.0:
        return "rounded"
    return "softening" if margin_deg < 2.0 else "sharp"


def _no_more_advance(new: Tuneup, old: Tuneup) -> bool:
    return all(new.total_deg + new.trims[number] <= old.total_deg + old.trims[number] for number in new.trims)
