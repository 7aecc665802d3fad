"""The air of a logged run."""

from __future__ import annotations

from engine_rules.air import AirState, station_pressure_pa, vapour_pressure_from_relative_humidity_pa
from engine_rules.logbook import Air


def air_state(air: Air) -> AirState | None:
    """The air of a run, or None when temperature, station pressure or humidity cannot be had."""
    if air.temp_c is None or air.pressure_pa is None or air.humidity_pct is None:
        return None
    pressure = air.pressure_pa.value
    if air.pressure_kind is not None and air.pressure_kind.value == "sea-level":
        if air.altitude_m is None:
            return None
        pressure = station_pressure_pa(pressure, air.altitude_m.value)
    vapour = vapour_pressure_from_relative_humidity_pa(air.temp_c.value, air.humidity_pct.value / 100)
    return AirState(air.temp_c.value, pressure, vapour)
