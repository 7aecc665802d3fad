"""What today's jets are reckoned from: a run with its jets and air, and the law by which fuel follows the air."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from engine_rules.air import AirState
from engine_rules.air_today import KnownAir
from engine_rules.evidence import is_boiling
from engine_rules.fit import readable
from engine_rules.fuel import Jet, Ladder, Metering, fuel_area_ratio, mixture_drift_pct, station_area_in2
from engine_rules.logbook import Engine, Logbook, LogbookError, Run, Station
from engine_rules.response import responses
from engine_rules.weather import air_state

EXPONENT = "air.fuel_exponent"
MEASURES = {"temp_c": "temperature", "pressure_pa": "pressure", "humidity_pct": "humidity"}
UNSTATED_TRIM_STEP_PCT = 1.0


@dataclass(frozen=True, slots=True)
class StationJet:
    """One station: the reference's jet and today's.

    kept_pct, left_pct: how far the mixture drifts with the old jet kept, and with the new one; positive is rich.
    wanted: the size that fits better, where it is not on hand.
    """

    station: str
    old: str
    new: str
    kept_pct: float
    left_pct: float
    wanted: str | None = None

    @property
    def is_lean(self) -> bool:
        """True where even the largest jet on hand is too small; rounding of the sums does not count."""
        return self.left_pct < -1e-6


@dataclass(frozen=True, slots=True)
class FuelChange:
    """Injection: the change of fuel for all cylinders, in percent, and the drift without it and with it."""

    change_pct: float
    kept_pct: float
    left_pct: float


@dataclass(frozen=True, slots=True)
class Exponent:
    """Fuel through a jet goes with air density to this power; changes: from how many it was learned, 0 for the law."""

    value: float
    sd: float = 0.0
    changes: int = 0


@dataclass(frozen=True, slots=True)
class Basis:
    """A run and the law. because: why this run. passed_over: Reference runs without their air. on_hand: by station."""

    logbook: Logbook
    run: Run
    air: AirState
    because: str
    passed_over: tuple[str, ...]
    metering: Metering
    exponent: Exponent
    on_hand: Mapping[str, Ladder]

    def thicker_pct(self, air: KnownAir) -> float:
        """How much denser that air is than on the run, in percent."""
        return 100.0 * (air.moist_density_kg_m3 / self.air.moist_density_kg_m3 - 1.0)

    def is_far(self, air: KnownAir) -> bool:
        """True where that air is too far from the run's for the law to be trusted without a check."""
        return abs(self.thicker_pct(air)) > self.logbook.targets["air.density_far_pct"]

    def asked_ratio(self, air: KnownAir) -> float:
        """Ratio by which the fuel's area or volume must change in that air."""
        return fuel_area_ratio(self.metering, self.air, air, air_power=self.exponent.value)

    def jets(self, air: KnownAir) -> tuple[StationJet, ...]:
        """The jet of every station in that air; none for injection."""
        ratio = self.asked_ratio(air)
        return tuple(self._jet(station, ratio) for station in self.logbook.engine.stations)

    def fuel_change(self, air: KnownAir) -> FuelChange | None:
        """The change of fuel in that air; None where there are jets."""
        if self.logbook.engine.stations:
            return None
        ratio = self.asked_ratio(air)
        step = self.logbook.engine.fuel_trim_step_pct or UNSTATED_TRIM_STEP_PCT
        # A hair of slack, or rounding would add a step where the change meets one.
        change = step * math.ceil(100.0 * (ratio - 1.0) / step - 1e-9)
        return FuelChange(change, mixture_drift_pct(ratio), 100.0 * ((1.0 + change / 100.0) / ratio - 1.0))

    def _jet(self, station: Station, ratio: float) -> StationJet:
        old = self.logbook.jets.jet(self.run.tuneup.jets[station.name].value)
        enrichment = self.logbook.engine.enrichment_area_in2.get(station.end, 0.0)
        asked_in2 = ratio * station_area_in2(old.bore_in, enrichment)
        # Where the enrichment alone feeds more than is asked, the smallest jet is as near as can be.
        bore_in = math.sqrt(4.0 / math.pi * max(0.0, asked_in2 - enrichment))
        new, best = (_rounded_rich(sizes, bore_in, old) for sizes in (self.on_hand[station.name], self.logbook.jets))
        return StationJet(
            station=station.name,
            old=old.label,
            new=new.label,
            kept_pct=mixture_drift_pct(ratio),
            left_pct=100.0 * (station_area_in2(new.bore_in, enrichment) / asked_in2 - 1.0),
            wanted=best.label if best.bore_in != new.bore_in else None,
        )


def _rounded_rich(sizes: Ladder, bore_in: float, fitted: Jet) -> Jet:
    """The smallest that feeds no less, the fitted one among equals; the largest where the ladder ends below it."""
    size = sizes.rounded_rich(bore_in) or sizes.largest
    return fitted if size.bore_in == fitted.bore_in else size


def basis(logbook: Logbook, reference: Run | None = None, exponent: Exponent | None = None) -> Basis:
    """What today is reckoned from. reference: else the newest run marked Reference with all its air, else the newest
    fit run. Raises LogbookError where there is none, or where its jets are missing."""
    metering = metering_of(logbook.engine)
    run, air, because, passed_over = _named(reference) if reference is not None else _chosen(logbook)
    lacking = [one.name for one in logbook.engine.stations if one.name not in run.tuneup.jets]
    if lacking:
        text = f"the jets at {', '.join(lacking)} are missing on run {run.name}; fill them in, or take another run"
        raise _refusal(run, [f"jets.{name}" for name in lacking], text)
    return Basis(
        logbook=logbook,
        run=run,
        air=air,
        because=because,
        passed_over=passed_over,
        metering=metering,
        exponent=exponent or Exponent(logbook.targets[EXPONENT]),
        on_hand={one.name: _on_hand(logbook, run, one.name) for one in logbook.engine.stations},
    )


def learned_exponent(logbook: Logbook) -> Exponent | None:
    """The power of air density that this engine's log teaches; None where it says too little of it."""
    learned, targets = responses(logbook).value(EXPONENT), logbook.targets
    if learned is None or learned.sd > targets["learn.exponent_enough"] * targets["learn.exponent_spread"]:
        return None
    return Exponent(learned.value, learned.sd, learned.changes)


def metering_of(engine: Engine) -> Metering:
    """What the engine's fuel follows. Raises LogbookError where it must be asked, or does not go with the engine."""
    possible: Sequence[Metering] = ("throttle map", "displacement", "speed-density")
    if engine.stations:
        possible = ("venturi", "displacement")
    for metering in possible:
        if engine.metering == metering:
            return metering
    if engine.stations and not engine.metering:
        return "venturi"
    found = f"Metering is {engine.metering}" if engine.metering else "Metering is blank"
    raise LogbookError(f"{found}; for {engine.carburetion} write one of: {', '.join(possible)}", "Engine")


def _named(run: Run) -> tuple[Run, AirState, str, tuple[str, ...]]:
    air = _air(run)
    if air is None:
        missing = [key for key in MEASURES if getattr(run.air, key) is None]
        words = " and ".join(MEASURES[key] for key in missing) or "altitude, which a sea-level pressure needs,"
        text = f"the {words} of run {run.name} must be logged; fill in, or take another run"
        raise _refusal(run, missing or ["altitude_m"], text)
    return run, air, "as asked", ()


def _chosen(logbook: Logbook) -> tuple[Run, AirState, str, tuple[str, ...]]:
    passed_over: list[str] = []
    for run in reversed(logbook.runs):
        air = _air(run) if run.reference else None
        if air is not None:
            return run, air, "marked Reference", tuple(passed_over)
        if run.reference:
            passed_over.append(run.name)
    for run in reversed(logbook.runs):
        air = _air(run)
        if air is not None and readable(logbook, run) and not any(map(is_boiling, run.readings)):
            return run, air, "the newest run fit to tune from", tuple(passed_over)
    raise LogbookError(
        "no run marked Reference, and none that is fit to tune from, has temperature, pressure and humidity logged, so "
        "there is nothing to reckon today's air from; fill them in for one",
        "Runs",
    )


def _air(run: Run) -> AirState | None:
    try:
        return air_state(run.air)
    except ValueError as error:
        raise _refusal(run, ["temp_c"], f"the air of run {run.name}: {error}") from None


def _refusal(run: Run, keys: Sequence[str], text: str) -> LogbookError:
    cell = next((run.places[key] for key in keys if key in run.places), None)
    return LogbookError(text, cell.sheet, cell.ref) if cell else LogbookError(text, "Runs")


def _on_hand(logbook: Logbook, run: Run, station: str) -> Ladder:
    """The jets on hand, and the one that was fitted."""
    try:
        fitted = logbook.jets.jet(run.tuneup.jets[station].value)
    except ValueError as error:
        raise _refusal(run, [f"jets.{station}"], str(error)) from None
    return Ladder(tuple(jet for jet in logbook.jets.sizes if jet.on_hand or jet is fitted))
