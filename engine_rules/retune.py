"""Today's jets: from the air and the tune-up of a reference run to what keeps its mixture in today's air.

Only the air is answered. The reference's own mixture, right or wrong, is carried over, so the sizes are rounded to the
rich side: never leaner than the law asks, as far as the jets on hand reach. Source of the law: `fuel.fuel_area_ratio`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from engine_rules.advice import Caution
from engine_rules.air import GRAINS_PER_LB, AirState
from engine_rules.air_today import KnownAir, looks_like_sea_level
from engine_rules.evidence import is_boiling
from engine_rules.fuel import Ladder, Metering
from engine_rules.labels import label_key
from engine_rules.logbook import Logbook, Run
from engine_rules.retune_basis import Basis, Exponent, FuelChange, StationJet, basis


@dataclass(frozen=True, slots=True)
class Retune:
    """Today against the reference. density_pct, asked_pct: change of air density, and of fuel that it asks for.

    asked_sd_pct: what the spread of a learned exponent adds. jets are empty for injection, fuel is None for jets.
    """

    reference: str
    because: str
    metering: Metering
    exponent: Exponent
    then: AirState
    now: KnownAir
    density_pct: float
    asked_pct: float
    asked_sd_pct: float
    jets: tuple[StationJet, ...]
    fuel: FuelChange | None
    cautions: tuple[Caution, ...]

    def as_json(self) -> dict[str, Any]:
        """The same as plain JSON data."""
        exponent, fuel = self.exponent, self.fuel
        return {
            "reference": self.reference,
            "because": self.because,
            "metering": self.metering,
            "exponent": {"value": exponent.value, "sd": exponent.sd, "changes": exponent.changes},
            "air": {"reference": air_json(self.then), "today": air_json(self.now)},
            "density_pct": self.density_pct,
            "asked_pct": self.asked_pct,
            "asked_sd_pct": self.asked_sd_pct,
            "jets": [_jet_json(jet) for jet in self.jets] or None,
            "fuel": fuel and {"change_pct": fuel.change_pct, "kept_pct": fuel.kept_pct, "left_pct": fuel.left_pct},
            "cautions": [{"level": one.level, "text": one.text} for one in self.cautions],
        }


def _jet_json(jet: StationJet) -> dict[str, Any]:
    return {
        "corner": jet.station,
        "from": jet.old,
        "to": jet.new,
        "kept_pct": jet.kept_pct,
        "left_pct": jet.left_pct,
        "wanted": jet.wanted,
    }


def air_json(air: KnownAir) -> dict[str, float | None]:
    """Every measure of one air; None for what is not known of it."""
    state = air if isinstance(air, AirState) else None
    return {
        "temp_c": state.temp_c if state else None,
        "pressure_pa": state.pressure_pa if state else None,
        "vapour_pressure_pa": state.vapour_pressure_pa if state else None,
        "humidity_pct": 100.0 * state.relative_humidity_fraction if state else None,
        "water_grains_per_lb": air.humidity_ratio * GRAINS_PER_LB,
        "density_kg_m3": air.moist_density_kg_m3,
        "dry_density_kg_m3": air.dry_density_kg_m3,
        "density_altitude_m": air.density_altitude_m,
        "dry_density_altitude_m": air.dry_density_altitude_m,
    }


def retune(logbook: Logbook, today: KnownAir, reference: Run | None = None, exponent: Exponent | None = None) -> Retune:
    """Today's jets, or change of fuel, with the drift that is left and what to mind.

    reference: else the newest run marked Reference whose air was logged in full, else the newest fit run. exponent:
    else the law's. Raises LogbookError where there is nothing to reckon from.
    """
    return retuned(basis(logbook, reference, exponent), today)


def retuned(of: Basis, today: KnownAir) -> Retune:
    """The same from a basis that was chosen before."""
    thicker_pct = of.thicker_pct(today)
    jets, fuel = of.jets(today), of.fuel_change(today)
    return Retune(
        reference=of.run.name,
        because=of.because,
        metering=of.metering,
        exponent=of.exponent,
        then=of.air,
        now=today,
        density_pct=thicker_pct,
        asked_pct=100.0 * (of.asked_ratio(today) - 1.0),
        asked_sd_pct=of.exponent.sd * 100.0 * abs(math.log1p(thicker_pct / 100.0)) if of.metering == "venturi" else 0.0,
        jets=jets,
        fuel=fuel,
        cautions=(
            *_of_distance(of, today),
            *_of_jets(of, jets),
            *_of_reference(of),
            *_of_pressure(of),
            *_of_metering(of),
            *_of_every_day(thicker_pct),
        ),
    )


def _of_distance(of: Basis, today: KnownAir) -> Iterator[Caution]:
    far, change = of.logbook.targets["air.density_far_pct"], of.thicker_pct(today)
    if of.is_far(today):
        side = "thicker" if change > 0.0 else "thinner"
        yield Caution(
            f"The air is {abs(change):.1f} % {side} than on run {of.run.name}, beyond the {far:g} % to which this can "
            "be trusted: make a run short of the limit on new plugs, and read them, before a hard one.",
            "back off",
        )


def _of_jets(of: Basis, jets: tuple[StationJet, ...]) -> Iterator[Caution]:
    said: dict[tuple[str, str], list[str]] = {}
    for jet in jets:
        found = _of_jet(of.logbook.jets, jet)
        if found is not None:
            said.setdefault(found, []).append(jet.station)
    for (text, level), stations in said.items():
        yield Caution(f"{', '.join(stations)}: {text}", level)


def _of_jet(ladder: Ladder, jet: StationJet) -> tuple[str, str] | None:
    if jet.is_lean:
        where, larger = ("on hand", jet.wanted) if jet.wanted else ("on the ladder", "a larger one")
        text = f"{jet.new} is the largest {where} and {-jet.left_pct:.1f} % lean; get {larger} before a hard run."
        return text, "back off"
    if jet.wanted is not None:
        return f"{jet.wanted} fits better but is not on hand; {jet.new} is {jet.left_pct:.1f} % rich.", "mind"
    if jet.new == ladder.smallest.label and jet.new != jet.old:
        return f"the ladder ends at {jet.new}, {jet.left_pct:.1f} % rich.", "mind"
    return None


def _of_reference(of: Basis) -> Iterator[Caution]:
    name = of.run.name
    if any(map(is_boiling, of.run.readings)):
        yield Caution(
            f"The plugs of run {name} show specks or boiled porcelain, and its mixture is what this repeats: see to "
            "that first.",
            "back off",
        )
    for passed in of.passed_over:
        yield Caution(f"Run {passed} is marked Reference, but its air was not logged in full.", "mind")
    if not of.run.reference:
        yield Caution(f"Run {name} is not marked Reference: its mixture, right or wrong, is what this repeats.", "mind")
    newest = next((run for run in reversed(of.logbook.runs) if run.tuneup.jets), of.run)
    others = [
        f"{station} {entry.value}"
        for station, entry in newest.tuneup.jets.items()
        if label_key(entry.value) != label_key(of.run.tuneup.jets[station].value)
    ]
    if others:
        yield Caution(f"Run {newest.name} had other jets than run {name}: {', '.join(others)}.", "mind")


def _of_pressure(of: Basis) -> Iterator[Caution]:
    air, name = of.run.air, of.run.name
    if air.pressure_pa is None or (air.pressure_kind is not None and air.pressure_kind.value == "sea-level"):
        return
    altitude_m = air.altitude_m.value if air.altitude_m else None
    if looks_like_sea_level(air.pressure_pa.value, altitude_m, of.logbook.targets):
        yield Caution(
            f"The pressure of run {name} is high for its altitude: if it was a sea-level one, say so in the log, or "
            "today comes out too lean.",
            "back off",
        )
    elif air.pressure_kind is None:
        yield Caution(f"Run {name} does not say which kind of pressure it logged; station was taken.", "mind")


def _of_metering(of: Basis) -> Iterator[Caution]:
    if of.metering == "displacement" and of.on_hand:
        yield Caution(
            "Displacement: these are jets that feed the engine. A bypass jet goes the other way, and takes back a part "
            "of any change.",
            "mind",
        )
    if of.metering == "speed-density":
        yield Caution(
            "Speed-density follows pressure and temperature by itself; only what moisture takes is left.", "mind"
        )


def _of_every_day(thicker_pct: float) -> Iterator[Caution]:
    if thicker_pct > 0.0:
        timing = "Thicker air is nearer to detonation: look for specks, and in doubt take some out."
    else:
        timing = "Thinner air usually bears a little more, but only plugs at known safe timing can say so."
    yield Caution(f"Leave the timing. {timing}", "mind")
    yield Caution("Make a run to check, and read its plugs. No power is promised.", "mind")
