"""The card for the next run: one printed page that says what to do, drawn on the engine as seen from above."""

from __future__ import annotations

from dataclasses import replace

from engine_rules.advice import STAGES, Advice
from engine_rules.logbook import Logbook, Run
from workbook_template.card_boxes import Box, cylinder_box, own_stations, station_box, timing_box
from workbook_template.hosts.protocol import Style
from workbook_template.page import BLACK, SHADE, WHITE, Drawn, Page
from workbook_template.picture import draw_engine
from workbook_template.wording import Settled, caution_lines, worth_words

COLUMNS, COLUMN_MM = 26, 7.15
# What a sheet of Letter leaves between the margins; A4 is higher.
PAGE_HEIGHT_MM = 256.0
ZOOMS = (1.5, 1.4, 1.3, 1.2, 1.1, 1.0)
STAGE_WIDTHS = (4, 4, 4, 3, 3, 4, 4)

_TITLE = Style(bold=True, size_pt=16, vertical="center")
_OCCASION = Style(size_pt=11, align="right", vertical="center", wrap=True)
_STOP_HEAD = Style(bold=True, size_pt=32, color=WHITE, fill=BLACK, border="thick", align="center", vertical="center")
_STOP = Style(bold=True, size_pt=14, border="thick", align="left", vertical="center", wrap=True)
_HEADLINE = Style(bold=True, size_pt=18, border="medium", align="center", vertical="center", wrap=True)
_STAGE = Style(size_pt=9, border="thin", align="center", vertical="center")
_STAGE_NOW = Style(bold=True, size_pt=9, color=WHITE, fill=BLACK, border="thin", align="center", vertical="center")
_BACK_OFF = Style(bold=True, size_pt=12, border="medium", align="left", vertical="center", wrap=True)
_CHANGE = Style(bold=True, size_pt=15, fill=SHADE, border="thick", align="center", vertical="center")
_KEPT = Style(size_pt=13, border="thin", align="center", vertical="center")
_PLAIN = Style(size_pt=10, border="thin", align="left", vertical="center", wrap=True)
_LIST_HEAD = Style(bold=True, size_pt=10, border="bottom", align="left", vertical="bottom")
_LIST = Style(size_pt=10, align="left", vertical="top", wrap=True)
_HAND = Style(size_pt=9, border="thin", align="left", vertical="top")
_FOOT = Style(size_pt=7.5, align="left", vertical="top", wrap=True)

_SAFETY = (
    "Hot plugs, headers and oil burn: let them cool. Coil disconnected before plugs come out; no spark or flame near "
    "fuel; extinguisher within reach. Clean cut only on a straight, out of gear, brakes ready: without the engine "
    "there is no help for steering or brakes. "
)
_SAFETY_ALCOHOL = (
    "A flame of alcohol can hardly be seen by day; keep the fuel off skin and out of lungs; water at hand. "
)
_SAFETY_LAST = (
    "Track rules, the engine's builder and experienced practice come before this card. It is worked out from what was "
    "logged, promises no power, and the decision is yours. In doubt: richer, later, colder."
)


def draw_card(name: str, book: Logbook, run: Run, advice: Advice, tab_unit: str) -> Drawn:
    """The card as a sheet of that name, in the largest lettering that fits. tab_unit: 'mm' or 'in', for tabs."""
    for zoom in ZOOMS:
        page = Page(name, COLUMNS, COLUMN_MM, zoom=zoom)
        _draw_page(page, book, run, advice, tab_unit)
        if page.height_mm <= PAGE_HEIGHT_MM and not page.cramped:
            break
    return page.drawn()


def _draw_page(page: Page, book: Logbook, run: Run, advice: Advice, tab_unit: str) -> None:
    _draw_top(page, book, run, advice)
    _draw_timing_and_worth(page, run, advice)
    page.gap(5)
    settled = Settled(book.targets["settled.mixture_pct"], book.targets["settled.timing_deg"])
    boxes = {one.cylinder: cylinder_box(one, book.engine, run, advice, settled, tab_unit) for one in advice.cylinders}
    draw_engine(page, book.engine, boxes, _stations(book, run, advice))
    page.gap(5)
    _draw_cautions(page, advice, "mind", _PLAIN)
    _draw_lists(page, advice)
    page.gap(4)
    page.line("Really set (write by hand):\n\n", _HAND)
    page.gap(4)
    alcohol = _SAFETY_ALCOHOL if book.engine.is_alcohol else ""
    page.line(_SAFETY + alcohol + _SAFETY_LAST, _FOOT)


def _draw_top(page: Page, book: Logbook, run: Run, advice: Advice) -> None:
    occasion = [f"after run {run.name}", f"{run.when:%Y-%m-%d %H:%M}" if run.when else "", book.engine.name]
    if run.place is not None:
        occasion.insert(2, run.place.value)
    title = " · ".join(part for part in occasion if part)
    page.side_by_side([(1, 8, "NEXT RUN", _TITLE, ()), (9, COLUMNS, title, _OCCASION, ())])
    if advice.must_not_run:
        page.line("DO NOT RUN", _STOP_HEAD)
        _draw_cautions(page, advice, "stop", _STOP)
    page.line(advice.headline, _HEADLINE)
    if advice.must_not_run:
        page.line("What stands below is for the run after that: only once the cause is found and cured.", _BACK_OFF)
    _draw_cautions(page, advice, "back off", _BACK_OFF)
    page.gap(4)
    _draw_stages(page, advice.stage)
    page.gap(4)


def _draw_cautions(page: Page, advice: Advice, level: str, style: Style) -> None:
    named = replace(style, align="center", bold=True)
    for text, because in caution_lines(advice.cautions, level):
        page.side_by_side([(1, 5, level.upper(), named, because), (6, COLUMNS, text, style, ())])


def _draw_stages(page: Page, stage: str) -> None:
    blocks: list[tuple[int, int, str, Style, tuple[int, ...]]] = []
    left = 1
    for one, width in zip(STAGES, STAGE_WIDTHS, strict=True):
        text, style = (f"▶ {one.upper()}", _STAGE_NOW) if one == stage else (one, _STAGE)
        blocks.append((left, left + width - 1, text, style, ()))
        left += width
    page.side_by_side(blocks)


def _draw_timing_and_worth(page: Page, run: Run, advice: Advice) -> None:
    timing = timing_box(run, advice)
    worth = "" if advice.worth is None else worth_words(advice.worth)
    if not advice.readable:
        worth = "These plugs cannot be tuned from: nothing is changed on their word, safety apart."
    style = _CHANGE if timing.heavy else _KEPT
    right = 16 if worth else COLUMNS
    blocks = [(1, 8, timing.name, style, timing.because), (9, right, timing.task, style, ())]
    page.side_by_side(blocks + ([(right + 1, COLUMNS, worth, _PLAIN, ())] if worth else []))


def _stations(book: Logbook, run: Run, advice: Advice) -> dict[str, Box]:
    if own_stations(book.engine):
        return {}
    return {station.name: station_box(station, run, advice) for station in book.engine.stations}


def _draw_lists(page: Page, advice: Advice) -> None:
    lists = [("WRITE DOWN NEXT TIME", advice.log_next), ("MISSING THIS TIME", advice.missing)]
    filled = [(title, lines) for title, lines in lists if lines]
    if not filled:
        return
    width = COLUMNS // len(filled)
    page.side_by_side(
        [(at * width + 1, at * width + width, title, _LIST_HEAD, ()) for at, (title, _) in enumerate(filled)]
    )
    page.side_by_side(
        [
            (at * width + 1, at * width + width, "\n".join(f"□ {line}" for line in lines), _LIST, ())
            for at, (_, lines) in enumerate(filled)
        ]
    )
