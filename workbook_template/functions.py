"""The worksheet functions: name, arguments, help and what each works out. Knows no spreadsheet program.

A cell comes as a float, a text, a bool or None for a blank; several cells as rows of such.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from engine_rules.air import (
    AirState,
    relative_density_pct,
    station_pressure_pa,
    vapour_pressure_from_relative_humidity_pa,
)
from engine_rules.fuel import Jet, Ladder, fuel_area_ratio, jet_bore_for_ratio_in
from engine_rules.labels import label_key
from engine_rules.logbook import LogbookError
from engine_rules.spark import DISTRIBUTOR_TURNS_PER_CRANK_TURN, tab_bend_mm
from engine_rules.targets import default_targets
from workbook_template.function_values import (
    CellValue,
    Given,
    column_of,
    inside,
    inside_alike,
    is_zero_or_empty,
    one_cell,
    unit_of,
    word,
)

CATEGORY = "strapline"
PREFIX = "STRAPLINE_"
REFUSED = "#VALUE! "
WHY_NOT = "WHY_NOT"


@dataclass(frozen=True, slots=True)
class Argument:
    """One argument: its name, and what the function wizard says of it. several: it and all that follow."""

    name: str
    help: str
    optional: bool = False
    several: bool = False


@dataclass(frozen=True, slots=True)
class WorksheetFunction:
    """A function: its name without the prefix, help, arguments, and what works it out from what was given."""

    key: str
    help: str
    arguments: tuple[Argument, ...]
    work: Callable[..., CellValue]

    @property
    def name(self) -> str:
        """As written in a cell."""
        return PREFIX + self.key


def call(name: str, given: Sequence[Given]) -> CellValue:
    """What the function of that name, with or without the prefix, gives. Trailing arguments may be left out.

    Raises LogbookError with the reason.
    """
    key = name.strip().upper().removeprefix(PREFIX)
    if key not in FUNCTIONS:
        raise LogbookError(f"there is no function {name}; use one of {', '.join(FUNCTIONS)}")
    function = FUNCTIONS[key]
    if not function.arguments[-1].several:
        most = len(function.arguments)
        if len(given) > most:
            raise LogbookError(f"{function.name} takes {most} values and got {len(given)}; take some away")
        given = [*given, *[None] * (most - len(given))]
    try:
        return function.work(*given)
    except ValueError as error:
        raise LogbookError(str(error)) from None


def _air(temp: Given, pressure: Given, humidity: Given, when: str = "") -> AirState:
    temp_c = inside(temp, "air_temp", "the temperature" + when)
    pressure_pa = inside(pressure, "air_pressure", "the pressure" + when)
    humidity_pct = inside(humidity, "humidity", "the humidity" + when)
    # As in the log: cells shown as percent hold shares, and air as dry as 1 % is not met.
    humidity_pct *= 100.0 if humidity_pct <= 1.0 else 1.0
    return AirState(temp_c, pressure_pa, vapour_pressure_from_relative_humidity_pa(temp_c, humidity_pct / 100.0))


def _density_pct(temp: Given, pressure: Given, humidity: Given) -> float:
    return relative_density_pct(_air(temp, pressure, humidity).moist_density_kg_m3)


def _dry_density_pct(temp: Given, pressure: Given, humidity: Given) -> float:
    return relative_density_pct(_air(temp, pressure, humidity).dry_density_kg_m3)


def _density_altitude(temp: Given, pressure: Given, humidity: Given, unit: Given) -> float:
    written = unit_of(unit, "density_altitude", "the unit of the answer")
    return written.written(_air(temp, pressure, humidity).density_altitude_m)


def _station_pressure(pressure: Given, altitude: Given) -> float:
    unit = unit_of(pressure, "air_pressure", "the pressure")
    reported_pa = inside(pressure, "air_pressure", "the pressure")
    return unit.written(station_pressure_pa(reported_pa, inside(altitude, "altitude", "the altitude")))


def _jet(
    jet: Given, temp_then: Given, pressure_then: Given, humidity_then: Given, temp_now: Given, pressure_now: Given,
    humidity_now: Given, jets: Given, bores: Given, enrichment: Given,
) -> CellValue:  # fmt: skip
    then = _air(temp_then, pressure_then, humidity_then, " then")
    now = _air(temp_now, pressure_now, humidity_now, " now")
    thicker_pct = 100.0 * (now.moist_density_kg_m3 / then.moist_density_kg_m3 - 1.0)
    far_pct = default_targets()["air.density_far_pct"]
    if abs(thicker_pct) > far_pct:
        raise LogbookError(
            f"the air now is {abs(thicker_pct):.1f} % {'thicker' if thicker_pct > 0 else 'thinner'} than then, beyond "
            f"the {far_pct:g} % to which this can be trusted; make a run short of the limit and read its plugs"
        )
    area_in2 = _zero_or(enrichment, "enrichment_area", "the enrichment area")
    written = _ladder(jets, bores)
    ladder = Ladder(tuple(one for one, _ in written))
    fitted = ladder.jet(_label(one_cell(jet, "the jet"), "the jet"))
    bore_in = jet_bore_for_ratio_in(fitted.bore_in, fuel_area_ratio("venturi", then, now), area_in2)
    new = ladder.rounded_rich(bore_in)
    if new is None:
        raise LogbookError(
            f"{ladder.largest.label} is the largest jet given and too lean for this air; get a larger one"
        )
    new = fitted if new.bore_in == fitted.bore_in else new
    return next(label for one, label in written if one is new)


def _ladder(jets: Given, bores: Given) -> list[tuple[Jet, CellValue]]:
    """The jets of two ranges of one length, each with its label as the cell holds it; blank rows are passed over."""
    labels, written = column_of(jets), column_of(bores)
    if len(labels) != len(written):
        raise LogbookError(f"there are {len(labels)} jets and {len(written)} bores; give two ranges of one length")
    pairs = [pair for pair in zip(labels, written, strict=True) if not all(map(is_zero_or_empty, pair))]
    bores_in = inside_alike([bore for _, bore in pairs], "jet_bore", "the bore")
    return [
        (Jet(_label(label, "a jet of the list"), bore_in), label)
        for (label, _), bore_in in zip(pairs, bores_in, strict=True)
    ]


def _label(value: CellValue, what: str) -> str:
    if value is None or isinstance(value, bool):
        raise LogbookError(f"{what} is {'empty' if value is None else value}; give its label, such as 72")
    return label_key(value) if isinstance(value, float) else value


def _zero_or(given: Given, quantity: str, what: str) -> float:
    """The same as `inside`, where nothing and zero may be meant and do no harm."""
    return 0.0 if is_zero_or_empty(one_cell(given, what)) else inside(given, quantity, what)


def _tab_bend(change: Given, radius: Given, wheel: Given) -> float:
    change_deg = _zero_or(change, "timing_trim", "the change of timing")
    radius_mm = inside(radius, "tab_radius", "the radius of the tabs")
    turns: Mapping[str, float] = {"distributor": DISTRIBUTOR_TURNS_PER_CRANK_TURN, "crank": 1.0}
    return tab_bend_mm(change_deg, radius_mm, turns[word(wheel, tuple(turns), "the wheel")])


def _why_not(name: Given, *given: Given) -> str:
    written = one_cell(name, "the name")
    if not isinstance(written, str):
        raise LogbookError(f"name the function first, as a text such as {next(iter(FUNCTIONS))}")
    try:
        call(written, given)
    except LogbookError as error:
        return str(error)
    return ""


_TEMP = "Air temperature, such as 88 or a text with its unit: 24 °C. A number that fits two units is refused."
_PRESSURE = "Station pressure as a gauge shows it, such as 29.42 or 996. For a report's, see STATION_PRESSURE."
_HUMIDITY = "Relative humidity in percent, such as 45. A number up to 1 is a share: 0.45 is 45 %."
_AIR = (Argument("temperature", _TEMP), Argument("pressure", _PRESSURE), Argument("humidity", _HUMIDITY))


def _air_arguments(when: str, about: str) -> tuple[Argument, ...]:
    return tuple(Argument(f"{one.name}_{when}", f"{about}: {one.help}") for one in _AIR)


FUNCTIONS: Mapping[str, WorksheetFunction] = {
    function.key: function
    for function in (
        WorksheetFunction(
            "AIR",
            "Density of the air in percent of standard air (dry, 15 °C, 1013.25 hPa).",
            _AIR,
            _density_pct,
        ),
        WorksheetFunction(
            "DRY_AIR",
            "Density of the air less its water, which burns the fuel, in percent of standard air.",
            _AIR,
            _dry_density_pct,
        ),
        WorksheetFunction(
            "DENSITY_ALTITUDE",
            "Altitude of the standard atmosphere whose air is as dense.",
            (*_AIR, Argument("unit", "The unit of the answer, as a text: ft or m.")),
            _density_altitude,
        ),
        WorksheetFunction(
            "STATION_PRESSURE",
            "Pressure at the track, in the same unit, from the sea-level pressure that a weather report gives.",
            (
                Argument("pressure", "Sea-level pressure (altimeter setting) of the report, such as 30.02 or 1016."),
                Argument("altitude", "Altitude of the track, as a text with its unit: 850 ft."),
            ),
            _station_pressure,
        ),
        WorksheetFunction(
            "JET",
            "The jet of a carburetor that keeps the mixture of one day in the air of another, rounded to the rich "
            "side. Leave the timing, and read the plugs: no power is promised.",
            (
                Argument("jet", "The jet of that day, as it is labelled in the list."),
                *_air_arguments("then", "That day"),
                *_air_arguments("now", "Now"),
                Argument("jets", "Your jets: the cells with their labels. Give only those on hand."),
                Argument("bores", "Their bores, in inches or millimetres: as many cells beside them."),
                Argument(
                    "enrichment",
                    "Area that a power valve feeds beside the jet, as a text with its unit: 0.002 in². 0 if left out.",
                    optional=True,
                ),
            ),
            _jet,
        ),
        WorksheetFunction(
            "TAB_BEND_MM",
            "How far to move a trigger tab along its arc, in millimetres; below zero is later. Check with a timing "
            "light.",
            (
                Argument("change", "Change of timing in crank degrees; below zero is later."),
                Argument("radius", "Radius at which the tabs stand, such as 41 or a text with its unit: 1.6 in."),
                Argument("wheel", "distributor or crank, as a text; distributor if left out.", optional=True),
            ),
            _tab_bend,
        ),
        WorksheetFunction(
            WHY_NOT,
            "Why another of these functions gives an error, in a sentence; empty where it does not.",
            (
                Argument("name", "The function's name, as a text: AIR."),
                Argument("values", "The values that it was given, in its order.", several=True),
            ),
            _why_not,
        ),
    )
}
