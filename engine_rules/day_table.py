"""The table of a day: what to fit as temperature and pressure, or density altitude, go their way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from engine_rules.air import (
    HIGHEST_PRESSURE_PA,
    HIGHEST_TEMP_C,
    LOWEST_PRESSURE_PA,
    LOWEST_TEMP_C,
    AirState,
    saturation_vapour_pressure_pa,
    standard_air,
    vapour_pressure_from_water_content_pa,
)
from engine_rules.air_today import AirDensity, KnownAir
from engine_rules.retune_basis import Basis

REACH = 3  # steps to each side of today


@dataclass(frozen=True, slots=True)
class DayCell:
    """What to fit in one air: jets in the order of the engine's stations, or the change of fuel in percent.

    beyond: the air is too far from the reference's to trust this. lean: no jet on hand is large enough.
    """

    jets: tuple[str, ...]
    fuel_pct: float | None
    beyond: bool
    lean: bool


@dataclass(frozen=True, slots=True)
class DayTable:
    """Cells by row and column. Down: pressures_pa or, where temps_c is empty, density altitudes; across: temps_c.

    today: row and column of today's own air, which stands in the axes as it is.
    """

    temps_c: tuple[float, ...]
    pressures_pa: tuple[float, ...]
    altitudes_m: tuple[float, ...]
    cells: tuple[tuple[DayCell, ...], ...]
    today: tuple[int, int]

    def as_json(self) -> dict[str, Any]:
        """The same as plain JSON data."""
        return {
            "temps_c": list(self.temps_c),
            "pressures_pa": list(self.pressures_pa),
            "density_altitudes_m": list(self.altitudes_m),
            "cells": [[asdict(cell) for cell in row] for row in self.cells],
            "today": list(self.today),
        }


@dataclass(frozen=True, slots=True)
class Axis:
    """Round values beside today's: multiples of `step`, counted from `zero`."""

    step: float
    zero: float = 0.0

    def around(self, today: float, lowest: float, highest: float) -> tuple[float, ...]:
        """Today's value in its place among its neighbours, rising; those that cannot be are left out."""
        middle = round((today - self.zero) / self.step)
        round_values = [self.zero + self.step * (middle + at) for at in range(-REACH, REACH + 1) if at]
        return tuple(sorted([today, *(one for one in round_values if lowest <= one <= highest)]))


def day_table(of: Basis, today: KnownAir, temps_c: Axis, pressures_pa: Axis, altitudes_m: Axis) -> DayTable:
    """The table around today's air, whose water content stays as it is through the day.

    Where temperature and pressure are not known it goes by density altitude alone: at one water content the jets of a
    density altitude are the same at every temperature.
    """
    if isinstance(today, AirDensity):
        altitudes = altitudes_m.around(today.density_altitude_m, -2500.0, 6000.0)
        airs: Sequence[Sequence[KnownAir]] = [[_at_altitude(today, one)] for one in altitudes]
        return DayTable((), (), altitudes, _cells(of, airs), (altitudes.index(today.density_altitude_m), 0))
    temps = temps_c.around(today.temp_c, LOWEST_TEMP_C, HIGHEST_TEMP_C)
    pressures = pressures_pa.around(today.pressure_pa, LOWEST_PRESSURE_PA, HIGHEST_PRESSURE_PA)
    airs = [[_at(today, temp, pressure) for temp in temps] for pressure in pressures]
    place = (pressures.index(today.pressure_pa), temps.index(today.temp_c))
    return DayTable(temps, pressures, (), _cells(of, airs), place)


def _cells(of: Basis, airs: Sequence[Sequence[KnownAir]]) -> tuple[tuple[DayCell, ...], ...]:
    return tuple(tuple(_cell(of, air) for air in row) for row in airs)


def _cell(of: Basis, air: KnownAir) -> DayCell:
    fuel, jets = of.fuel_change(air), of.jets(air)
    return DayCell(
        jets=tuple(jet.new for jet in jets),
        fuel_pct=None if fuel is None else fuel.change_pct,
        beyond=of.is_far(air),
        lean=any(jet.is_lean for jet in jets),
    )


def _at(today: AirState, temp_c: float, pressure_pa: float) -> AirState:
    if (temp_c, pressure_pa) == (today.temp_c, today.pressure_pa):
        return today
    vapour_pa = vapour_pressure_from_water_content_pa(1000.0 * today.humidity_ratio, pressure_pa)
    return AirState(temp_c, pressure_pa, min(vapour_pa, saturation_vapour_pressure_pa(temp_c)))


def _at_altitude(today: AirDensity, altitude_m: float) -> AirDensity:
    if altitude_m == today.density_altitude_m:
        return today
    moist = standard_air(altitude_m).density_kg_m3
    return AirDensity(moist, moist / (1.0 + today.humidity_ratio))
