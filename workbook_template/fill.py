"""Advice into the workbook: strapline's columns, and the sheets Next run, Why, Ledger, Charts and Season charts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from openpyxl.utils import coordinate_to_tuple, get_column_letter

from engine_rules.advice import Advice, CylinderAdvice, Firing
from engine_rules.logbook import Cell, Engine, Run
from engine_rules.response import learned_words, responses_before
from workbook_template.book import ReadBook
from workbook_template.card import draw_card
from workbook_template.charts import draw_charts
from workbook_template.found import Place
from workbook_template.hosts.protocol import CellOut, Changes, SheetOut, Style
from workbook_template.how_read_sheet import draw_how_read
from workbook_template.layout import layout, split_heading
from workbook_template.ledger import draw_ledger
from workbook_template.page import Drawn
from workbook_template.season_charts import draw_season
from workbook_template.why import WhySheet, draw_why
from workbook_template.wording import ERROR_FORMAT, KEEP, LINK_COLOR, jet_move, signed_format, swap_words

NEXT_RUN, WHY, LEDGER, CHARTS, SEASON = "Next run", "Why", "Ledger", "Charts", "Season charts"
MOST_LETTERS = 31  # of a sheet's name
SheetCells = Mapping[str, Mapping[tuple[int, int], CellOut]]

# Which rules speak for a column where several fired for its cylinder: the module of the rule's id.
_SPEAKERS = {
    "mixture_pct": ("evidence", "fuel", "reading"),
    "timing_deg": ("evidence", "spark", "reading"),
    "jet_change": ("fuel", "safety"),
    "fuel_trim_change_pct": ("fuel", "spread", "safety"),
    "timing_change_deg": ("spread", "spark", "safety"),
    "plug_change": ("heat", "safety"),
    "tip_change": ("heat", "safety"),
}
_WHY_STYLE = Style(color=LINK_COLOR, underline=True, wrap=True)
_PLAIN_WHY_STYLE = Style(wrap=True)
_LEARNED_STYLE = Style(wrap=True)


@dataclass(frozen=True, slots=True)
class Said:
    """What goes into one filled cell, and the firings behind it; key: of its column; like: a cell of the same look."""

    value: str | float | None
    because: tuple[int, ...] = ()
    number_format: str = ""
    key: str = ""
    like: tuple[int, int] | None = None


def sheet_for(name: str, car: str) -> str:
    """The name of one of our sheets; in a book of several cars with the car's name behind it."""
    return re.sub(r"[\[\]:*?/\\]", "-", f"{name} {car}")[:MOST_LETTERS].strip() if car else name


def plan_cars(advised: Sequence[tuple[ReadBook, Sequence[Advice]]]) -> Changes:
    """All that the advices of every car change in their workbook; how a racer's own book was read is shown too."""
    planned = [plan(book, advices) for book, advices in advised if advices]
    read = [book.how_read for book, advices in advised if book.how_read is not None]
    changes = Changes()
    for one in planned:
        changes = Changes(
            cells=_together(changes.cells, one.cells),
            if_linked=_together(changes.if_linked, one.if_linked),
            sheets=(*changes.sheets, *one.sheets),
        )
    return replace(changes, sheets=(*changes.sheets, draw_how_read(read))) if read else changes


def _together(one: SheetCells, other: SheetCells) -> SheetCells:
    return {sheet: {**one.get(sheet, {}), **other.get(sheet, {})} for sheet in [*one, *other]}


def plan(read_book: ReadBook, advices: Sequence[Advice]) -> Changes:
    """All that these advices change in the workbook.

    Every cell of strapline's columns in the advised runs is set, or emptied where there is nothing to say. The sheets
    speak of the newest advised run; its cells alone are linked to Why, and links of other runs are taken away.
    """
    if not advices:
        return Changes()
    order = {run.name: at for at, run in enumerate(read_book.logbook.runs)}
    newest = max(advices, key=lambda advice: order[advice.run])
    run = read_book.logbook.run(newest.run)
    names = (NEXT_RUN, WHY, LEDGER, CHARTS, SEASON)
    next_run, why_name, ledger, charts, season = (sheet_for(name, read_book.car) for name in names)
    card = draw_card(next_run, read_book.logbook, run, newest, tab_unit(read_book))
    said = readings_cells(read_book, newest)
    why = draw_why(why_name, newest, _shown(said, card, newest))
    runs = {advice.run for advice in advices}
    cells: dict[Place, CellOut] = {
        place: CellOut(heading.text, note=heading.note or None, like=heading.like)
        for place, heading in read_book.headings(runs).items()
    }
    cells |= learned_cells(read_book, run)
    for advice in advices:
        known = said if advice is newest else readings_cells(read_book, advice)
        links = why if advice is newest else None
        cells |= {place: replace(_cell(one, advice, links), like=one.like) for place, one in known.items()}
    return Changes(
        cells=_by_sheet(cells),
        if_linked=_by_sheet(_unlinked(read_book, runs)),
        sheets=(
            _linked_card(card, newest, why),
            why.sheet,
            draw_ledger(ledger, read_book.logbook),
            draw_charts(charts, newest),
            draw_season(season, read_book),
        ),
    )


def learned_cells(read_book: ReadBook, run: Run) -> Mapping[Place, CellOut]:
    """Beside each target, what the log before that run taught; nothing where the workbook has no such column."""
    table = read_book.tables.get("targets")
    placed = table.placed.get("learned") if table is not None else None
    if table is None or placed is None:
        return {}
    logbook = read_book.logbook
    taught = {one.key: learned_words(one, logbook.targets) for one in responses_before(logbook, run).values}
    cells = {}
    for row in table.rows():
        text = taught.get(str(row.raw("key")))
        if text is not None or row.raw("learned") is not None:
            cells[table.block.name, row.number, placed.index] = CellOut(text, _LEARNED_STYLE)
    return cells


def _by_sheet(cells: Mapping[Place, CellOut]) -> dict[str, dict[tuple[int, int], CellOut]]:
    sheets: dict[str, dict[tuple[int, int], CellOut]] = {}
    for (sheet, row, column), cell in sorted(cells.items()):
        sheets.setdefault(sheet, {})[row, column] = cell
    return sheets


def _shown(said: Mapping[Place, Said], card: Drawn, advice: Advice) -> Mapping[int, Sequence[Cell]]:
    """Firing number -> where its outcome shows: the stretches of readings linked to it, and the first on the card."""
    places: dict[int, dict[str, list[tuple[int, int]]]] = {}
    for (sheet, row, column), one in said.items():
        firing = speaker(one.key, one.because, advice.firings)
        if firing is not None and one.value is not None:
            places.setdefault(firing, {}).setdefault(sheet, []).append((row, column))
    shown = {
        number: [Cell(sheet, ref) for sheet, found in sheets.items() for ref in stretches(found)]
        for number, sheets in places.items()
    }
    for (row, column), because in sorted(card.stands_on.items()):
        for number in because:
            cells = shown.setdefault(number, [])
            if all(cell.sheet != card.sheet.name for cell in cells):
                cells.append(Cell(card.sheet.name, f"{get_column_letter(column)}{row}"))
    return shown


def stretches(places: Iterable[tuple[int, int]]) -> Sequence[str]:
    """Cells (row, column) as 'C4' and, where they follow each other down a column, 'C4:C9'."""
    runs: list[list[int]] = []
    for column, row in sorted((column, row) for row, column in places):
        if runs and runs[-1][0] == column and runs[-1][2] == row - 1:
            runs[-1][2] = row
        else:
            runs.append([column, row, row])
    return [
        f"{get_column_letter(column)}{first}" + ("" if first == last else f":{get_column_letter(column)}{last}")
        for column, first, last in runs
    ]


def tab_unit(read_book: ReadBook) -> str:
    """'in' where the engine's tab radius is written in inches, else 'mm'."""
    cell = read_book.engine_cells.get("tab_radius_mm")
    if cell is None:
        return "mm"
    row, column = coordinate_to_tuple(cell.ref)
    _, bracket = split_heading(str(read_book.tables["engine"].block.at(row, column - 1)))
    unit = layout().quantities["tab_radius"].unit(bracket or "")
    return "in" if unit is not None and unit.name == "in" else "mm"


def readings_cells(read_book: ReadBook, advice: Advice) -> Mapping[Place, Said]:
    """Cell -> what strapline's columns say of this run; cylinders without a place are left out."""
    said: dict[Place, Said] = {}
    for one in advice.cylinders:
        by_key = cylinder_cells(one, read_book.logbook.engine, advice)
        for key in read_book.filled_keys:
            place = read_book.place(advice.run, one.cylinder, key)
            if place is not None:
                said[place] = replace(
                    by_key.get(key, Said(None)), key=key, like=read_book.like(advice.run, one.cylinder)
                )
    return said


def cylinder_cells(one: CylinderAdvice, engine: Engine, advice: Advice) -> Mapping[str, Said]:
    """Column key -> what it says of one cylinder. Nothing is said where nothing could be read or changed."""
    fit = advice.readable and (one.mixture_pct is not None or one.timing_deg is not None)
    kept = Said(KEEP, one.because) if fit else Said(None)
    cells = {
        "mixture_pct": Said(one.mixture_pct, one.because, ERROR_FORMAT),
        "timing_deg": Said(one.timing_deg, one.because, ERROR_FORMAT),
        "jet_change": _jet_change(one.cylinder, engine, advice) or kept,
        "timing_change_deg": kept,
        "fuel_trim_change_pct": kept,
        "plug_change": Said(swap_words(one.plug), one.because) if one.plug else kept,
        "tip_change": Said(swap_words(one.tip), one.because) if one.tip else kept,
        "sure": Said(one.sure, one.because),
        "why": Said(one.why or None, one.because),
    }
    for key, move in (("timing_change_deg", one.trim), ("fuel_trim_change_pct", one.fuel_trim)):
        if move is not None:
            change = round(move.new - move.old, 3)
            cells[key] = Said(change, one.because, signed_format(change))
    return cells


def _jet_change(cylinder: int, engine: Engine, advice: Advice) -> Said | None:
    """The change at the station that feeds the cylinder most; at all that do where they feed it alike."""
    shares = next(place.shares for place in engine.cylinders if place.number == cylinder)
    most = max(shares.values(), default=0.0)
    feeding = {station for station, share in shares.items() if share >= most - 1e-9}
    jets = [jet for jet in advice.jets if jet.corner in feeding]
    if not jets:
        return None
    because = tuple(number for jet in jets for number in jet.because)
    return Said(", ".join(f"{jet.corner} {jet_move(jet)}" for jet in jets), because)


def speaker(key: str, because: Sequence[int], firings: Sequence[Firing]) -> int | None:
    """The firing that a cell of that column is linked to: the last whose rules speak for it, or else the last."""
    rules = {firing.number: firing.rule.partition(".")[0] for firing in firings}
    known = [number for number in because if number in rules]
    fitting = [number for number in known if rules[number] in _SPEAKERS.get(key, ())]
    return (fitting or known)[-1] if known else None


def _cell(said: Said, advice: Advice, why: WhySheet | None) -> CellOut:
    firing = speaker(said.key, said.because, advice.firings)
    link = None if why is None or firing is None or said.value is None else why.link(firing)
    style = Style(number_format=said.number_format) if said.number_format else None
    if said.key == "why":
        style = _PLAIN_WHY_STYLE if link is None else _WHY_STYLE
    return CellOut(said.value, style, link)


def _unlinked(read_book: ReadBook, advised: set[str]) -> dict[Place, CellOut]:
    """Filled cells of the runs that are not advised now, as they stand but without their links.

    Why is about to be rewritten: a link made by an earlier fill would lead to another run's reasons.
    """
    cells = {}
    for name, cylinder in read_book.reading_rows:
        for key in read_book.filled_keys if name not in advised else ():
            place = read_book.place(name, cylinder, key)
            value = read_book.value_at(place) if place is not None else None
            if place is not None and isinstance(value, str | float):
                cells[place] = CellOut(value, _PLAIN_WHY_STYLE if key == "why" else None)
    return cells


def _linked_card(card: Drawn, advice: Advice, why: WhySheet) -> SheetOut:
    cells = dict(card.sheet.cells)
    for place, because in card.stands_on.items():
        firing = speaker("", because, advice.firings)
        if firing is not None:
            cells[place] = replace(cells[place], link=why.link(firing))
    return replace(card.sheet, cells=cells)
