"""The sheet Today: one printed page with today's air, the jets for it, and the table for the rest of the day."""

from __future__ import annotations

from itertools import pairwise

from engine_rules.day_table import DayTable
from engine_rules.logbook import Engine
from engine_rules.retune import Retune
from engine_rules.retune_basis import Basis
from workbook_template.card import COLUMN_MM, COLUMNS, PAGE_HEIGHT_MM, ZOOMS
from workbook_template.hosts.protocol import SheetOut, Style
from workbook_template.page import BLACK, SHADE, WHITE, Page
from workbook_template.today_words import (
    House,
    day_grid,
    drift,
    figures,
    jet_lines,
    law_words,
    reckoned_from,
)
from workbook_template.wording import ARROW, plain, signed

TODAY = "Today"
HEAD_COLUMNS = 5
LEVELS = ("back off", "mind")

_TITLE = Style(bold=True, size_pt=16, vertical="center")
_OCCASION = Style(size_pt=11, align="right", vertical="center", wrap=True)
_BAND = Style(bold=True, size_pt=11, color=WHITE, fill=BLACK, align="center", vertical="center")
_HEAD = Style(bold=True, size_pt=10, border="bottom", align="center", vertical="bottom", wrap=True)
_NAME = Style(size_pt=10, align="left", vertical="center")
_FIGURE = Style(size_pt=10, align="center", vertical="center")
_LAW = Style(size_pt=10, border="thin", align="left", vertical="center", wrap=True)
_CORNER = Style(bold=True, size_pt=11, border="thin", align="center", vertical="center", wrap=True)
_KEPT = Style(size_pt=11, border="thin", align="center", vertical="center", wrap=True)
_CHANGE = Style(bold=True, size_pt=15, fill=SHADE, border="thick", align="center", vertical="center")
_CELL = Style(size_pt=10, border="thin", align="center", vertical="center", wrap=True)
_NOW = Style(bold=True, size_pt=10, fill=SHADE, border="thick", align="center", vertical="center", wrap=True)
_LEGEND = Style(size_pt=9, align="left", vertical="center", wrap=True)
_AXIS = Style(bold=True, size_pt=9, border="thin", align="center", vertical="center", wrap=True)
_BACK_OFF = Style(bold=True, size_pt=10, border="medium", align="left", vertical="center", wrap=True)
_MIND = Style(size_pt=9, border="thin", align="left", vertical="center", wrap=True)
_HAND = Style(size_pt=9, border="thin", align="left", vertical="top")


def draw_today(of: Basis, made: Retune, table: DayTable, house: House) -> SheetOut:
    """The sheet, for one printed page, in the largest lettering that fits."""
    for zoom in ZOOMS:
        page = Page(TODAY, COLUMNS, COLUMN_MM, zoom=zoom)
        _draw_page(page, of, made, table, house)
        if page.height_mm <= PAGE_HEIGHT_MM and not page.cramped:
            break
    return page.drawn().sheet


def _draw_page(page: Page, of: Basis, made: Retune, table: DayTable, house: House) -> None:
    engine = of.logbook.engine
    title = " · ".join(part for part in (f"against run {made.reference}", engine.name) if part)
    page.side_by_side([(1, 8, "TODAY", _TITLE, ()), (9, COLUMNS, title, _OCCASION, ())])
    _draw_cautions(page, made, "back off")
    _draw_air(page, made, house)
    page.gap(4)
    page.line(law_words(made), _LAW)
    page.gap(4)
    if made.jets:
        _draw_jets(page, made)
    else:
        _draw_fuel(page, made, engine)
    page.gap(6)
    _draw_table(page, of, table, house)
    page.gap(6)
    _draw_cautions(page, made, "mind")
    page.gap(4)
    page.line("Date, time and place; what was really set (write by hand):\n\n", _HAND)


def _draw_cautions(page: Page, made: Retune, level: str) -> None:
    style = _BACK_OFF if level == "back off" else _MIND
    for one in made.cautions:
        if one.level == level:
            page.side_by_side([(1, 4, level.upper(), _CORNER, ()), (5, COLUMNS, one.text, style, ())])


def _draw_air(page: Page, made: Retune, house: House) -> None:
    page.side_by_side(
        [(1, 8, "", _HEAD, ()), (9, 17, reckoned_from(made), _HEAD, ()), (18, COLUMNS, "Today", _HEAD, ())]
    )
    for one in figures(made, house):
        page.side_by_side(
            [(1, 8, one.name, _NAME, ()), (9, 17, one.then, _FIGURE, ()), (18, COLUMNS, one.now, _FIGURE, ())]
        )


def _draw_jets(page: Page, made: Retune) -> None:
    page.side_by_side(
        [
            (1, 7, "Jets", _HEAD, ()),
            (8, 14, f"Run {made.reference} {ARROW} today", _HEAD, ()),
            (15, 20, "Mixture if kept", _HEAD, ()),
            (21, COLUMNS, "Mixture after", _HEAD, ()),
        ]
    )
    for line in jet_lines(made):
        move = f"{line.old} {ARROW} {line.new}" if line.changes else f"keep {line.old}"
        page.side_by_side(
            [
                (1, 7, line.stations, _CORNER, ()),
                (8, 14, move, _CHANGE if line.changes else _KEPT, ()),
                (15, 20, line.kept, _KEPT, ()),
                (21, COLUMNS, line.left, _KEPT, ()),
            ]
        )


def _draw_fuel(page: Page, made: Retune, engine: Engine) -> None:
    fuel = made.fuel
    assert fuel is not None  # an engine without jets has a change of fuel
    step = engine.fuel_trim_step_pct
    steps = f"in steps of {plain(step, 2)} %" if step else "in whole percent: no fuel trim step is set"
    page.side_by_side(
        [
            (1, 7, "Fuel, all cylinders", _CORNER, ()),
            (8, 14, f"{signed(fuel.change_pct, 2)} %", _CHANGE, ()),
            (15, 20, f"if kept: {drift(fuel.kept_pct)}", _KEPT, ()),
            (21, COLUMNS, f"after: {drift(fuel.left_pct)}, {steps}", _KEPT, ()),
        ]
    )


def _draw_table(page: Page, of: Basis, table: DayTable, house: House) -> None:
    grid = day_grid(of, table, house)
    page.line("THE REST OF THE DAY", _BAND)
    page.line(grid.legend, _LEGEND)
    spans = _spans(len(grid.across))
    heads = [(left, right, text, _AXIS, ()) for (left, right), text in zip(spans, grid.across, strict=True)]
    page.side_by_side([(1, HEAD_COLUMNS, grid.corner, _AXIS, ()), *heads])
    for row, (name, cells) in enumerate(zip(grid.down, grid.cells, strict=True)):
        shown = [
            (left, right, words, _NOW if (row, column) in grid.today else _CELL, ())
            for column, ((left, right), words) in enumerate(zip(spans, cells, strict=True))
        ]
        for left, right, words, style, _ in shown:
            page.keep_lines(words, left, right, style)
        page.side_by_side([(1, HEAD_COLUMNS, name, _AXIS, ()), *shown])


def _spans(count: int) -> list[tuple[int, int]]:
    """First and last column of each of so many cells beside the axis."""
    room = COLUMNS - HEAD_COLUMNS
    edges = [HEAD_COLUMNS + room * at // count for at in range(count + 1)]
    return [(left + 1, right) for left, right in pairwise(edges)]
