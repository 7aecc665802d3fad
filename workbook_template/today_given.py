"""Today's air as written on the command line: numbers with or without a unit, in the words of the log."""

from __future__ import annotations

import math
from collections.abc import Mapping

from engine_rules.air_today import AirGiven, TodaysAir, todays_air
from engine_rules.logbook import LogbookError
from engine_rules.targets import Targets
from workbook_template.layout import Quantity, layout
from workbook_template.read_values import parse_measure

# Option -> field of AirGiven, quantity of the layout.
OPTIONS = {
    "--temp": ("temp_c", "air_temp"),
    "--pressure": ("pressure_pa", "air_pressure"),
    "--altitude": ("altitude_m", "altitude"),
    "--humidity": ("humidity_pct", "humidity"),
    "--grains": ("water_g_per_kg", "water_content"),
    "--vapour-pressure": ("vapour_pressure_pa", "vapour_pressure"),
    "--dew-point": ("dew_point_c", "dew_point"),
    "--density-altitude": ("density_altitude_m", "density_altitude"),
    "--dry-density": ("dry_density_kg_m3", "air_density"),
}
KIND = "--pressure-kind"


def air_given(written: Mapping[str, str | None], house: str, targets: Targets) -> TodaysAir:
    """Today's air. written: option -> what stands behind it; a number without a unit is in the house's.

    Raises LogbookError, with the option and what to write, for what cannot be used.
    """
    fields: dict[str, float] = {}
    for option, (key, quantity) in OPTIONS.items():
        text = written.get(option)
        if text is not None:
            fields[key] = _amount(option, text, layout().quantities[quantity], house)
    kind = written.get(KIND)
    word = layout().lists["pressure_kind"].find(kind) if kind is not None else "station"
    if word is None:
        raise LogbookError(f"{KIND} '{kind}' is not known; write station or sea-level")
    try:
        return todays_air(AirGiven(**fields, pressure_kind=word), targets)
    except ValueError as error:
        raise LogbookError(f"today's air: {error}") from None


def _amount(option: str, text: str, quantity: Quantity, house: str) -> float:
    measure = parse_measure(text)
    unit = quantity.house_unit(house)
    if measure is not None and measure[1]:
        named = quantity.unit(measure[1])
        if named is None:
            known = ", ".join(quantity.units)
            raise LogbookError(f"{option} '{text}' has a unit that is not known here; write one of {known}")
        unit = named
    if measure is None or not math.isfinite(measure[0]):
        raise LogbookError(f"{option} '{text}' is not a number; write one, with its unit if it is not {unit.name}")
    inside = unit.inside(measure[0])
    if not quantity.holds(inside):
        low, high = unit.written(quantity.lowest), unit.written(quantity.highest)
        raise LogbookError(
            f"{option} {measure[0]:g} {unit.name} is not possible, it lies between {low:.4g} and {high:.4g}; correct "
            f"it, or write the unit behind it ({', '.join(quantity.units)})"
        )
    return inside
