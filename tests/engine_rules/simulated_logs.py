"""Logs of engines whose gains are known, drawn from what the targets say engines are like."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from engine_rules.air import AirState, vapour_pressure_from_relative_humidity_pa
from engine_rules.logbook import Engine, Logbook, Run
from engine_rules.targets import default_targets
from tests.engine_rules.logbooks import GOOD_RUN, ladder, logbook, run, v8

TARGETS = default_targets()
KEYS = (
    "ring.mm_per_pct",
    "shell_ring.turns_per_pct",
    "strap.share_per_deg",
    "strap.share_per_pct",
    "strap.share_per_heat_step",
    "egt.k_per_pct",
    "egt.k_per_deg",
    "air.fuel_exponent",
)
REFERENCE_AIR = AirState(20.0, 100_000.0, vapour_pressure_from_relative_humidity_pa(20.0, 0.4))


@dataclass(frozen=True, slots=True)
class Known:
    """What is true of a simulated engine: gains by target, shares by cylinder and station."""

    gains: Mapping[str, float]
    shares: np.ndarray


@dataclass(frozen=True, slots=True)
class Tune:
    """What is set on a simulated run."""

    jets: Mapping[str, str]
    total_deg: float = 34.0
    plug: str = "C"
    temp_c: float = 20.0
    pressure_pa: float = 100_000.0


def drawn(rng: np.random.Generator, of: Engine) -> Known:
    """An engine as likely as the targets call it."""
    gains = {key: TARGETS[key] * (1 + TARGETS["learn.gain_spread"] * rng.standard_normal()) for key in KEYS[:-1]}
    gains["air.fuel_exponent"] = TARGETS["air.fuel_exponent"] + TARGETS["learn.exponent_spread"] * rng.standard_normal()
    usual = np.array([[place.shares[one.name] for one in of.stations] for place in of.cylinders])
    return Known(gains, np.array([rng.dirichlet(TARGETS["learn.share_weight"] * row) for row in usual]))


def tunes(rng: np.random.Generator, of: Engine, count: int) -> list[Tune]:
    """A racer's season: a jet at one corner, all jets, timing, plugs or nothing, in the weather of the day."""
    jets, total, plug = {one.name: 76 for one in of.stations}, 34.0, "C"
    season = []
    for _ in range(count):
        match rng.integers(6):
            case 0 | 1:
                corner = str(rng.choice([one.name for one in of.stations]))
                jets[corner] = int(np.clip(jets[corner] + rng.choice([-4, -2, 2, 4]), 70, 84))
            case 2:
                step = int(rng.choice([-2, 2]))
                jets = {name: int(np.clip(size + step, 70, 84)) for name, size in jets.items()}
            case 3 | 4:
                total = float(np.clip(total + rng.choice([-3, -2, 2, 3]), 29, 39))
            case 5:
                plug = str(rng.choice(["B", "C", "D"]))
        weather = (round(rng.uniform(8, 36), 1), round(rng.uniform(97_000, 102_000)))
        season.append(Tune({name: str(size) for name, size in jets.items()}, total, plug, *weather))
    return season


def simulated(rng: np.random.Generator, of: Engine, known: Known, season: list[Tune]) -> Logbook:
    """The log of that season as such an engine would write it, every sign measured."""
    numbers = of.numbers
    count = len(numbers)
    level = {
        "ring": 3.0 + 0.4 * rng.standard_normal(count),
        "strap_mark": 0.5 + 0.05 * rng.standard_normal(count),
        "egt_c": 700.0 + 15.0 * rng.standard_normal(count),
        "lambda_ratio": 4.0 * rng.standard_normal(count),
    }
    spread = {
        "ring": TARGETS["ring.noise_measured_mm"],
        "strap_mark": TARGETS["strap.noise_measured"],
        "egt_c": TARGETS["egt.noise_k"],
        "lambda_ratio": 100 * TARGETS["lambda.noise"] / TARGETS["lambda.target_unleaded_gasoline"],
    }
    gain, runs = known.gains, []
    for place, tune in enumerate(season):
        for kind, sd in spread.items():
            level[kind] = level[kind] + TARGETS["learn.drift"] * sd * rng.standard_normal(count)
        mixture, timing = _state(rng, of, known, tune)
        heat = {"B": 1.0, "C": 0.0, "D": -1.0}[tune.plug]
        seen = {
            "ring": level["ring"] + gain["ring.mm_per_pct"] * mixture,
            "strap_mark": level["strap_mark"]
            + gain["strap.share_per_deg"] * timing
            + gain["strap.share_per_pct"] * mixture
            + gain["strap.share_per_heat_step"] * heat,
            "egt_c": level["egt_c"]
            + gain["egt.k_per_pct"] * mixture
            + gain["egt.k_per_deg"] * timing
            + TARGETS["learn.egt_wander_k"] * rng.standard_normal(),
            "lambda_ratio": level["lambda_ratio"] + mixture,
        }
        seen = {kind: amounts + spread[kind] * rng.standard_normal(count) for kind, amounts in seen.items()}
        seen["lambda_ratio"] = TARGETS["lambda.target_unleaded_gasoline"] / (1 + seen["lambda_ratio"] / 100)
        plugs = {
            number: {"plug": tune.plug} | {kind: float(amounts[at]) for kind, amounts in seen.items()}
            for at, number in enumerate(numbers)
        }
        runs.append(logged(of, str(place + 1), tune, plugs))
    return logbook(of, *runs)


def logged(of: Engine, name: str, tune: Tune, plugs: Mapping[int, Mapping[str, object]], **said: object) -> Run:
    """A fit run with that tune-up and these readings."""
    air = {"temp_c": tune.temp_c, "pressure_pa": tune.pressure_pa, "pressure_kind": "station", "humidity_pct": 40.0}
    return run(name, of, {**GOOD_RUN, "total_timing_deg": tune.total_deg} | air | said, plugs, dict(tune.jets))


def _state(rng: np.random.Generator, of: Engine, known: Known, tune: Tune) -> tuple[np.ndarray, np.ndarray]:
    """Mixture (%) and timing (degrees) of each cylinder against a tune of 76 jets, 34 degrees and the reference air."""
    bores = [ladder().jet(tune.jets[one.name]).bore_in for one in of.stations]
    flow = 200 * np.log(np.array(bores) / 0.076)
    air = AirState(tune.temp_c, tune.pressure_pa, vapour_pressure_from_relative_humidity_pa(tune.temp_c, 0.4))
    moist = np.log(air.moist_density_kg_m3 / REFERENCE_AIR.moist_density_kg_m3)
    dry = np.log(air.dry_density_kg_m3 / REFERENCE_AIR.dry_density_kg_m3)
    mixture = known.shares @ flow + 100 * (known.gains["air.fuel_exponent"] * moist - dry)
    count = len(of.numbers)
    mixture = mixture + TARGETS["carry.mixture_common_pct"] * rng.standard_normal()
    mixture = mixture + TARGETS["carry.mixture_own_pct"] * rng.standard_normal(count)
    timing = tune.total_deg - 34.0 + TARGETS["carry.timing_common_deg"] * rng.standard_normal()
    return mixture, timing + TARGETS["carry.timing_own_deg"] * rng.standard_normal(count)


def engine_to_learn() -> Engine:
    """An unleaded V8 with a four-barrel on a single plane."""
    return v8(fuel="unleaded gasoline")
