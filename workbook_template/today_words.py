"""Today's air and jets in words and round numbers, for the terminal and for the sheet Today alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from engine_rules.air import GRAINS_PER_LB, AirState, relative_density_pct
from engine_rules.air_today import KnownAir
from engine_rules.day_table import Axis, DayCell, DayTable
from engine_rules.retune import Retune
from engine_rules.retune_basis import Basis, Exponent, StationJet
from workbook_template.layout import Unit, layout
from workbook_template.wording import MINUS, plain, signed

UNKNOWN = "not known"
THE_LAW = 0.5
BEYOND, LEAN = "*", "!"


@dataclass(frozen=True, slots=True)
class House:
    """The units of a 'us' or an 'si' workbook, and the round steps of its table of the day."""

    name: str

    def unit(self, quantity: str) -> Unit:
        """The house's unit of a quantity."""
        return layout().quantities[quantity].house_unit(self.name)

    def said(self, quantity: str, inside: float) -> str:
        """'72 °F', '29.42 inHg'."""
        return f"{self.number(quantity, inside)} {self.unit(quantity).name}"

    def number(self, quantity: str, inside: float) -> str:
        """The bare number with the places that the unit deserves."""
        unit = self.unit(quantity)
        places = _PLACES.get(unit.name, 0)
        return f"{unit.written(inside):.{places}f}".replace("-", MINUS)

    @property
    def axes(self) -> tuple[Axis, Axis, Axis]:
        """Round steps of temperature, pressure and density altitude."""
        steps = zip(("air_temp", "air_pressure", "density_altitude"), _STEPS[self.name], strict=True)
        temps, pressures, altitudes = (
            Axis(step * self.unit(quantity).scale, self.unit(quantity).offset) for quantity, step in steps
        )
        return temps, pressures, altitudes


_PLACES = {"inHg": 2, "hPa": 1, "lb/ft³": 4, "kg/m³": 3}
_STEPS = {"us": (5.0, 0.2, 250.0), "si": (3.0, 5.0, 100.0)}


@dataclass(frozen=True, slots=True)
class Figure:
    """One measure of the air: its name, on the reference run, today."""

    name: str
    then: str
    now: str


def figures(made: Retune, house: House) -> tuple[Figure, ...]:
    """Every measure of both airs."""

    def row(name: str, say: Callable[[KnownAir], str]) -> Figure:
        return Figure(name, say(made.then), say(made.now))

    def of_state(say: Callable[[AirState], str]) -> Callable[[KnownAir], str]:
        return lambda air: say(air) if isinstance(air, AirState) else UNKNOWN

    return (
        row("Temperature", of_state(lambda air: house.said("air_temp", air.temp_c))),
        row("Pressure at the track", of_state(lambda air: house.said("air_pressure", air.pressure_pa))),
        row("Relative humidity", of_state(lambda air: f"{100.0 * air.relative_humidity_fraction:.0f} %")),
        row("Vapour pressure", of_state(lambda air: house.said("vapour_pressure", air.vapour_pressure_pa))),
        row("Water in the air", lambda air: _water(air, house)),
        row("Density, % of standard", lambda air: _density(air.moist_density_kg_m3, house)),
        row("Density altitude", lambda air: house.said("density_altitude", air.density_altitude_m)),
        row("Dry density, % of standard", lambda air: _density(air.dry_density_kg_m3, house)),
        row("Dry density altitude", lambda air: house.said("density_altitude", air.dry_density_altitude_m)),
    )


def _water(air: KnownAir, house: House) -> str:
    grains = f"{air.humidity_ratio * GRAINS_PER_LB:.0f} grains/lb"
    return grains if house.name == "us" else f"{1000.0 * air.humidity_ratio:.1f} g/kg, {grains}"


def _density(density_kg_m3: float, house: House) -> str:
    return f"{house.said('air_density', density_kg_m3)}, {relative_density_pct(density_kg_m3):.1f} %"


def reckoned_from(made: Retune) -> str:
    """'Run 17, marked Reference'."""
    return f"Run {made.reference}, {made.because}"


def law_words(made: Retune) -> str:
    """What the air did, what that asks of the fuel, and by which law."""
    law = {
        "venturi": f"venturi: air density to the power of {_power_words(made.exponent)}",
        "throttle map": "throttle map: all of the dry density",
        "displacement": "displacement: all of the dry density",
        "speed-density": "speed-density: moisture alone",
    }[made.metering]
    spread = f" ± {plain(made.asked_sd_pct)}" if made.asked_sd_pct else ""
    return f"Air {signed(made.density_pct)} %. Fuel asked for {signed(made.asked_pct)}{spread} % ({law})."


def _power_words(exponent: Exponent) -> str:
    value = plain(exponent.value, 2)
    if not exponent.changes:
        return f"{value}, {'the law' if exponent.value == THE_LAW else 'as set in Targets'}"
    changes = f"{exponent.changes} change{'s' if exponent.changes > 1 else ''}"
    return f"{value} ± {plain(exponent.sd, 2)}, learned from {changes} of this log"


def drift(pct: float) -> str:
    """'1.2 % rich', 'none'."""
    if abs(pct) < 0.05:
        return "none"
    return f"{abs(pct):.1f} % {'rich' if pct > 0.0 else 'lean'}"


@dataclass(frozen=True, slots=True)
class JetLine:
    """Stations that get the same jet in place of the same: names, from, to, drift if kept, drift left."""

    stations: str
    old: str
    new: str
    kept: str
    left: str
    changes: bool


def jet_lines(made: Retune) -> tuple[JetLine, ...]:
    """The jets, one line for stations that are alike."""
    alike: dict[StationJet, list[str]] = {}
    for jet in made.jets:
        same = StationJet("", jet.old, jet.new, jet.kept_pct, jet.left_pct, jet.wanted)
        alike.setdefault(same, []).append(jet.station)
    return tuple(
        JetLine(" ".join(names), jet.old, jet.new, drift(jet.kept_pct), drift(jet.left_pct), jet.old != jet.new)
        for jet, names in alike.items()
    )


@dataclass(frozen=True, slots=True)
class Corners:
    """Stations that always get the same jet, as places among the engine's stations."""

    names: str
    place: int


def corners(of: Basis) -> tuple[Corners, ...]:
    """The stations in groups of one jet and one enrichment: what a cell of the table has to name."""
    engine = of.logbook.engine
    groups: dict[tuple[str, float], list[int]] = {}
    for place, station in enumerate(engine.stations):
        enrichment = engine.enrichment_area_in2.get(station.end, 0.0)
        groups.setdefault((of.run.tuneup.jets[station.name].value, enrichment), []).append(place)
    return tuple(
        Corners(" ".join(engine.stations[place].name for place in places), places[0]) for places in groups.values()
    )


def in_lines(words: Sequence[str]) -> str:
    """Up to three words on a line, more on two or three lines."""
    if len(words) <= 3:
        return " / ".join(words)
    half = -(-len(words) // -(-len(words) // 3))
    return "\n".join(" / ".join(words[at : at + half]) for at in range(0, len(words), half))


@dataclass(frozen=True, slots=True)
class Grid:
    """The table of the day in words. today: rows and columns of the cells that hold today's own air."""

    corner: str
    across: tuple[str, ...]
    down: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]
    today: frozenset[tuple[int, int]]
    legend: str


def day_grid(of: Basis, table: DayTable, house: House) -> Grid:
    """The table by temperature and pressure; by density altitude each corner of the carburetion has its own column."""
    groups = corners(of)
    if table.temps_c:
        return Grid(
            corner=f"Pressure, {house.unit('air_pressure').name}",
            across=tuple(house.said("air_temp", one) for one in table.temps_c),
            down=tuple(house.number("air_pressure", one) for one in table.pressures_pa),
            cells=tuple(tuple(in_lines(_sizes(cell, groups)) + _marks(cell) for cell in row) for row in table.cells),
            today=frozenset([table.today]),
            legend=_legend(of, table, f"jets {' / '.join(one.names for one in groups)}"),
        )
    cells = [row[0] for row in table.cells]
    across = tuple(one.names for one in groups) or ("Change of fuel",)
    return Grid(
        corner=f"Density altitude, {house.unit('density_altitude').name}",
        across=across,
        down=tuple(house.number("density_altitude", one) for one in table.altitudes_m),
        cells=tuple(tuple(size + _marks(cell) for size in _sizes(cell, groups)) for cell in cells),
        today=frozenset((table.today[0], column) for column in range(len(across))),
        legend=_legend(of, table, "jets"),
    )


def _sizes(cell: DayCell, groups: Sequence[Corners]) -> list[str]:
    return [cell.jets[one.place] for one in groups] if cell.fuel_pct is None else [f"{signed(cell.fuel_pct)} %"]


def _marks(cell: DayCell) -> str:
    marks = BEYOND * cell.beyond + LEAN * cell.lean
    return f" {marks}" if marks else ""


def _legend(of: Basis, table: DayTable, jets: str) -> str:
    """What the cells name, and what their marks mean."""
    cells = [cell for row in table.cells for cell in row]
    what = jets if of.on_hand else "change of fuel for all cylinders"
    parts = [f"Each cell: {what}, against run {of.run.name}, with the water in the air as it is today."]
    if any(cell.beyond for cell in cells):
        parts.append(f"{BEYOND} beyond {of.logbook.targets['air.density_far_pct']:g} % of density: check first.")
    if any(cell.lean for cell in cells):
        parts.append(f"{LEAN} no jet on hand is large enough: lean.")
    return " ".join(parts)
