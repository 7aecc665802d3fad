"""Engines of other forms than the usual virtual one, so that nothing is tuned to the form of a single model.

Best timing hangs on the mixture; losses are lopsided and not square; marks creep as the engine soaks up heat and pipes
are hottest elsewhere; the air moves up to 8 % from run to run; starts are off by up to four jet sizes and 6 degrees.
All ranges are made up, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tests.virtual_engine import (
    FOULED_BELOW_C,
    JET_SIZES,
    Air,
    Floats,
    Options,
    State,
    Tuneup,
    VirtualEngine,
)
from tests.virtual_looks import Observations, Racer
from tests.virtual_oracle import MOST_TRIM_DEG, Best, best, moving_groups

WORST_START_DEG = 6
WORST_START_SIZES = 4
_PRESSURE_SWING = 0.04  # of each run's pressure against the day's: two runs differ by up to 8 %


@dataclass(frozen=True, slots=True)
class OtherEngine(VirtualEngine):
    """The same hidden numbers in another form. late_burn: degrees of best timing for each percent lean or rich."""

    late_burn_lean: float = 0.0
    late_burn_rich: float = 0.0
    early_dearer: float = 1.0
    mixture_power: float = 2.0

    @staticmethod
    def other(seed: int, options: Options | None = None) -> OtherEngine:
        """The engine of that seed, with a start that is further off."""
        plain, rng = VirtualEngine.random(seed, options), np.random.default_rng([seed, 11])
        sizes = int(rng.integers(-WORST_START_SIZES, WORST_START_SIZES + 1))
        deg = float(rng.integers(-WORST_START_DEG, WORST_START_DEG + 1))
        # From the tune-up that the usual model would call right, so that the start is off by no more than was drawn.
        right = best(plain, plain.truth.reference_air).tuneup
        jets = {name: int(np.clip(size + sizes, JET_SIZES[0], JET_SIZES[-1])) for name, size in right.jets.items()}
        start = replace(plain.start, jets=jets, total_deg=float(round(right.total_deg)) + deg)
        fields = {name: getattr(plain, name) for name in VirtualEngine.__dataclass_fields__}
        return OtherEngine(
            **fields | {"start": start},
            late_burn_lean=float(rng.uniform(0.0, 0.25)),
            late_burn_rich=float(rng.uniform(0.0, 0.12)),
            early_dearer=float(rng.uniform(1.0, 2.0)),
            mixture_power=float(rng.uniform(1.6, 2.2)),
        )

    def state(self, tuneup: Tuneup, air: Air) -> State:
        """What goes on inside: lean and very rich charges burn late, and want their spark sooner."""
        plain = VirtualEngine.state(self, tuneup, air)
        mixture = plain.mixture_pct
        slower_deg = self.late_burn_lean * np.clip(-mixture, 0.0, 15.0) + self.late_burn_rich * np.clip(mixture, 0, 15)
        timing = plain.timing_deg - slower_deg
        weight = np.where(timing > 0.0, self.early_dearer, 1.0) * self.truth.timing_loss
        fouled = np.clip((FOULED_BELOW_C - plain.tip_c) / 50.0, 0.0, 2.0)
        loss = self.mixture_loss_pct(mixture) + weight * timing**2 + fouled
        return replace(plain, timing_deg=timing, torque_pct=100.0 - float(loss.mean()))

    def mixture_loss_pct(self, mixture_pct: Floats) -> Floats:
        """Torque lost off best mixture; as much as in the usual form at 5 percent off."""
        square = VirtualEngine.mixture_loss_pct(self, np.sign(mixture_pct) * 5.0)
        return square * (np.abs(mixture_pct) / 5.0) ** self.mixture_power


class OtherRacer(Racer):
    """Marks creep longer as the engine soaks, and pipes are hottest off stoichiometric."""

    def __init__(self, engine: VirtualEngine, logged: str = "plugs") -> None:
        super().__init__(engine, logged)
        rng = np.random.default_rng([engine.seed, 12])
        self._soak_deg = float(rng.uniform(0.0, 1.2))
        self._peak_pct = float(rng.uniform(7.0, 16.0))

    def run(self, tuneup: Tuneup, air: Air) -> Observations:
        """One run; most of the soak comes in the first three."""
        eye = self._eye
        soaked = self._soak_deg * (1.0 - np.exp(-len(self._runs) / 2.0))
        self._eye = replace(eye, strap_bias_deg=eye.strap_bias_deg - float(soaked))
        seen = super().run(tuneup, air)
        self._eye = eye
        return seen

    def _egt(self, mixture: float, timing: float, at: int, noise: float) -> float:
        eye = self._eye
        cooling = eye.egt_per_rich_pct * (abs(mixture + self._peak_pct) - self._peak_pct)
        egt_c = eye.egt_middle_c - cooling - eye.egt_per_late_deg * timing + eye.egt_own_c[at] + 4.0 * noise
        return float(round(egt_c))


def other_weather(seed: int, engine: VirtualEngine, runs: int) -> tuple[Air, ...]:
    """Every run may be another place and another day."""
    rng, first = np.random.default_rng([seed, 13]), engine.truth.reference_air

    def anywhere() -> Air:
        pressure = first.pressure_pa * float(1.0 + rng.uniform(-_PRESSURE_SWING, _PRESSURE_SWING))
        return Air(first.temp_c, min(pressure, 103_000.0), first.humidity_pct)

    return (first, *(anywhere() for _ in range(runs - 1)))


def other_best(engine: VirtualEngine, air: Air) -> Best:
    """From the usual oracle's answer downhill, one setting at a time, inside every limit."""
    tuneup = best(engine, air).tuneup
    while engine.state(tuneup, air).past_a_limit:
        tuneup = replace(tuneup, total_deg=tuneup.total_deg - 0.5)
    torque = engine.state(tuneup, air).torque_pct
    while True:
        states = [(engine.state(one, air), one) for one in _next_to(engine, tuneup)]
        found = max((s.torque_pct, at) for at, (s, _) in enumerate(states) if not s.past_a_limit)
        if found[0] <= torque + 1e-9:
            return Best(tuneup, torque)
        torque, tuneup = found[0], states[found[1]][1]


def _next_to(engine: VirtualEngine, tuneup: Tuneup) -> Iterator[Tuneup]:
    yield tuneup
    for step in (-0.5, 0.5):
        yield replace(tuneup, total_deg=tuneup.total_deg + step)
    for step in (-1, 1):
        for name, size in tuneup.jets.items():
            moved = min(max(size + step, JET_SIZES[0]), JET_SIZES[-1])
            yield replace(tuneup, jets=dict(tuneup.jets) | {name: moved})
            yield replace(tuneup, jets=dict(tuneup.jets) | {name: moved}, total_deg=tuneup.total_deg + 0.5 * step)
        if JET_SIZES[0] < min(tuneup.jets.values()) and max(tuneup.jets.values()) < JET_SIZES[-1]:
            yield replace(tuneup, jets={name: size + step for name, size in tuneup.jets.items()})
        if engine.hardware != "none":
            for group in moving_groups(engine):
                numbers = [engine.layout.numbers[at] for at in group]
                trims = {number: tuneup.trims[number] + step * engine.trim_step_deg for number in numbers}
                if max(map(abs, trims.values())) <= MOST_TRIM_DEG:
                    yield replace(tuneup, trims=dict(tuneup.trims) | trims)
