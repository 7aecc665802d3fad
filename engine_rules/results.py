"""What the clocks or the dyno said of a run, in standard air and at equal weight, so that two runs can be compared."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from engine_rules.air import power_correction
from engine_rules.logbook import Cell, Engine, Entry, Run
from engine_rules.weather import air_state

# In the order in which they tell power: elapsed time carries the launch, a lap the driver too (common practice).
KINDS = ("power", "speed", "elapsed time", "lap time")
FIELDS = {"power": "power_kw", "speed": "speed_m_s", "elapsed time": "et_s", "lap time": "lap_time_s"}
UNITS = {"power": "kW", "speed": "m/s", "elapsed time": "s", "lap time": "s"}
# Percent of power for one percent of each: cube root laws of the quarter mile (Fox 1973). A lap has no such law and
# is compared as it stands.
PER_POWER = {"power": 1.0, "speed": 3.0, "elapsed time": -3.0, "lap time": -1.0}


@dataclass(frozen=True, slots=True)
class Score:
    """One result. pct: 100 x the logarithm of the power that it stands for; of a lap time, of its inverse.

    weighed: whether the weight went in. thickness_pct: 100 x the logarithm of the air's density, None for a lap.
    """

    kind: str
    logged: float
    pct: float
    weighed: bool
    thickness_pct: float | None
    cell: Cell | None
    written: str

    def in_its_unit(self, pct: float) -> float:
        """What so many percent of score are in the unit of the result, from where it stands."""
        return self.logged * pct / 100.0 / PER_POWER[self.kind]

    def corrected(self, weight_kg: float | None) -> float:
        """The result as it would be in standard air and, where the weight went in, at this weight; a lap as logged."""
        weight = math.log(weight_kg) if self.weighed and weight_kg is not None else 0.0
        return math.exp((self.pct / 100.0 - weight) / PER_POWER[self.kind])


def logged(run: Run) -> Mapping[str, Entry[float]]:
    """The results of a run by kind."""
    found = {kind: getattr(run.result, FIELDS[kind]) for kind in KINDS}
    return {kind: entry for kind, entry in found.items() if entry is not None and entry.value > 0.0}


def score(engine: Engine, run: Run, kind: str) -> Score | str:
    """A result in standard air by the standard that the sheet Engine names, or what it lacks in words."""
    entry = logged(run).get(kind)
    if entry is None:
        return f"run {run.name} has no {kind}"
    pct, written = 100.0 * PER_POWER[kind] * math.log(entry.value), entry.written or f"{entry.value:g} {UNITS[kind]}"
    if kind == "lap time":
        return Score(kind, entry.value, pct, False, None, entry.cell, written)
    air = air_state(run.air)
    if air is None:
        return f"the air of run {run.name} was not logged in full"
    pct += 100.0 * math.log(power_correction(air, engine.power_standard or "J1349").factor)
    weight = run.result.weight_kg
    weighed = kind != "power" and weight is not None and weight.value > 0.0
    if weighed and weight is not None:
        pct += 100.0 * math.log(weight.value)
    return Score(kind, entry.value, pct, weighed, 100.0 * math.log(air.moist_density_kg_m3), entry.cell, written)


def not_comparable(then: Score | str, now: Score | str, far_pct: float) -> str:
    """Why two results of one kind cannot be compared; empty where they can. far_pct: of air density, see Targets."""
    for one in (then, now):
        if isinstance(one, str):
            return one
    assert isinstance(then, Score) and isinstance(now, Score)
    if then.weighed != now.weighed:
        return "the weight was logged for one of the two runs only"
    if then.thickness_pct is not None and now.thickness_pct is not None:
        apart = now.thickness_pct - then.thickness_pct
        if abs(apart) > far_pct:
            return f"the air differs by {apart:+.0f} %, further than any correction can be trusted"
    return ""


@cache
def chance_of_noise(in_spreads: float, freedom: int) -> float:
    """Chance that noise alone stands so far off either way: Student's t, its spread from `freedom` repeats.

    Source: Abramowitz and Stegun 26.7.3 and 26.7.4 (finite sums, exact).
    """
    angle = math.atan(abs(in_spreads) / math.sqrt(freedom))
    cosine, sine = math.cos(angle), math.sin(angle)
    odd = freedom % 2
    term, total = (cosine, cosine if freedom > 1 else 0.0) if odd else (1.0, 1.0)
    for step in range(3 if odd else 2, freedom, 2):
        term *= cosine * cosine * (step - 1) / step
        total += term
    inside = 2.0 / math.pi * (angle + sine * total) if odd else sine * total
    return 1.0 - inside
