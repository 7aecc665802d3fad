"""Today's air from whatever the racer has at hand: gauges, a weather report, or densities that an instrument shows.

Units as in `air`: Celsius, pascal, metres, kg/m3; water in grams to a kilogram of dry air.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine_rules.air import (
    DRY_AIR_J_PER_KG_K,
    ZERO_C_IN_K,
    AirState,
    density_altitude_m,
    pressure_altitude_m,
    standard_air,
    station_pressure_pa,
    vapour_pressure_from_dew_point_pa,
    vapour_pressure_from_relative_humidity_pa,
    vapour_pressure_from_water_content_pa,
)
from engine_rules.fuel import VAPOUR_TO_AIR
from engine_rules.targets import Targets

MOISTURES = "humidity, water content, vapour pressure, dew point and dry density"
DRY = "no moisture was given, so the air was taken as dry; that can only err to the rich side"


@dataclass(frozen=True, slots=True)
class AirDensity:
    """Air of which only the two densities are known: enough for jets, not for a table by temperature."""

    moist_density_kg_m3: float
    dry_density_kg_m3: float

    def __post_init__(self) -> None:
        density_altitude_m(self.moist_density_kg_m3)
        if not 0.9 * self.moist_density_kg_m3 <= self.dry_density_kg_m3 <= 1.001 * self.moist_density_kg_m3:
            raise ValueError(
                f"dry density of {self.dry_density_kg_m3:.4g} kg/m3 does not go with a density of "
                f"{self.moist_density_kg_m3:.4g} kg/m3: it is the same less its water, at most a tenth"
            )

    @property
    def humidity_ratio(self) -> float:
        """Mass of water to mass of dry air."""
        return max(0.0, self.moist_density_kg_m3 / self.dry_density_kg_m3 - 1.0)

    @property
    def density_altitude_m(self) -> float:
        """Altitude of the standard atmosphere that has the same moist density."""
        return density_altitude_m(self.moist_density_kg_m3)

    @property
    def dry_density_altitude_m(self) -> float:
        """Altitude of the standard atmosphere that has the same dry density."""
        return density_altitude_m(self.dry_density_kg_m3)


KnownAir = AirState | AirDensity


@dataclass(frozen=True, slots=True)
class AirGiven:
    """What the racer gave, None where nothing; at most one measure of moisture.

    pressure_kind: 'station' or 'sea-level' (an altimeter setting, which needs the altitude of the track).
    """

    temp_c: float | None = None
    pressure_pa: float | None = None
    pressure_kind: str = "station"
    altitude_m: float | None = None
    humidity_pct: float | None = None
    water_g_per_kg: float | None = None
    vapour_pressure_pa: float | None = None
    dew_point_c: float | None = None
    density_altitude_m: float | None = None
    dry_density_kg_m3: float | None = None

    @property
    def moistures(self) -> int:
        """How many measures of moisture there are; a dry density beside temperature and pressure is one."""
        measures = (
            self.humidity_pct,
            self.water_g_per_kg,
            self.vapour_pressure_pa,
            self.dew_point_c,
            self.dry_density_kg_m3,
        )
        return sum(measure is not None for measure in measures)


@dataclass(frozen=True, slots=True)
class TodaysAir:
    """The air, and what had to be taken for granted or looks odd, each a sentence."""

    air: KnownAir
    remarks: tuple[str, ...] = ()


def todays_air(given: AirGiven, targets: Targets) -> TodaysAir:
    """The air of today. Raises ValueError, with what to give instead, for too little, too much or what cannot be."""
    if given.moistures > 1:
        raise ValueError(f"{MOISTURES} all tell the moisture; give one of them")
    if given.density_altitude_m is not None:
        if given.pressure_pa is not None:
            raise ValueError("density altitude and pressure tell the same; give one of them")
        return TodaysAir(_at_density_altitude(given, given.density_altitude_m), _dryness(given))
    if given.temp_c is not None and given.pressure_pa is not None:
        return _at_pressure(given, given.temp_c, given.pressure_pa, targets)
    if given.dry_density_kg_m3 is not None and given.temp_c is None and given.pressure_pa is None:
        return TodaysAir(AirDensity(given.dry_density_kg_m3, given.dry_density_kg_m3), (DRY,))
    raise ValueError("the air is not known well enough; give temperature and pressure, or the density altitude")


def _dryness(given: AirGiven) -> tuple[str, ...]:
    return () if given.moistures else (DRY,)


def _at_pressure(given: AirGiven, temp_c: float, pressure_pa: float, targets: Targets) -> TodaysAir:
    remarks = list(_dryness(given))
    if given.pressure_kind == "sea-level":
        if given.altitude_m is None:
            raise ValueError("a sea-level pressure says nothing without the altitude of the track; give that too")
        pressure_pa = station_pressure_pa(pressure_pa, given.altitude_m)
    elif looks_like_sea_level(pressure_pa, given.altitude_m, targets):
        remarks.append(
            "today's pressure is high for that altitude: if it is a sea-level one from a weather report, say so, or "
            "the jets come out too rich"
        )
    if given.dry_density_kg_m3 is not None:
        vapour_pa = pressure_pa - given.dry_density_kg_m3 * DRY_AIR_J_PER_KG_K * (temp_c + ZERO_C_IN_K)
        if vapour_pa < -0.002 * pressure_pa:
            raise ValueError("that dry density is more than dry air has at this temperature and pressure; check them")
        return TodaysAir(AirState(temp_c, pressure_pa, max(0.0, vapour_pa)), tuple(remarks))
    return TodaysAir(AirState(temp_c, pressure_pa, _vapour_pa(given, temp_c, pressure_pa)), tuple(remarks))


def _vapour_pa(given: AirGiven, temp_c: float, pressure_pa: float) -> float:
    if given.water_g_per_kg is not None:
        return vapour_pressure_from_water_content_pa(given.water_g_per_kg, pressure_pa)
    return _vapour_without_pressure_pa(given, temp_c)


def _vapour_without_pressure_pa(given: AirGiven, temp_c: float) -> float:
    if given.humidity_pct is not None:
        return vapour_pressure_from_relative_humidity_pa(temp_c, given.humidity_pct / 100.0)
    if given.dew_point_c is not None:
        if given.dew_point_c > temp_c + 0.3:
            raise ValueError("the dew point is above the temperature; swap or check them")
        return vapour_pressure_from_dew_point_pa(given.dew_point_c)
    return given.vapour_pressure_pa or 0.0


def _at_density_altitude(given: AirGiven, altitude_m: float) -> KnownAir:
    moist = standard_air(altitude_m).density_kg_m3
    if given.dry_density_kg_m3 is not None:
        return AirDensity(moist, given.dry_density_kg_m3)
    if given.water_g_per_kg is not None:
        return AirDensity(moist, moist / (1.0 + given.water_g_per_kg / 1000.0))
    if given.temp_c is not None:
        # Moist air of that density, solved for its pressure: water weighs less than the air that it displaces.
        vapour_pa = _vapour_without_pressure_pa(given, given.temp_c)
        dry_as_pa = moist * DRY_AIR_J_PER_KG_K * (given.temp_c + ZERO_C_IN_K)
        return AirState(given.temp_c, dry_as_pa + vapour_pa * (1.0 - 1.0 / VAPOUR_TO_AIR), vapour_pa)
    if given.moistures:
        raise ValueError("with a density altitude this moisture also needs the temperature; give that, or grains")
    return AirDensity(moist, moist)


def looks_like_sea_level(pressure_pa: float, altitude_m: float | None, targets: Targets) -> bool:
    """True where a station pressure is so high for the altitude that it was likely brought to sea level."""
    if altitude_m is None:
        return False
    return altitude_m - pressure_altitude_m(pressure_pa) > targets["air.pressure_altitude_off_m"]
