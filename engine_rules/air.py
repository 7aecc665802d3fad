"""Air: moisture, density, altitude, what the air does to power, and what a quarter mile says about power.

Temperatures are Celsius, pressures pascal, densities kg/m3, altitudes metres, unless a name says otherwise.
Vapour pressures come from psychrolib (ASHRAE Handbook, Fundamentals 2017, ch. 1); densities are ideal-gas.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import ModuleType

ZERO_C_IN_K = 273.15
PA_PER_INHG = 3386.389
PA_PER_MBAR = 100.0
METRES_PER_FOOT = 0.3048
GRAINS_PER_LB = 7000.0
WATTS_PER_HP = 745.699872
KG_PER_LB = 0.45359237
M_S_PER_MPH = 0.44704

# US Standard Atmosphere 1976, lowest layer.
STANDARD_TEMP_K = 288.15
STANDARD_PRESSURE_PA = 101325.0
STANDARD_DENSITY_KG_M3 = 1.225
STANDARD_LAPSE_K_PER_M = 0.0065
STANDARD_LAYER_TOP_M = 11000.0
STANDARD_PRESSURE_EXPONENT = 5.25588
DRY_AIR_J_PER_KG_K = 287.05287

LOWEST_TEMP_C, HIGHEST_TEMP_C = -60.0, 70.0
LOWEST_PRESSURE_PA, HIGHEST_PRESSURE_PA = 40_000.0, 115_000.0


def _private_psychrolib() -> ModuleType:
    # psychrolib keeps its unit system in one global of the module: another user of it in the same process could
    # switch it to inches and pounds. A copy of our own cannot be switched by anybody.
    spec = importlib.util.find_spec("psychrolib")
    if spec is None or spec.loader is None:
        raise ImportError("psychrolib is not installed; install it with: pip install psychrolib")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module.SetUnitSystem(module.SI)
    return module


_PSYCHRO = _private_psychrolib()


def _check_temp(temp_c: float, what: str = "air temperature") -> None:
    if not LOWEST_TEMP_C <= temp_c <= HIGHEST_TEMP_C:
        raise ValueError(
            f"{what} of {temp_c:g} °C is not possible; it lies between {LOWEST_TEMP_C:g} and {HIGHEST_TEMP_C:g} °C"
        )


def _check_pressure(pressure_pa: float) -> None:
    if not LOWEST_PRESSURE_PA <= pressure_pa <= HIGHEST_PRESSURE_PA:
        raise ValueError(
            f"air pressure of {pressure_pa / 100:g} hPa is not possible; it lies between "
            f"{LOWEST_PRESSURE_PA / 100:g} and {HIGHEST_PRESSURE_PA / 100:g} hPa "
            f"({LOWEST_PRESSURE_PA / PA_PER_INHG:.1f} and {HIGHEST_PRESSURE_PA / PA_PER_INHG:.1f} inHg)"
        )


def saturation_vapour_pressure_pa(temp_c: float) -> float:
    """Pressure of water vapour in saturated air: over water, or over ice below 0.01 °C.

    Source: ASHRAE Fundamentals 2017 ch. 1 eqn 5 and 6 (psychrolib). Raises ValueError outside -60 to 70 °C.
    """
    _check_temp(temp_c)
    return float(_PSYCHRO.GetSatVapPres(temp_c))


def vapour_pressure_from_relative_humidity_pa(temp_c: float, relative_humidity_fraction: float) -> float:
    """Vapour pressure from relative humidity, 0 to 1. Raises ValueError outside that."""
    if not 0.0 <= relative_humidity_fraction <= 1.0:
        raise ValueError(
            f"relative humidity of {relative_humidity_fraction * 100:g} % is not possible; it lies between 0 and 100 %"
        )
    return relative_humidity_fraction * saturation_vapour_pressure_pa(temp_c)


def vapour_pressure_from_dew_point_pa(dew_point_c: float) -> float:
    """Vapour pressure of air that would be saturated at the dew point."""
    _check_temp(dew_point_c, "dew point")
    return saturation_vapour_pressure_pa(dew_point_c)


def vapour_pressure_from_wet_bulb_pa(temp_c: float, wet_bulb_c: float, pressure_pa: float) -> float:
    """Vapour pressure from the dry and the wet thermometer and the station pressure.

    Source: ASHRAE Fundamentals 2017 ch. 1 eqn 33 and 35 (psychrolib). Raises ValueError when the wet bulb reads above
    the dry bulb, or so far below it that no air is that dry.
    """
    _check_temp(temp_c)
    _check_temp(wet_bulb_c, "wet bulb temperature")
    _check_pressure(pressure_pa)
    if wet_bulb_c > temp_c:
        raise ValueError(
            f"wet bulb of {wet_bulb_c:g} °C reads above the dry bulb of {temp_c:g} °C; swap them or re-read"
        )
    humidity_ratio = float(_PSYCHRO.GetHumRatioFromTWetBulb(temp_c, wet_bulb_c, pressure_pa))
    if humidity_ratio <= _PSYCHRO.MIN_HUM_RATIO:
        raise ValueError(f"wet bulb of {wet_bulb_c:g} °C is too low for air of {temp_c:g} °C: no air is that dry")
    return float(_PSYCHRO.GetVapPresFromHumRatio(humidity_ratio, pressure_pa))


def vapour_pressure_from_water_content_pa(water_g_per_kg_dry_air: float, pressure_pa: float) -> float:
    """Vapour pressure from grams of water in a kilogram of dry air. Source: ASHRAE eqn 20 (psychrolib)."""
    _check_pressure(pressure_pa)
    if not 0.0 <= water_g_per_kg_dry_air <= 100.0:
        raise ValueError(
            f"water content of {water_g_per_kg_dry_air:g} g/kg is not possible; it lies between 0 and 100 g/kg"
        )
    if water_g_per_kg_dry_air == 0.0:
        return 0.0
    return float(_PSYCHRO.GetVapPresFromHumRatio(water_g_per_kg_dry_air / 1000.0, pressure_pa))


def water_content_from_grains_g_per_kg(grains_per_lb_dry_air: float) -> float:
    """Grams of water in a kilogram of dry air from grains in a pound of it (7000 grains are a pound)."""
    return grains_per_lb_dry_air / GRAINS_PER_LB * 1000.0


@dataclass(frozen=True, slots=True)
class AirState:
    """Air as the engine breathes it: temperature, station pressure (not reduced to sea level), vapour pressure.

    Raises ValueError for air that cannot be, such as air that holds more water than saturated air.
    """

    temp_c: float
    pressure_pa: float
    vapour_pressure_pa: float = 0.0

    def __post_init__(self) -> None:
        _check_temp(self.temp_c)
        _check_pressure(self.pressure_pa)
        # Two roundings of a weather slip can put the dew point a hair above the temperature in fog.
        most_pa = 1.02 * saturation_vapour_pressure_pa(self.temp_c)
        if not 0.0 <= self.vapour_pressure_pa <= most_pa:
            raise ValueError(
                f"vapour pressure of {self.vapour_pressure_pa:.0f} Pa is not possible in air of {self.temp_c:g} °C; "
                f"it lies between 0 and {most_pa:.0f} Pa"
            )

    @property
    def humidity_ratio(self) -> float:
        """Mass of water to mass of dry air."""
        if self.vapour_pressure_pa == 0.0:
            return 0.0
        return float(_PSYCHRO.GetHumRatioFromVapPres(self.vapour_pressure_pa, self.pressure_pa))

    @property
    def moist_density_kg_m3(self) -> float:
        """Mass of air and water in a cubic metre: what a venturi feels."""
        return float(_PSYCHRO.GetMoistAirDensity(self.temp_c, self.humidity_ratio, self.pressure_pa))

    @property
    def dry_density_kg_m3(self) -> float:
        """Mass of air without its water in a cubic metre: what burns fuel."""
        return float(1.0 / _PSYCHRO.GetMoistAirVolume(self.temp_c, self.humidity_ratio, self.pressure_pa))

    @property
    def dry_pressure_pa(self) -> float:
        """Station pressure less vapour pressure."""
        return self.pressure_pa - self.vapour_pressure_pa

    @property
    def relative_humidity_fraction(self) -> float:
        """Vapour pressure to that of saturated air."""
        return self.vapour_pressure_pa / saturation_vapour_pressure_pa(self.temp_c)

    @property
    def density_altitude_m(self) -> float:
        """Altitude of the standard atmosphere that has the same moist density."""
        return density_altitude_m(self.moist_density_kg_m3)

    @property
    def dry_density_altitude_m(self) -> float:
        """Altitude of the standard atmosphere that has the same dry density ("oxygen" density altitude)."""
        return density_altitude_m(self.dry_density_kg_m3)


def station_pressure_pa(altimeter_setting_pa: float, altitude_m: float) -> float:
    """Pressure at the field from the altimeter setting that a weather report gives.

    Source: National Weather Service station-pressure form, P = A ((288 - 0.0065 h) / 288)^5.2561 (constants from
    memory). Raises ValueError outside -500 to 6000 m.
    """
    _check_pressure(altimeter_setting_pa)
    _check_field_altitude(altitude_m)
    return float(altimeter_setting_pa * ((288.0 - STANDARD_LAPSE_K_PER_M * altitude_m) / 288.0) ** 5.2561)


def station_pressure_from_sea_level_pa(sea_level_pressure_pa: float, altitude_m: float, temp_c: float) -> float:
    """Pressure at the field from pressure reduced to sea level with the day's own temperature.

    Source: psychrolib GetStationPressure (hypsometric form). Raises ValueError outside -500 to 6000 m.
    """
    _check_pressure(sea_level_pressure_pa)
    _check_field_altitude(altitude_m)
    _check_temp(temp_c)
    return float(_PSYCHRO.GetStationPressure(sea_level_pressure_pa, altitude_m, temp_c))


def _check_field_altitude(altitude_m: float) -> None:
    if not -500.0 <= altitude_m <= 6000.0:
        raise ValueError(f"field altitude of {altitude_m:g} m is not possible; it lies between -500 and 6000 m")


@dataclass(frozen=True, slots=True)
class StandardAir:
    """Dry air of the standard atmosphere at one altitude."""

    temp_k: float
    pressure_pa: float
    density_kg_m3: float


def standard_air(altitude_m: float) -> StandardAir:
    """The US Standard Atmosphere 1976 at a geopotential altitude. Raises ValueError outside -5000 to 11000 m."""
    if not -5000.0 <= altitude_m <= STANDARD_LAYER_TOP_M:
        raise ValueError(f"altitude of {altitude_m:g} m is outside the layer from -5000 to {STANDARD_LAYER_TOP_M:g} m")
    temp_k = STANDARD_TEMP_K - STANDARD_LAPSE_K_PER_M * altitude_m
    pressure_pa = STANDARD_PRESSURE_PA * (temp_k / STANDARD_TEMP_K) ** STANDARD_PRESSURE_EXPONENT
    return StandardAir(temp_k, pressure_pa, pressure_pa / (DRY_AIR_J_PER_KG_K * temp_k))


def pressure_altitude_m(pressure_pa: float) -> float:
    """Altitude of the standard atmosphere that has this station pressure."""
    _check_pressure(pressure_pa)
    ratio = (pressure_pa / STANDARD_PRESSURE_PA) ** (1.0 / STANDARD_PRESSURE_EXPONENT)
    return float(STANDARD_TEMP_K / STANDARD_LAPSE_K_PER_M * (1.0 - ratio))


def density_altitude_m(density_kg_m3: float) -> float:
    """Altitude of the standard atmosphere that has this density; negative in air thicker than at sea level.

    Source: US Standard Atmosphere 1976, solved for altitude. Raises ValueError for densities that no track has.
    """
    if not 0.37 <= density_kg_m3 <= 2.0:
        raise ValueError(f"air density of {density_kg_m3:g} kg/m3 is not possible; it lies between 0.37 and 2 kg/m3")
    ratio = (density_kg_m3 / STANDARD_DENSITY_KG_M3) ** (1.0 / (STANDARD_PRESSURE_EXPONENT - 1.0))
    return float(STANDARD_TEMP_K / STANDARD_LAPSE_K_PER_M * (1.0 - ratio))


def weather_service_density_altitude_m(temp_c: float, pressure_pa: float, vapour_pressure_pa: float) -> float:
    """Density altitude as the National Weather Service works it out from virtual temperature and station pressure.

    It reads 4 to 6 m above `density_altitude_m`. Source: National Weather Service density altitude formula.
    """
    air = AirState(temp_c, pressure_pa, vapour_pressure_pa)
    virtual_k = (air.temp_c + ZERO_C_IN_K) / (1.0 - air.vapour_pressure_pa / air.pressure_pa * (1.0 - 0.622))
    virtual_r = 9.0 / 5.0 * (virtual_k - ZERO_C_IN_K) + 32.0 + 459.69
    altitude_ft = 145366.0 * (1.0 - (17.326 * air.pressure_pa / PA_PER_INHG / virtual_r) ** 0.235)
    return float(altitude_ft * METRES_PER_FOOT)


def relative_density_pct(density_kg_m3: float) -> float:
    """Air density in percent of the standard atmosphere at sea level."""
    return 100.0 * density_kg_m3 / STANDARD_DENSITY_KG_M3


# ISO 1585 gives this range; J1349 has nearly the same (both from memory). It is taken over for the other two:
# common practice, no source.
LOWEST_FACTOR, HIGHEST_FACTOR = 0.93, 1.07


@dataclass(frozen=True, slots=True)
class PowerCorrection:
    """The factor of one standard, and whether it lies in the range in which a correction can be trusted."""

    standard: str
    factor: float

    @property
    def within_limits(self) -> bool:
        """False where the air is so far from standard that the standard itself would not correct for it."""
        return LOWEST_FACTOR <= self.factor <= HIGHEST_FACTOR


def _j1349(air: AirState) -> float:
    dry_mbar = air.dry_pressure_pa / PA_PER_MBAR
    return float(1.18 * (990.0 / dry_mbar) * ((air.temp_c + 273.0) / 298.0) ** 0.5 - 0.18)


def _j607(air: AirState) -> float:
    temp_f = 1.8 * air.temp_c + 32.0
    return float(29.92 / (air.dry_pressure_pa / PA_PER_INHG) * ((temp_f + 460.0) / 520.0) ** 0.5)


def _iso_1585(air: AirState) -> float:
    return float((99_000.0 / air.dry_pressure_pa) ** 1.2 * ((air.temp_c + 273.0) / 298.0) ** 0.6)


def _din_70020(air: AirState) -> float:
    return float(1013.0 / (air.pressure_pa / PA_PER_MBAR) * ((air.temp_c + 273.0) / 293.0) ** 0.5)


_FACTORS: Mapping[str, Callable[[AirState], float]] = {
    "J1349": _j1349,
    "J607": _j607,
    "ISO 1585": _iso_1585,
    "DIN 70020": _din_70020,
}
POWER_STANDARDS = tuple(_FACTORS)


def power_correction(air: AirState, standard: str = "J1349") -> PowerCorrection:
    """The factor that turns power as measured into power in the standard's air (spark ignition, no boost).

    standard: one of POWER_STANDARDS; never mix two (J607 reads 4.0 % above J1349). Sources: SAE J1349 and J607, ISO
    1585 and DIN 70020; the constants of J1349 and ISO 1585 are from memory. Raises ValueError for another name.
    """
    if standard not in _FACTORS:
        raise ValueError(f"power standard {standard!r} is not known; use one of {', '.join(POWER_STANDARDS)}")
    return PowerCorrection(standard, _FACTORS[standard](air))


@dataclass(frozen=True, slots=True)
class QuarterMileLaw:
    """speed in mph = speed_constant (hp/lb)^(1/3); elapsed time in s = time_constant (lb/hp)^(1/3)."""

    speed_constant: float
    time_constant: float


# Huntington 1958; Fox, American Journal of Physics 1973; Hale.
HUNTINGTON = QuarterMileLaw(224.0, 6.290)
FOX = QuarterMileLaw(230.0, 6.269)
HALE = QuarterMileLaw(234.0, 5.825)


def power_from_trap_speed_w(speed_m_s: float, mass_kg: float, law: QuarterMileLaw = HALE) -> float:
    """Power from the speed at the end of a quarter mile and the mass with driver. Raises ValueError unless positive."""
    _check_positive(speed_m_s, "trap speed")
    _check_positive(mass_kg, "mass")
    return float(mass_kg / KG_PER_LB * (speed_m_s / M_S_PER_MPH / law.speed_constant) ** 3 * WATTS_PER_HP)


def power_from_elapsed_time_w(elapsed_s: float, mass_kg: float, law: QuarterMileLaw = HALE) -> float:
    """Power from the elapsed time of a quarter mile and the mass with driver: carries the launch, so a lower bound."""
    _check_positive(elapsed_s, "elapsed time")
    _check_positive(mass_kg, "mass")
    return float(mass_kg / KG_PER_LB * (law.time_constant / elapsed_s) ** 3 * WATTS_PER_HP)


def corrected_trap_speed_m_s(speed_m_s: float, factor: float) -> float:
    """Trap speed in standard air: speed goes with the cube root of power.

    Drag falls with density too, so the true exponent is somewhat smaller.
    """
    _check_positive(speed_m_s, "trap speed")
    _check_positive(factor, "power correction factor")
    return float(speed_m_s * factor ** (1.0 / 3.0))


def corrected_elapsed_time_s(elapsed_s: float, factor: float) -> float:
    """Elapsed time in standard air: time goes with the cube root of power, inverted."""
    _check_positive(elapsed_s, "elapsed time")
    _check_positive(factor, "power correction factor")
    return float(elapsed_s / factor ** (1.0 / 3.0))


def _check_positive(value: float, what: str) -> None:
    if not value > 0.0:
        raise ValueError(f"{what} of {value:g} is not possible; it must be above zero")
