"""The sheet Engine: settings, then a row for each cylinder."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time

from openpyxl.utils import get_column_letter

from engine_rules.feeds import ONE_TO_ONE, Places, barrels, feed_shares
from engine_rules.logbook import Cell, CylinderPlace, Engine, Finding, LogbookError, Station
from workbook_template.hosts.protocol import CellError, SheetBlock
from workbook_template.layout import Column, layout, split_heading
from workbook_template.read_values import read_count, read_number, read_share, read_text, read_word, read_yes_no
from workbook_template.tables import PlacedColumn, Row, Spot, Table, as_text, filled, find_table

SHARES_MAY_MISS = 0.02


@dataclass(frozen=True, slots=True)
class EngineSheet:
    """What was read: the engine, its list of cylinders, and the cell of each setting, filled or blank."""

    engine: Engine
    table: Table
    cells: Mapping[str, Cell]


def read_engine(block: SheetBlock, house: str, findings: list[Finding]) -> EngineSheet:
    """The engine. Raises LogbookError for what is missing or cannot be."""
    table = _find_cylinders(block).with_house_units(house)
    cells, spots = _settings(block, table.heading_row, house)
    words = {
        key: read_word(spots[key]).value
        for key in (
            "fuel",
            "arrangement",
            "run_length",
            "carburetion",
            "manifold",
            "timing_hardware",
            "metering",
            "power_standard",
        )
        if key in spots
    }
    carburetion = words["carburetion"]
    manifold = words.get("manifold") or ("individual runner" if carburetion in ONE_TO_ONE else "other")
    places, rows = _places(table, words["arrangement"], findings)
    order = _firing_order(spots["firing_order"], tuple(places))
    stations, shares = _feeds(table, rows, carburetion, manifold, places, order, findings)
    engine = Engine(
        name=read_text(spots["name"]).value if "name" in spots else "",
        fuel=words["fuel"],
        arrangement=words["arrangement"],
        run_length=words["run_length"],
        carburetion=carburetion,
        manifold=manifold,
        firing_order=order,
        cylinders=tuple(
            CylinderPlace(number, *places[number], shares[number], _flag(rows[number], "near_intake_valve"))
            for number in places
        ),
        stations=stations,
        enrichment_area_in2=_enrichment(spots, stations, findings),
        timing_hardware=words.get("timing_hardware", "none"),
        tab_radius_mm=_number(spots, "tab_radius_mm", findings),
        trim_step_deg=_number(spots, "trim_step_deg", findings),
        fuel_trim_step_pct=_number(spots, "fuel_trim_step_pct", findings),
        metering=words.get("metering", ""),
        power_standard=words.get("power_standard", ""),
    )
    return EngineSheet(engine, table, cells)


def _find_cylinders(block: SheetBlock) -> Table:
    """The list of cylinders, with a column for each station that a heading 'From ...' names."""
    sheet = layout().sheets["engine"]
    simple = [column for column in sheet.columns if not column.per]
    pattern = next(column for column in sheet.columns if column.per)
    table = find_table(block, sheet, simple, within_rows=max(len(block.rows), 1))
    prefix = pattern.heading.replace("{station}", "").lower()
    headings = (block.at(table.heading_row, index) for index in range(block.first_column, block.last_column + 1))
    names = [
        _bare(one)[len(prefix) :] for one in headings if isinstance(one, str) and _bare(one).lower().startswith(prefix)
    ]
    shares = [pattern.for_station(name) for name in dict.fromkeys(names)]
    return find_table(block, sheet, [*simple, *shares], within_rows=max(len(block.rows), 1))


def _bare(heading: str) -> str:
    """A heading in its own case, without its bracket and with single spaces."""
    return " ".join(re.sub(r"[(\[].*", "", heading, flags=re.DOTALL).split())


def _settings(block: SheetBlock, above_row: int, house: str) -> tuple[Mapping[str, Cell], Mapping[str, Spot]]:
    """Where each setting stands, right of its name; and the filled ones. Raises LogbookError for one lacking."""
    cells: dict[str, Cell] = {}
    spots: dict[str, Spot] = {}
    sheet = layout().sheets["engine"]
    for row in range(block.first_row, above_row):
        for index in range(block.first_column, block.last_column + 1):
            named = block.at(row, index)
            column = _setting_named(named, sheet.settings) if isinstance(named, str) else None
            if column is None or column.key in cells:
                continue
            cell = Cell(block.name, f"{get_column_letter(index + 1)}{row}")
            cells[column.key] = cell
            value = filled(block.at(row, index + 1))
            if isinstance(value, CellError):
                raise LogbookError(f"the cell shows {value.code}; mend its formula or clear it", cell.sheet, cell.ref)
            if value is not None:
                spots[column.key] = Spot(value, as_text(value), cell, _placed(column, index + 1, str(named), house))
    for column in sheet.settings:
        if column.needed and column.key not in spots:
            where = cells.get(column.key)
            asked = f"{column.heading} is needed; {_choices(column)}"
            raise LogbookError(asked, block.name, where.ref if where else "")
    return cells, spots


def _setting_named(written: str, settings: Sequence[Column]) -> Column | None:
    name, _ = split_heading(written)
    return next((column for column in settings if name in column.names), None)


def _choices(column: Column) -> str:
    if column.list:
        return f"write one of: {', '.join(layout().lists[column.list].words)}"
    return "write it as 1-8-4-3-6-5-7-2, right of its name above the list of cylinders"


def _placed(column: Column, index: int, heading: str, house: str) -> PlacedColumn:
    quantity = column.quantity
    if quantity is None:
        return PlacedColumn(column, index)
    _, bracket = split_heading(heading)
    return PlacedColumn(column, index, (bracket and quantity.unit(bracket)) or quantity.house_unit(house))


def _number(spots: Mapping[str, Spot], key: str, findings: list[Finding]) -> float | None:
    return read_number(spots[key], findings).value if key in spots else None


def _flag(row: Row, key: str) -> bool:
    spot = row.spot(key)
    return spot is not None and read_yes_no(spot).value


def _places(table: Table, arrangement: str, findings: list[Finding]) -> tuple[Places, Mapping[int, Row]]:
    places: dict[int, tuple[str, int]] = {}
    rows: dict[int, Row] = {}
    for row in table.rows():
        spot = row.spot("number")
        if spot is None:
            break
        number = read_count(spot)
        if number in rows:
            raise spot.refusal(f"cylinder {number} stands in the list twice; keep one row")
        bank_spot, place_spot = row.spot("bank"), row.spot("place")
        bank = read_word(bank_spot).value if bank_spot else ""
        if bank and arrangement == "inline":
            findings.append(
                Finding(f"cylinder {number} has a bank, which an inline engine has not; left out", row.cell("bank"))
            )
            bank = ""
        if place_spot is not None:
            place = read_count(place_spot)
        else:
            place = 1 + sum(other == bank for other, _ in places.values())
            findings.append(
                Finding(f"the place of cylinder {number} is blank; taken as {place} of its bank", row.cell("number"))
            )
        places[number], rows[number] = (bank, place), row
    if not places:
        raise LogbookError("the list of cylinders is empty; write a row for each cylinder", table.block.name)
    if arrangement != "inline" and len(places) > 1 and not any(bank for bank, _ in places.values()):
        raise LogbookError(
            f"no cylinder has a bank, but the arrangement is {arrangement}; write L or R for each", table.block.name
        )
    return places, rows


def _firing_order(spot: Spot, numbers: tuple[int, ...]) -> tuple[int, ...]:
    if isinstance(spot.value, date | time):
        raise spot.refusal(
            "the spreadsheet made a date of the firing order; write it with an apostrophe before it, as '1-3-2"
        )
    written = as_text(spot.value)
    parts = re.findall(r"\d+", written)
    if len(parts) == 1 and len(numbers) > 1:
        parts = list(parts[0])
    order = tuple(int(part) for part in parts if len(part) <= 3)
    if sorted(order) != sorted(numbers) or len(order) != len(parts):
        wanted = ", ".join(map(str, sorted(numbers)))
        raise spot.refusal(f"the firing order '{written[:60]}' must name each cylinder once ({wanted}); correct it")
    return order


def _feeds(
    table: Table,
    rows: Mapping[int, Row],
    carburetion: str,
    manifold: str,
    places: Places,
    order: tuple[int, ...],
    findings: list[Finding],
) -> tuple[tuple[Station, ...], Mapping[int, Mapping[str, float]]]:
    """The stations, and what each feeds. EFI has none: its fuel is trimmed cylinder by cylinder."""
    try:
        known = {barrel.name.casefold(): barrel for barrel in barrels(carburetion, places)}
        if carburetion == "EFI":
            return (), {number: {} for number in places}
        named = [key.removeprefix("shares.") for key in table.placed if key.startswith("shares.")]
        if not named:
            if carburetion not in ONE_TO_ONE and len(known) > 1:
                findings.append(
                    Finding("no share of each station is given; what the manifold usually feeds was taken", _at(table))
                )
            shares = feed_shares(carburetion, manifold, places, order)
            return tuple(Station(one.name, one.end, one.side) for one in known.values()), shares
    except ValueError as error:
        raise LogbookError(str(error), table.block.name) from None
    stations = []
    for name in named:
        barrel = known.get(name.casefold())
        if barrel is None:
            findings.append(
                Finding(f"{name} is no usual station of {carburetion}; its end and side are unknown", _at(table))
            )
        stations.append(Station(barrel.name, barrel.end, barrel.side) if barrel else Station(name))
    return tuple(stations), {number: _shares(row, named, stations) for number, row in rows.items()}


def _at(table: Table) -> Cell:
    return next(table.rows()).cell("number")


def _shares(row: Row, named: Sequence[str], stations: Sequence[Station]) -> Mapping[str, float]:
    spots = {station.name: row.spot(f"shares.{name}") for name, station in zip(named, stations, strict=True)}
    written = {name: read_share(spot) if spot else 0.0 for name, spot in spots.items()}
    total = sum(written.values())
    if abs(total - 100.0) <= 100.0 * SHARES_MAY_MISS:
        written = {name: share / 100.0 for name, share in written.items()}
        total /= 100.0
    if abs(total - 1.0) > SHARES_MAY_MISS:
        cell = row.cell("number")
        raise LogbookError(
            f"the shares of this cylinder add up to {total:.4g}; make them add up to 1", cell.sheet, cell.ref
        )
    return {name: share / total for name, share in written.items()}


def _enrichment(spots: Mapping[str, Spot], stations: Sequence[Station], findings: list[Finding]) -> Mapping[str, float]:
    keys = {"front": "enrichment_front_in2", "rear": "enrichment_rear_in2", "": "enrichment_in2"}
    ends = {station.end for station in stations}
    areas = {}
    for end, key in keys.items():
        area = _number(spots, key, findings)
        if area is None:
            continue
        if end in ends:
            areas[end] = area
        elif area > 0.0:
            findings.append(
                Finding(f"{spots[key].column.heading} is set, but no station stands there; left out", spots[key].cell)
            )
    return areas
