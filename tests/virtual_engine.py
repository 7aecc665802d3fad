"""A little engine with a hidden truth, to tune against: it shares no constant and no code with engine_rules.

Every number that a tuner would have to guess is drawn from the seed: flow shares, best timing of each cylinder, knock
limit, plug temperatures, how much each sign answers. Mixture is in percent fuel off best torque (positive is rich),
timing in crank degrees off best torque (positive is advanced). What a racer sees of it is in virtual_looks.
Ranges are common practice, no source, except where one is named.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

JET_SIZES = tuple(range(60, 100))  # thousandths of an inch, one by one
PLUG_LABELS = ("A", "B", "C", "D", "E")  # hot to cold
FOULED_BELOW_C = 480.0


@dataclass(frozen=True, slots=True)
class Air:
    """The air of one run: degrees Celsius, station pressure in Pa, relative humidity in percent."""

    temp_c: float
    pressure_pa: float
    humidity_pct: float

    @property
    def vapour_pa(self) -> float:
        """Magnus form over water."""
        return self.humidity_pct / 100.0 * 610.94 * math.exp(17.625 * self.temp_c / (self.temp_c + 243.04))

    @property
    def dry_kg_m3(self) -> float:
        """Density of the dry part, which holds the oxygen."""
        return (self.pressure_pa - self.vapour_pa) / (287.05 * (self.temp_c + 273.15))

    @property
    def moist_kg_m3(self) -> float:
        """Density of all of it, which a venturi feels."""
        return self.dry_kg_m3 + self.vapour_pa / (461.5 * (self.temp_c + 273.15))


@dataclass(frozen=True, slots=True)
class Tuneup:
    """What the racer can set: a jet for each station, total timing, a trim and a plug for each cylinder."""

    jets: Mapping[str, int]
    total_deg: float
    trims: Mapping[int, float]
    plugs: Mapping[int, str]


@dataclass(frozen=True, slots=True)
class Layout:
    """How the engine is built, as the racer knows it. own_station: the station that feeds a cylinder most."""

    cylinders: int
    arrangement: str
    carburetion: str
    stations: tuple[str, ...]
    firing_order: tuple[int, ...]
    own_station: Mapping[int, str]
    enriched: tuple[str, ...]

    @property
    def numbers(self) -> tuple[int, ...]:
        return tuple(range(1, self.cylinders + 1))

    def bank(self, cylinder: int) -> str:
        """L for odd numbers of a V, R for even ones; blank in a single row."""
        return "" if self.arrangement == "inline" else "L" if cylinder % 2 else "R"

    def companions(self) -> tuple[tuple[int, int], ...]:
        """Cylinders that fire a crank turn apart, in pairs: half the firing order from one to the other."""
        half = self.cylinders // 2
        return tuple(zip(self.firing_order[:half], self.firing_order[half:], strict=True))


_V8_CORNERS = {1: "LF", 3: "LF", 5: "LR", 7: "LR", 2: "RF", 4: "RF", 6: "RR", 8: "RR"}
LAYOUTS = {
    "v8": Layout(8, "V", "one four-barrel", ("LF", "RF", "LR", "RR"), (1, 8, 4, 3, 6, 5, 7, 2), _V8_CORNERS,
                 ("LF", "RF")),
    "four": Layout(4, "inline", "one two-barrel", ("front", "rear"), (1, 3, 4, 2),
                   {1: "front", 2: "front", 3: "rear", 4: "rear"}, ()),
    "side-draughts": Layout(4, "inline", "side-draughts", ("1", "2", "3", "4"), (1, 3, 4, 2),
                            {1: "1", 2: "2", 3: "3", 4: "4"}, ()),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Options:
    """What a benchmark varies. layout None draws one; hardware None draws one; trim_step_deg None draws one."""

    hardware: str | None = None
    layout: str | None = None
    trim_step_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Truth:
    """What nobody but the model and the oracle knows. Arrays run over cylinders in order of their numbers.

    shares: (cylinders, stations), each row adds up to 1. jet_flow: true area of each size in square inches.
    needed: fuel for best torque in the reference air, in the unit of the shares' flow. best_deg: best timing.
    """

    shares: Floats
    jet_flow: Mapping[int, float]
    enrichment_in2: Mapping[str, float]
    needed: Floats
    venturi_exponent: float
    best_deg: Floats
    burn_deg_per_thin_pct: float
    rich_loss: float
    lean_loss: float
    timing_loss: float
    headroom_deg: Floats
    knock_deg_per_rich_pct: float
    knock_deg_per_thin_pct: float
    knock_deg_per_gram: float
    right_heat: Floats
    heat_step_c: float
    tip_c_per_deg: float
    tip_c_per_lean_pct: float
    overheated_above_c: float
    reference_air: Air


@dataclass(frozen=True, slots=True)
class State:
    """The hidden truth of one run, cylinder by cylinder. torque_pct: of the best that this engine has in this air."""

    mixture_pct: Floats
    timing_deg: Floats
    knock_margin_deg: Floats
    tip_c: Floats
    torque_pct: float
    overheated: NDArray[np.bool_] = field(repr=False)

    @property
    def knocks(self) -> bool:
        return bool((self.knock_margin_deg < 0.0).any())

    @property
    def overheats(self) -> bool:
        return bool(self.overheated.any())

    @property
    def past_a_limit(self) -> bool:
        return self.knocks or self.overheats


@dataclass(frozen=True, slots=True)
class VirtualEngine:
    """One engine: what its racer knows (layout, hardware, start, enrichment on paper), and the truth."""

    seed: int
    layout: Layout
    hardware: str
    trim_step_deg: float
    tab_radius_mm: float
    logged_enrichment_in2: float
    start: Tuneup
    truth: Truth

    @staticmethod
    def random(seed: int, options: Options | None = None) -> VirtualEngine:
        """The engine of that seed; hardware and layout do not disturb the other draws of the same layout."""
        return _draw(seed, options or Options())

    def state(self, tuneup: Tuneup, air: Air) -> State:
        """What goes on inside with that tune-up in that air."""
        truth = self.truth
        mixture = self.mixture_pct(np.array([[tuneup.jets[name] for name in self.layout.stations]]), air)[0]
        advance = np.array([tuneup.total_deg + tuneup.trims[number] for number in self.layout.numbers])
        timing = advance - self.best_deg(air)
        order = np.array([PLUG_LABELS.index(tuneup.plugs[number]) + 1 for number in self.layout.numbers])
        tip = _RIGHT_TIP_C + truth.heat_step_c * (truth.right_heat - order)
        tip = tip + truth.tip_c_per_deg * timing - truth.tip_c_per_lean_pct * np.clip(mixture, -12.0, 20.0)
        hot_plug_deg = np.clip(tip - (truth.overheated_above_c - 50.0), 0.0, None) / 40.0
        margin = self.knock_limit_deg(mixture, air) - timing - hot_plug_deg
        fouled = np.clip((FOULED_BELOW_C - tip) / 50.0, 0.0, 2.0)
        loss = self.mixture_loss_pct(mixture) + truth.timing_loss * timing**2 + fouled
        return State(mixture, timing, margin, tip, 100.0 - float(loss.mean()), tip > truth.overheated_above_c)

    def mixture_pct(self, sizes: NDArray[np.int_], air: Air) -> Floats:
        """Mixture error of each cylinder, shape (sets, cylinders), for sets of jet sizes of shape (sets, stations)."""
        truth = self.truth
        area = np.array([truth.jet_flow[size] for size in JET_SIZES])[sizes - JET_SIZES[0]]
        area = area + np.array([truth.enrichment_in2.get(name, 0.0) for name in self.layout.stations])
        reference = truth.reference_air
        fuel = (air.moist_kg_m3 / reference.moist_kg_m3) ** truth.venturi_exponent
        oxygen = air.dry_kg_m3 / reference.dry_kg_m3
        return 100.0 * (area @ truth.shares.T / truth.needed * fuel / oxygen - 1.0)

    def mixture_loss_pct(self, mixture_pct: Floats) -> Floats:
        """Torque lost off best mixture."""
        return np.where(mixture_pct > 0.0, self.truth.rich_loss, self.truth.lean_loss) * mixture_pct**2

    def best_deg(self, air: Air) -> Floats:
        """Best timing of each cylinder in that air: thin air burns slower."""
        return self.truth.best_deg + self.truth.burn_deg_per_thin_pct * self._thin_pct(air)

    def knock_limit_deg(self, mixture_pct: Floats, air: Air) -> Floats:
        """How far past best timing each cylinder may go before it knocks, with a plug that is not hot."""
        truth = self.truth
        moisture_g = 622.0 * (
            air.vapour_pa / air.pressure_pa - truth.reference_air.vapour_pa / truth.reference_air.pressure_pa
        )
        weather = truth.knock_deg_per_thin_pct * self._thin_pct(air) + truth.knock_deg_per_gram * moisture_g
        return truth.headroom_deg + truth.knock_deg_per_rich_pct * np.clip(mixture_pct, -15.0, 10.0) + weather

    def _thin_pct(self, air: Air) -> float:
        return 100.0 * (1.0 - air.dry_kg_m3 / self.truth.reference_air.dry_kg_m3)

    def moved_with(self, cylinder: int) -> tuple[int, ...]:
        """The cylinders whose timing the hardware moves together with this one; empty where it cannot move it."""
        if self.hardware == "none":
            return ()
        if self.hardware == "paired":
            return next(pair for pair in self.layout.companions() if cylinder in pair)
        return (cylinder,)


_RIGHT_TIP_C = 740.0
_DAMPEST_PA = 2800.0  # a dew point of 23 °C


def _draw(seed: int, options: Options) -> VirtualEngine:
    rng = np.random.default_rng([seed, 1])
    drawn_layout = rng.choice(["v8", "four", "side-draughts"], p=[0.65, 0.15, 0.20])
    drawn_hardware = str(rng.choice(["none", "tabs", "paired", "per-cylinder"]))
    drawn_step = float(rng.choice([0.5, 1.0]))
    layout = LAYOUTS[options.layout or str(drawn_layout)]
    air = _draw_air(rng)
    start = _draw_start(rng, layout)
    truth = _draw_truth(rng, layout, start, air)
    on_paper = next(iter(truth.enrichment_in2.values()), 0.0) * float(rng.uniform(0.95, 1.05))
    return VirtualEngine(
        seed=seed,
        layout=layout,
        hardware=options.hardware or drawn_hardware,
        trim_step_deg=options.trim_step_deg or drawn_step,
        tab_radius_mm=float(rng.integers(22, 40)),
        logged_enrichment_in2=round(on_paper, 5),
        start=start,
        truth=truth,
    )


def _draw_air(rng: np.random.Generator) -> Air:
    temp, height_m, humidity = rng.uniform(8.0, 34.0), rng.uniform(0.0, 1300.0), rng.uniform(25.0, 80.0)
    air = Air(float(temp), 101325.0 * math.exp(-float(height_m) / 8400.0), float(humidity))
    return replace(air, humidity_pct=air.humidity_pct * min(1.0, _DAMPEST_PA / air.vapour_pa))


def _draw_start(rng: np.random.Generator, layout: Layout) -> Tuneup:
    front = int(rng.integers(68, 82))
    rear = front + int(rng.integers(0, 7))
    jets = {name: (front if name in layout.enriched else rear) for name in layout.stations}
    plug = PLUG_LABELS[int(rng.integers(0, 5))]
    return Tuneup(
        jets=jets,
        total_deg=float(rng.integers(29, 39)),
        trims=dict.fromkeys(layout.numbers, 0.0),
        plugs=dict.fromkeys(layout.numbers, plug),
    )


def _draw_truth(rng: np.random.Generator, layout: Layout, start: Tuneup, air: Air) -> Truth:
    count = layout.cylinders
    shares = _draw_shares(rng, layout)
    jet_flow = {size: (size / 1000.0) ** 2 * math.pi / 4.0 * float(rng.normal(1.0, 0.006)) for size in JET_SIZES}
    valve_in2 = float(rng.uniform(0.0009, 0.0020)) if rng.random() < 0.5 else 0.0
    enrichment = dict.fromkeys(layout.enriched, valve_in2)
    # The start is off by a common error of up to 10 % and 5 degrees, and by up to 4 % and 1.5 degrees of its own.
    mixture = rng.uniform(-10.0, 10.0) + rng.uniform(-4.0, 4.0, count)
    timing = rng.uniform(-5.0, 5.0) + rng.uniform(-1.5, 1.5, count)
    flow = shares @ np.array([jet_flow[start.jets[name]] + enrichment.get(name, 0.0) for name in layout.stations])
    first_heat = PLUG_LABELS.index(start.plugs[1]) + 1
    right_heat = float(np.clip(first_heat + rng.uniform(-2.0, 2.0), 1.0, 5.0))
    return Truth(
        shares=shares,
        jet_flow=jet_flow,
        enrichment_in2=enrichment,
        needed=flow / (1.0 + mixture / 100.0),
        venturi_exponent=float(rng.uniform(0.42, 0.58)),
        best_deg=start.total_deg - timing,
        burn_deg_per_thin_pct=float(rng.uniform(0.08, 0.16)),
        # Published: 6-9 per mille per percent² either side (regression), timing 0.03-0.07 % per degree² (two models).
        rich_loss=float(rng.uniform(0.006, 0.012)),
        lean_loss=float(rng.uniform(0.009, 0.018)),
        timing_loss=float(rng.uniform(0.03, 0.07)),
        headroom_deg=float(rng.uniform(2.0, 7.0)) + rng.uniform(-0.7, 0.7, count),
        knock_deg_per_rich_pct=float(rng.uniform(0.15, 0.40)),
        knock_deg_per_thin_pct=float(rng.uniform(0.10, 0.25)),
        knock_deg_per_gram=float(rng.uniform(0.08, 0.20)),
        right_heat=right_heat + rng.uniform(-0.2, 0.2, count),
        heat_step_c=float(rng.uniform(70.0, 100.0)),
        tip_c_per_deg=float(rng.uniform(6.0, 11.0)),
        tip_c_per_lean_pct=float(rng.uniform(3.0, 7.0)),
        overheated_above_c=float(rng.uniform(900.0, 950.0)),
        reference_air=air,
    )


def _draw_shares(rng: np.random.Generator, layout: Layout) -> Floats:
    if layout.carburetion == "side-draughts":
        return np.eye(layout.cylinders)
    rows = []
    for number in layout.numbers:
        own = float(rng.uniform(0.33, 0.62) if len(layout.stations) == 4 else rng.uniform(0.52, 0.78))
        rest = rng.dirichlet(np.full(len(layout.stations) - 1, 6.0)) * (1.0 - own)
        at = layout.stations.index(layout.own_station[number])
        rows.append(np.insert(rest, at, own))
    return np.array(rows)


def weather(seed: int, engine: VirtualEngine, runs: int) -> tuple[Air, ...]:
    """The air of each run: it drifts from run to run, and now and then it is another day. Moisture stays in the air."""
    rng = np.random.default_rng([seed, 2])
    first = engine.truth.reference_air
    airs = [first]
    temp, pressure, vapour = first.temp_c, first.pressure_pa, first.vapour_pa
    while len(airs) < runs:
        if rng.random() < 0.25:
            temp = first.temp_c + float(rng.normal(0.0, 5.0))
            pressure = first.pressure_pa + float(rng.normal(0.0, 700.0))
            vapour = first.vapour_pa * float(np.exp(rng.normal(0.0, 0.25)))
        else:
            temp += float(rng.normal(0.0, 2.0))
            pressure += float(rng.normal(0.0, 120.0))
            vapour *= float(np.exp(rng.normal(0.0, 0.04)))
        temp = float(np.clip(temp, 0.0, 38.0))
        saturated = Air(temp, pressure, 100.0).vapour_pa
        vapour = float(np.clip(vapour, 0.10 * saturated, min(0.95 * saturated, _DAMPEST_PA)))
        airs.append(Air(temp, pressure, 100.0 * vapour / saturated))
    return tuple(airs)
