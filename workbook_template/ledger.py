"""The sheet Ledger: what each change was expected to do, what was seen, what it did; and what the log taught."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from engine_rules.ledger import LedgerLine, ledger
from engine_rules.logbook import Cell, Logbook
from engine_rules.response import Responses, learned_words, responses, share_words
from workbook_template.hosts.protocol import CellOut, SheetOut, Style
from workbook_template.page import text_height_pt
from workbook_template.why import MM_PER_CHARACTER
from workbook_template.wording import LINK_COLOR, MINUS

WIDTHS = {1: 9.0, 2: 9.0, 3: 28.0, 4: 38.0, 5: 38.0, 6: 36.0, 7: 16.0, 8: 40.0}
HEADINGS = ("From run", "To run", "What was changed", "Expected", "Seen in the readings", "Result", "Verdict", "Why")
HEADING_ROW = 5
NEWEST = 100

_TITLE = Style(bold=True, size_pt=16)
_LEAD = Style(size_pt=10)
_HEAD = Style(bold=True, size_pt=10, fill="E7E6E6", border="thin", align="left", vertical="center", wrap=True)
_PART = Style(bold=True, size_pt=13, border="bottom")
_TEXT = Style(size_pt=10, vertical="top", wrap=True)
_VERDICT = Style(bold=True, size_pt=10, vertical="top", wrap=True)
_LINK = Style(size_pt=10, vertical="top", color=LINK_COLOR, underline=True)


@dataclass(slots=True)
class _Sheet:
    """The sheet under the pen."""

    row: int = HEADING_ROW + 1
    cells: dict[tuple[int, int], CellOut] = field(default_factory=dict)
    heights_pt: dict[int, float] = field(default_factory=dict)

    def line(self, texts: Mapping[int, str], styles: Mapping[int, Style], links: Mapping[int, Cell]) -> None:
        """A row of texts by column, high enough to hold them."""
        for column, text in texts.items():
            style = _LINK if column in links else styles.get(column, _TEXT)
            link = str(links[column]) if column in links else None
            self.cells[self.row, column] = CellOut(text or None, style, link)
            needed = text_height_pt(text, WIDTHS[column] * MM_PER_CHARACTER, style)
            self.heights_pt[self.row] = max(self.heights_pt.get(self.row, 0.0), needed)
        self.row += 1

    def part(self, title: str) -> None:
        """A heading between two parts."""
        self.row += 1
        for column in WIDTHS:
            self.cells[self.row, column] = CellOut(title if column == 1 else None, _PART)
        self.row += 1


def draw_ledger(name: str, logbook: Logbook) -> SheetOut:
    """The sheet of that name, the newest change on top; of a very long log the newest changes only."""
    sheet, places = _Sheet(), {run.name: run.places.get("name") for run in logbook.runs}
    sheet.cells[1, 1] = CellOut("Ledger: what each change did", _TITLE)
    for row, text in enumerate(_LEADS, 2):
        sheet.cells[row, 1] = CellOut(text, _LEAD)
    for column, heading in enumerate(HEADINGS, 1):
        sheet.cells[HEADING_ROW, column] = CellOut(heading, _HEAD)
    lines = ledger(logbook, NEWEST)
    for one in reversed(lines):
        _write_change(sheet, one, places)
    if not lines:
        sheet.line({3: "Nothing was changed between two runs yet."}, {}, {})
    if len(lines) == NEWEST:
        sheet.line({3: f"Only the newest {NEWEST} changes are listed."}, {}, {})
    _write_taught(sheet, responses(logbook), logbook, places)
    return SheetOut(
        name=name,
        cells=sheet.cells,
        column_widths=WIDTHS,
        row_heights_pt={row: round(height * 4) / 4 for row, height in sheet.heights_pt.items()},
        freeze=(HEADING_ROW + 1, 3),
        landscape=True,
        fit_to_pages=(1, 0),
        print_area=(1, 1, sheet.row - 1, len(WIDTHS)),
        repeat_rows=(HEADING_ROW, HEADING_ROW),
        footer=name,
    )


_LEADS = (
    "Results are compared in standard air and at equal weight, against the noise that repeats of one tune-up show.",
    "No gain is promised: what a step is worth near best is a bound from published curves, which differ two or three "
    "times.",
)


def _write_change(sheet: _Sheet, one: LedgerLine, places: Mapping[str, Cell | None]) -> None:
    told = (one.changed, one.expected, one.seen, one.result, one.verdict, one.text)
    texts = {1: one.before, 2: one.run} | {at: text.replace("-", MINUS) for at, text in enumerate(told, 3)}
    links = {column: cell for column, run in ((1, one.before), (2, one.run)) if (cell := places[run]) is not None}
    sheet.line(texts, {7: _VERDICT}, links)


def _write_taught(sheet: _Sheet, taught: Responses, logbook: Logbook, places: Mapping[str, Cell | None]) -> None:
    if taught.values or taught.shares:
        sheet.part("What the log taught of this engine")
    for value in taught.values:
        about = logbook.targets.entry(value.key).about
        sheet.line({3: about, 4: learned_words(value, logbook.targets)}, {}, {})
    for share in taught.shares:
        sheet.line({3: f"cylinder {share.cylinder} from {share.station}", 4: share_words(share)}, {}, {})
    _write_silent(sheet, taught.set_aside, [note.text for note in taught.notes], places)


def _write_silent(
    sheet: _Sheet, odd: Sequence[tuple[str, str]], notes: Sequence[str], places: Mapping[str, Cell | None]
) -> None:
    if odd or notes:
        sheet.part("Runs that teach nothing, and why")
    for name, why in odd:
        cell = places.get(name)
        sheet.line({2: name, 3: why}, {}, {2: cell} if cell is not None else {})
    for text in notes:
        sheet.line({3: text}, {}, {})
