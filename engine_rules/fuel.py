"""Fuel: jets as orifices, the ladder of jets on the shelf, and what today's air asks of them; kinds of fuel.

Bores are inches and areas square inches, as the trade writes them; densities kg/m3. The label of a jet is not its
bore: only the racer's own ladder says what a label is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

from engine_rules.labels import label_key

M2_PER_IN2 = 0.0254**2

# Heywood's air: 3.773 atmospheric nitrogen of 28.16 g/mol to each oxygen (Internal Combustion Engine Fundamentals).
AIR_G_PER_MOL_OXYGEN = 31.999 + 3.773 * 28.16
CARBON_G_PER_MOL, HYDROGEN_G_PER_MOL, OXYGEN_G_PER_MOL = 12.011, 1.008, 15.999

GASOLINE_KG_M3, ETHANOL_KG_M3 = 745.0, 789.0  # handbook values from memory
GASOLINE_EXPANSION_PER_K = 0.00095  # from memory


def jet_area_in2(bore_in: float) -> float:
    """Area of a round jet. Raises ValueError unless the bore is between 0 and 1 inch."""
    if not 0.0 < bore_in < 1.0:
        raise ValueError(f"jet bore of {bore_in:g} in is not possible; write it in inches, such as 0.072")
    return math.pi / 4.0 * bore_in**2


def bore_of_area_in(area_in2: float) -> float:
    """Bore of the round jet of that area. Raises ValueError unless positive."""
    if not area_in2 > 0.0:
        raise ValueError(f"jet area of {area_in2:g} in2 is not possible; it must be above zero")
    return math.sqrt(4.0 * area_in2 / math.pi)


def station_area_in2(bore_in: float, enrichment_area_in2: float = 0.0) -> float:
    """Area through which a station feeds at full load: main jet and the restriction behind an open power valve."""
    if enrichment_area_in2 < 0.0:
        raise ValueError(f"enrichment area of {enrichment_area_in2:g} in2 is not possible; it must be zero or more")
    return jet_area_in2(bore_in) + enrichment_area_in2


def orifice_mass_flow_kg_s(
    discharge_coefficient: float, area_m2: float, fuel_density_kg_m3: float, pressure_drop_pa: float
) -> float:
    """Fuel through an orifice: Cd A sqrt(2 rho dp). Raises ValueError for a negative pressure drop."""
    if pressure_drop_pa < 0.0:
        raise ValueError(f"pressure drop of {pressure_drop_pa:g} Pa is not possible; it must be zero or more")
    return discharge_coefficient * area_m2 * math.sqrt(2.0 * fuel_density_kg_m3 * pressure_drop_pa)


def flow_change_pct(from_bore_in: float, to_bore_in: float, enrichment_area_in2: float = 0.0) -> float:
    """Change of a station's fuel flow when its main jet is changed; positive is more fuel."""
    before = station_area_in2(from_bore_in, enrichment_area_in2)
    return 100.0 * (station_area_in2(to_bore_in, enrichment_area_in2) / before - 1.0)


@dataclass(frozen=True, slots=True)
class Jet:
    """One size of jet: the label stamped on it, its bore, and whether the racer has it."""

    label: str
    bore_in: float
    on_hand: bool = True

    def __post_init__(self) -> None:
        label_key(self.label)
        jet_area_in2(self.bore_in)

    @property
    def area_in2(self) -> float:
        """Area of the bore."""
        return jet_area_in2(self.bore_in)


@dataclass(frozen=True, slots=True)
class Ladder:
    """The sizes of jet of one family, smallest bore first.

    Two labels of one bore stand in the order given. Raises ValueError for an empty ladder, a bore that cannot be, or
    one label given twice.
    """

    sizes: tuple[Jet, ...]
    _places: Mapping[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        ordered = tuple(sorted(self.sizes, key=lambda jet: jet.bore_in))
        if not ordered:
            raise ValueError("there is no jet on the ladder; list each size with its bore")
        places: dict[str, int] = {}
        for place, jet in enumerate(ordered):
            if label_key(jet.label) in places:
                raise ValueError(f"jet {jet.label} stands on the ladder twice; keep one")
            places[label_key(jet.label)] = place
        object.__setattr__(self, "sizes", ordered)
        object.__setattr__(self, "_places", places)

    def __len__(self) -> int:
        return len(self.sizes)

    def __contains__(self, label: str | float) -> bool:
        return label_key(label) in self._places

    @property
    def smallest(self) -> Jet:
        """The leanest size."""
        return self.sizes[0]

    @property
    def largest(self) -> Jet:
        """The richest size."""
        return self.sizes[-1]

    def jet(self, label: str | float) -> Jet:
        """The jet of that label. Raises ValueError when the ladder lacks it."""
        return self.sizes[self._place(label)]

    def step(self, label: str | float, sizes_richer: int) -> Jet:
        """The jet that many sizes richer, or leaner when negative; the end of the ladder where it would pass it."""
        place = self._place(label) + sizes_richer
        return self.sizes[min(max(place, 0), len(self.sizes) - 1)]

    def steps_between(self, from_label: str | float, to_label: str | float) -> int:
        """Sizes from one jet to another; positive is richer."""
        return self._place(to_label) - self._place(from_label)

    def neighbours(self, label: str | float) -> tuple[Jet | None, Jet | None]:
        """The next leaner and the next richer size; None at an end."""
        place = self._place(label)
        leaner = self.sizes[place - 1] if place > 0 else None
        richer = self.sizes[place + 1] if place + 1 < len(self.sizes) else None
        return leaner, richer

    def rounded_rich(self, bore_in: float) -> Jet | None:
        """The smallest size that feeds no less than this bore; None where the ladder ends below it."""
        # A hair of slack, or a bore worked out from itself would be rounded up a size.
        return next((jet for jet in self.sizes if jet.bore_in >= bore_in * (1.0 - 1e-9)), None)

    def on_hand(self) -> Ladder | None:
        """The ladder of the jets that the racer has; None where there are none."""
        have = [jet for jet in self.sizes if jet.on_hand]
        return Ladder(tuple(have)) if have else None

    def _place(self, label: str | float) -> int:
        key = label_key(label)
        if key not in self._places:
            raise ValueError(
                f"jet {label} is not on the ladder ({self.smallest.label} to {self.largest.label}); "
                "add it with its bore, or correct the label"
            )
        return self._places[key]


class Densities(Protocol):
    """Air as fuel metering feels it; `air.AirState` is one."""

    @property
    def moist_density_kg_m3(self) -> float:
        """What a venturi feels."""

    @property
    def dry_density_kg_m3(self) -> float:
        """What burns fuel."""


Metering = Literal["venturi", "throttle map", "displacement", "speed-density"]


# Gas constant of water vapour to that of dry air: the ratio of their molar masses.
VAPOUR_TO_AIR = 28.966 / 18.0153


def fuel_area_ratio(
    metering: Metering, base: Densities, now: Densities, fuel_density_ratio: float = 1.0, air_power: float = 0.5
) -> float:
    """Ratio by which jet area (or injected volume) must change to keep the base's mixture in today's air.

    metering 'venturi': oxygen follows dry density while the venturi already lets fuel follow the root of moist density,
    so (dry2/dry1) / sqrt(moist2/moist1). 'throttle map' (throttle position and speed) and 'displacement' (mechanical
    injection): nothing follows by itself, so the full dry2/dry1. 'speed-density': the computer follows pressure and
    temperature, so only what moisture takes from the air is left (up to about 2 %).
    air_power: of moist density in the fuel through a venturi's jet, 0.5 by the law, or what an engine's log taught.
    fuel_density_ratio: today's fuel density to the base's; an orifice passes its root, a pump the whole of it.
    Source: orifice and venturi laws; the root of density also in Heywood 1988 ch. 7 (from memory).
    Raises ValueError for another metering, or densities that are not positive.
    """
    if not (min(base.moist_density_kg_m3, base.dry_density_kg_m3) > 0.0 and fuel_density_ratio > 0.0):
        raise ValueError("air and fuel densities must be above zero")
    dry_ratio = now.dry_density_kg_m3 / base.dry_density_kg_m3
    fuel_term = math.sqrt(fuel_density_ratio)
    match metering:
        case "venturi":
            return dry_ratio / math.pow(now.moist_density_kg_m3 / base.moist_density_kg_m3, air_power) / fuel_term
        case "throttle map":
            return dry_ratio / fuel_term
        case "displacement":
            return dry_ratio / fuel_density_ratio
        case "speed-density":
            return dry_ratio / (_pressure_per_kelvin(now) / _pressure_per_kelvin(base)) / fuel_term
    raise ValueError(f"metering {metering!r} is not known; use venturi, throttle map, displacement or speed-density")


def _pressure_per_kelvin(air: Densities) -> float:
    """Pressure over temperature, in the unit of dry density: what a computer works out from its two sensors."""
    return air.dry_density_kg_m3 + VAPOUR_TO_AIR * (air.moist_density_kg_m3 - air.dry_density_kg_m3)


def mixture_drift_pct(area_ratio: float) -> float:
    """Change of the fuel-air ratio when nothing is changed though `fuel_area_ratio` asks for it; positive is richer."""
    if not area_ratio > 0.0:
        raise ValueError(f"area ratio of {area_ratio:g} is not possible; it must be above zero")
    return 100.0 * (1.0 / area_ratio - 1.0)


def jet_bore_for_ratio_in(bore_in: float, area_ratio: float, enrichment_area_in2: float = 0.0) -> float:
    """Bore of the main jet that scales the whole station by that ratio, the enrichment left alone.

    Raises ValueError when the enrichment alone feeds more than the station may.
    """
    area_in2 = area_ratio * station_area_in2(bore_in, enrichment_area_in2) - enrichment_area_in2
    if not area_in2 > 0.0:
        raise ValueError("the enrichment alone feeds more than this air asks for; make its restriction smaller")
    return bore_of_area_in(area_in2)


@dataclass(frozen=True, slots=True)
class Composition:
    """Atoms of carbon, hydrogen and oxygen in a molecule of fuel."""

    carbon: float
    hydrogen: float
    oxygen: float = 0.0

    @property
    def stoichiometric_afr(self) -> float:
        """Mass of air that burns a mass of this fuel completely."""
        oxygen_mol = self.carbon + self.hydrogen / 4.0 - self.oxygen / 2.0
        fuel_g_per_mol = (
            CARBON_G_PER_MOL * self.carbon + HYDROGEN_G_PER_MOL * self.hydrogen + OXYGEN_G_PER_MOL * self.oxygen
        )
        return oxygen_mol * AIR_G_PER_MOL_OXYGEN / fuel_g_per_mol


COMPOSITIONS: Mapping[str, Composition] = {
    "iso-octane": Composition(8.0, 18.0),
    "gasoline": Composition(1.0, 1.87),
    "toluene": Composition(7.0, 8.0),
    "ethanol": Composition(2.0, 6.0, 1.0),
    "methanol": Composition(1.0, 4.0, 1.0),
}


def blend_stoichiometric_afr(ethanol_volume_fraction: float, gasoline_afr: float | None = None) -> float:
    """Mass of air that burns a mass of gasoline with ethanol: 0.85 is E85, though a pump's E85 holds 0.51 to 0.83.

    gasoline_afr: of the base gasoline, by default that of CH1.87. The blend's range is of ASTM D5798 (from memory).
    Raises ValueError outside 0 to 1.
    """
    if not 0.0 <= ethanol_volume_fraction <= 1.0:
        raise ValueError(f"ethanol share of {ethanol_volume_fraction:g} is not possible; it lies between 0 and 1")
    base_afr = COMPOSITIONS["gasoline"].stoichiometric_afr if gasoline_afr is None else gasoline_afr
    ethanol_kg = ethanol_volume_fraction * ETHANOL_KG_M3
    gasoline_kg = (1.0 - ethanol_volume_fraction) * GASOLINE_KG_M3
    ethanol_afr = COMPOSITIONS["ethanol"].stoichiometric_afr
    return (ethanol_kg * ethanol_afr + gasoline_kg * base_afr) / (ethanol_kg + gasoline_kg)


def gasoline_density_kg_m3(density_15c_kg_m3: float, temp_c: float) -> float:
    """Density of gasoline at another temperature than the 15 °C of its data sheet."""
    if not 600.0 <= density_15c_kg_m3 <= 900.0:
        raise ValueError(
            f"fuel density of {density_15c_kg_m3:g} kg/m3 is not gasoline's; it lies between 600 and 900 kg/m3"
        )
    return density_15c_kg_m3 * (1.0 - GASOLINE_EXPANSION_PER_K * (temp_c - 15.0))
