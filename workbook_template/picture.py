"""The engine on the card, as seen from above with its front at the top: banks left and right, carburetion between."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from engine_rules.logbook import Engine, Station
from workbook_template.card_boxes import Box
from workbook_template.hosts.protocol import Style
from workbook_template.page import BLACK, FAINT, SHADE, WHITE, Page

# Rows this low let each box be as high as its text, with banks and carburetion side by side.
ROW_PT = 4.5
HEAD_ROWS = 3
JET_SIZES = (18.0, 15.0, 13.0, 11.0, 9.0)
NUMBER_COLUMNS = 2
_BAND = Style(bold=True, size_pt=11, color=WHITE, fill=BLACK, align="center", vertical="center")
_HEAD = Style(bold=True, size_pt=9, align="center", vertical="bottom")
_STATE = Style(size_pt=11, border="thin", align="left", vertical="center", wrap=True)
_TASK = Style(bold=True, size_pt=13, fill=SHADE, border="thick", align="left", vertical="center", wrap=True)
_FLOW = Style(size_pt=9, border="thin", align="center", vertical="center", wrap=True)
_LEAVE = Style(size_pt=12, border="thin", align="left", vertical="center", wrap=True)


@dataclass(frozen=True, slots=True)
class Place:
    """Columns that a bank or the carburetion takes, both counted."""

    left: int
    right: int


@dataclass(frozen=True, slots=True)
class Plan:
    """Where things stand across the page. side_by_side: a box's task stands beside what was read, not under it."""

    banks: Mapping[str, Place]
    carburetion: Place | None
    side_by_side: bool


def plan_of(engine: Engine, has_stations: bool, columns: int) -> Plan:
    """Banks at the sides and carburetion between; a single row of cylinders at the left of its carburetion."""
    if len({cylinder.bank for cylinder in engine.cylinders}) == 1:
        bank = engine.cylinders[0].bank
        if has_stations:
            return Plan({bank: Place(1, columns - 9)}, Place(columns - 7, columns), side_by_side=True)
        return Plan({bank: Place(1, columns)}, None, side_by_side=True)
    half = columns // 2
    if has_stations:
        left, right = Place(1, half - 4), Place(half + 5, columns)
        return Plan({"L": left, "R": right}, Place(half - 3, half + 4), side_by_side=False)
    return Plan({"L": Place(1, half), "R": Place(half + 1, columns)}, None, side_by_side=True)


def draw_engine(page: Page, engine: Engine, cylinders: Mapping[int, Box], stations: Mapping[str, Box]) -> None:
    """Draw the engine in the next free rows."""
    plan = plan_of(engine, bool(stations), page.columns)
    page.line("▲  FRONT OF THE ENGINE  ▲     seen from above", _BAND)
    _draw_heads(page, plan)
    boxes = {(c.bank, c.place): cylinders[c.number] for c in engine.cylinders if c.number in cylinders}
    carburetion = [
        {side: stations[station.name] for side, station in sides.items()}
        for sides in station_grid([station for station in engine.stations if station.name in stations])
    ]
    station_rows = [_station_rows(page, plan, sides) for sides in carburetion]
    needed = sum(sum(parts) for parts in station_rows) + HEAD_ROWS
    heights = _heights(page, plan, boxes, max(c.place for c in engine.cylinders), needed if stations else 0)
    top = page.row
    page.even_rows(sum(state + task for state, task in heights), ROW_PT)
    for (bank, place), box in sorted(boxes.items()):
        first = top + sum(state + task for state, task in heights[: place - 1])
        _draw_cylinder(page, plan, plan.banks[bank], first, heights[place - 1], box)
    if plan.carburetion is not None:
        first = top + (page.row - top - needed) // 2
        area = (first, plan.carburetion.left, first + HEAD_ROWS - 1, plan.carburetion.right)
        page.block(area, "JETS", _HEAD)
        _draw_carburetion(page, plan, first + HEAD_ROWS, carburetion, station_rows)


def _heights(
    page: Page, plan: Plan, boxes: Mapping[tuple[str, int], Box], places: int, at_least: int
) -> list[tuple[int, int]]:
    """Rows of (what was read, task) for each place from the front, the same in both banks; task 0 where beside."""
    heights = []
    for place in range(1, places + 1):
        needs = [_box_rows(page, plan, bank, box) for (bank, at), box in boxes.items() if at == place] or [(1, 1)]
        state, task = max(need[0] for need in needs), max(need[1] for need in needs)
        heights.append((max(state, task), 0) if plan.side_by_side else (state, task))
    lacking = at_least - sum(state + task for state, task in heights)
    more = max(0, math.ceil(lacking / places))
    return [(state + more, task) if plan.side_by_side else (state, task + more) for state, task in heights]


def station_grid(stations: Sequence[Station]) -> Sequence[Mapping[str, Station]]:
    """Rows from the front, each side -> station. A second front corner of one side starts a second carburetor."""
    grid: dict[int, dict[str, Station]] = {}
    seen: dict[tuple[str, str], int] = {}
    for station in stations:
        carburetor = seen.get((station.end, station.side), 0)
        seen[station.end, station.side] = carburetor + 1
        grid.setdefault(2 * carburetor + int(station.end == "rear"), {})[station.side] = station
    return [grid[row] for row in sorted(grid)]


def _draw_heads(page: Page, plan: Plan) -> None:
    titles = {"L": "LEFT BANK", "R": "RIGHT BANK"}
    heads = [
        (place.left, place.right, titles[bank] if len(plan.banks) > 1 else "CYLINDERS")
        for bank, place in plan.banks.items()
    ]
    page.side_by_side([(left, right, text, _HEAD, ()) for left, right, text in heads])


def _split(plan: Plan, bank: Place) -> tuple[Place, Place]:
    """The columns of what was read and of the task; the same columns where one stands under the other."""
    inner = Place(bank.left + NUMBER_COLUMNS, bank.right)
    if not plan.side_by_side:
        return inner, inner
    middle = inner.left + max(6, (inner.right - inner.left + 1) * 7 // 15) - 1
    return Place(inner.left, middle), Place(middle + 1, inner.right)


def _task_style(box: Box) -> Style:
    return _TASK if box.heavy else _LEAVE


def _rows(page: Page, place: Place, text: str, style: Style) -> int:
    return math.ceil(page.text_height_pt(text, place.left, place.right, style) / ROW_PT)


def _box_rows(page: Page, plan: Plan, bank: str, box: Box) -> tuple[int, int]:
    state, task = _split(plan, plan.banks[bank])
    page.keep_lines(box.state, state.left, state.right, _STATE)
    page.keep_lines(box.task, task.left, task.right, _task_style(box))
    return _rows(page, state, box.state, _STATE), _rows(page, task, box.task, _task_style(box))


def _draw_cylinder(page: Page, plan: Plan, bank: Place, first: int, height: tuple[int, int], box: Box) -> None:
    state, task = _split(plan, bank)
    last, state_last = first + sum(height) - 1, first + height[0] - 1
    border = "thick" if box.heavy else "thin"
    number = Style(bold=True, size_pt=22, border=border, align="center", vertical="center")
    page.block((first, bank.left, last, bank.left + NUMBER_COLUMNS - 1), box.name, number, box.because)
    page.block((first, state.left, state_last, state.right), box.state, _STATE)
    task_first = first if plan.side_by_side else state_last + 1
    page.block((task_first, task.left, last, task.right), box.task, _task_style(box))


def _side_place(plan: Plan, side: str) -> Place:
    carburetion = plan.carburetion
    assert carburetion is not None  # stations are drawn only where the plan has room for them
    middle = (carburetion.left + carburetion.right) // 2
    return {"L": Place(carburetion.left, middle), "R": Place(middle + 1, carburetion.right)}.get(side, carburetion)


def _jet_style(page: Page, place: Place, box: Box) -> Style:
    """The largest lettering in which the jet stands on one line."""
    border, fill = ("thick", SHADE) if box.heavy else ("thin", FAINT)
    for size in JET_SIZES:
        style = Style(bold=True, size_pt=size, fill=fill, border=border, align="center", vertical="center", wrap=True)
        if page.lines(box.task, place.left, place.right, style) == 1:
            break
    return style


def _station_parts(page: Page, place: Place, box: Box) -> list[tuple[str, Style]]:
    """The three parts of a station's box, top to bottom: its name, its jet, what that does to the fuel."""
    jet = _jet_style(page, place, box)
    return [(box.name, replace(jet, size_pt=11)), (box.task, jet), (box.state, replace(_FLOW, border=jet.border))]


def _station_rows(page: Page, plan: Plan, sides: Mapping[str, Box]) -> list[int]:
    """Rows of each part, the same for all stations that stand side by side; none where all have nothing to say."""
    rows = [0, 0, 0]
    for side, box in sides.items():
        place = _side_place(plan, side)
        for at, (text, style) in enumerate(_station_parts(page, place, box)):
            rows[at] = max(rows[at], _rows(page, place, text, style) if text else 0)
    return rows


def _draw_carburetion(
    page: Page, plan: Plan, first: int, rows: Sequence[Mapping[str, Box]], heights: Sequence[Sequence[int]]
) -> None:
    for sides, parts in zip(rows, heights, strict=True):
        for side, box in sides.items():
            place, top = _side_place(plan, side), first
            for at, (text, style) in enumerate(_station_parts(page, place, box)):
                if parts[at]:
                    area = (top, place.left, top + parts[at] - 1, place.right)
                    page.block(area, text, style, box.because if at == 0 else ())
                top += parts[at]
        first += sum(parts)
