"""The sheet that says why: every rule that fired, the facts it stood on cell by cell, and where its outcome shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest

from engine_rules.advice import Advice, Firing
from engine_rules.logbook import Cell
from workbook_template.hosts.protocol import CellOut, SheetOut, Style
from workbook_template.page import text_height_pt
from workbook_template.wording import LINK_COLOR

WIDTHS = {1: 5.0, 2: 24.0, 3: 58.0, 4: 16.0, 5: 44.0, 6: 18.0}
HEADINGS = ("No.", "Rule", "What it says, and what it stood on", "Cell", "What it concluded", "Shown in")
HEADING_ROW = 4
# Millimetres of sheet for a character of column width.
MM_PER_CHARACTER = 1.85

_TITLE = Style(bold=True, size_pt=16)
_LEAD = Style(size_pt=10)
_HEAD = Style(bold=True, size_pt=10, fill="E7E6E6", border="thin", align="left", vertical="center", wrap=True)
_PART = Style(bold=True, size_pt=13, border="bottom")
_NUMBER = Style(bold=True, size_pt=10, align="right", vertical="top")
_RULE = Style(bold=True, size_pt=10, vertical="top", wrap=True)
_SAYS = Style(bold=True, size_pt=10, vertical="top", wrap=True)
_TEXT = Style(size_pt=10, vertical="top", wrap=True)
_LINK = Style(size_pt=10, vertical="top", wrap=True, color=LINK_COLOR, underline=True)


@dataclass(frozen=True, slots=True)
class WhySheet:
    """The finished sheet, and the row of each firing's number."""

    sheet: SheetOut
    rows: Mapping[int, int]

    def link(self, number: int) -> str | None:
        """The place of a firing as 'Sheet!A1', None where it has none."""
        return f"{self.sheet.name}!A{self.rows[number]}" if number in self.rows else None


@dataclass(slots=True)
class _Sheet:
    """The sheet under the pen."""

    row: int = HEADING_ROW + 1
    cells: dict[tuple[int, int], CellOut] = field(default_factory=dict)
    heights_pt: dict[int, float] = field(default_factory=dict)

    def put(self, column: int, text: str, style: Style, link: str | None = None) -> None:
        """Write into the row at hand, which grows to hold the text."""
        self.cells[self.row, column] = CellOut(text, style, link)
        needed = text_height_pt(text, WIDTHS[column] * MM_PER_CHARACTER, style)
        self.heights_pt[self.row] = max(self.heights_pt.get(self.row, 0.0), needed)

    def part(self, title: str) -> None:
        """A heading between two parts."""
        self.row += 1
        self.cells[self.row, 1] = CellOut(title, _PART)
        for column in range(2, len(WIDTHS) + 1):
            self.cells[self.row, column] = CellOut(None, _PART)
        self.row += 1


def draw_why(name: str, advice: Advice, shown: Mapping[int, Sequence[Cell]]) -> WhySheet:
    """The sheet of that name. shown: firing number -> the cells of the workbook that show what it led to."""
    sheet = _Sheet()
    sheet.cells[1, 1] = CellOut(f"Why: run {advice.run}", _TITLE)
    sheet.cells[2, 1] = CellOut(
        "Each rule that fired, in order. Click a blue cell to go to the place that it names.", _LEAD
    )
    for column, heading in enumerate(HEADINGS, 1):
        sheet.cells[HEADING_ROW, column] = CellOut(heading, _HEAD)
    rows = _rows_of_firings(advice.firings, shown)
    for firing in advice.firings:
        _write_firing(sheet, name, firing, shown.get(firing.number, ()), rows)
    if not advice.firings:
        sheet.put(3, "No rule fired.", _TEXT)
        sheet.row += 1
    _write_set_aside(sheet, advice)
    _write_missing(sheet, advice)
    last = max(row for row, _ in sheet.cells)
    made = SheetOut(
        name=name,
        cells=sheet.cells,
        column_widths=WIDTHS,
        row_heights_pt={row: round(height * 4) / 4 for row, height in sheet.heights_pt.items()},
        freeze=(HEADING_ROW + 1, 1),
        landscape=True,
        fit_to_pages=(1, 0),
        print_area=(1, 1, last, len(WIDTHS)),
        repeat_rows=(HEADING_ROW, HEADING_ROW),
        footer=f"{name} · run {advice.run}",
    )
    return WhySheet(made, rows)


def _rows_of_firings(firings: Sequence[Firing], shown: Mapping[int, Sequence[Cell]]) -> dict[int, int]:
    rows, row = {}, HEADING_ROW + 1
    for firing in firings:
        rows[firing.number] = row
        row += _height(firing, len(shown.get(firing.number, ())))
    return rows


def _height(firing: Firing, shown: int) -> int:
    return max(1 + len(firing.facts) + len(firing.from_firings), len(firing.concluded), shown)


def _write_firing(sheet: _Sheet, name: str, firing: Firing, shown: Sequence[Cell], rows: Mapping[int, int]) -> None:
    sheet.put(1, str(firing.number), _NUMBER)
    sheet.put(2, firing.rule, _RULE)
    stood_on: list[tuple[str, str, str | None]] = [(firing.says, "", None)]
    stood_on += [(f"· {fact.text}", fact.cell or "", fact.cell) for fact in firing.facts]
    for number in firing.from_firings:
        place = f"{name}!A{rows[number]}" if number in rows else None
        stood_on.append((f"· what number {number} concluded", f"number {number}" if place else "", place))
    for at, (line, concluded, cell) in enumerate(zip_longest(stood_on, firing.concluded, shown)):
        if line is not None:
            text, label, link = line
            sheet.put(3, text, _TEXT if at else _SAYS)
            if link is not None:
                sheet.put(4, label, _LINK, link)
        if concluded is not None:
            sheet.put(5, concluded, _TEXT)
        if cell is not None:
            sheet.put(6, str(cell), _LINK, str(cell))
        sheet.row += 1


def _write_set_aside(sheet: _Sheet, advice: Advice) -> None:
    if not advice.set_aside:
        return
    sheet.part("Readings set aside")
    for one in advice.set_aside:
        if one.cylinder is not None:
            sheet.put(2, f"cylinder {one.cylinder}", _TEXT)
        sheet.put(3, one.reason, _TEXT)
        if one.cell is not None:
            sheet.put(4, one.cell, _LINK, one.cell)
        sheet.row += 1


def _write_missing(sheet: _Sheet, advice: Advice) -> None:
    if not advice.missing and not advice.one_short:
        return
    sheet.part("What is missing")
    for text in advice.missing:
        sheet.put(3, text, _TEXT)
        sheet.row += 1
    for one in advice.one_short:
        sheet.put(2, one.rule, _RULE)
        sheet.put(3, one.says, _TEXT)
        if one.cell is not None:
            sheet.put(4, one.cell, _LINK, one.cell)
        sheet.put(5, f"lacks only: {one.lacks}", _TEXT)
        sheet.row += 1
