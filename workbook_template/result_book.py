"""The advice as a workbook of its own, for a racer's workbook that may not be changed."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from engine_rules.advice import Advice
from workbook_template.book import ReadBook
from workbook_template.fill import plan, sheet_for
from workbook_template.found import Frame, Line
from workbook_template.headings import OURS
from workbook_template.hosts.protocol import CellOut, SheetBlock, SheetOut, Style, TableOut
from workbook_template.how_read_sheet import draw_how_read
from workbook_template.layout import layout
from workbook_template.own_places import OwnPlaces, own_places
from workbook_template.tables import house_of
from workbook_template.wording import LINK_COLOR

ADVICE = "Advice"
HEADING_ROW = 4
_HEADS = ("Run", "Cylinder")
_TITLE = Style(bold=True, size_pt=14)
_HINT = Style(italic=True, color="555555")
_HEAD = Style(bold=True, border="bottom", wrap=True, align="center", vertical="center")
_LINE_PT = 15.0
_HINT_TEXT = "A row for each cylinder. Places such as Readings!D14 are cells of your own workbook, which is as it was."
_READ_TEXT = (
    "How your workbook was read. Where something is wrong or asked, choose or write it here under Yours, save, and "
    "fill your own workbook again, with this one left where it is: what you write here is read then, and stays."
)


def result_path(wanted: Path, source: Path) -> Path:
    """Where the result goes: as wanted, else beside the source; always an .xlsx, since no macro goes along."""
    if wanted != source and wanted.suffix.lower() == ".xlsx":
        return wanted
    return wanted.with_name(f"{wanted.stem}.result.xlsx")


def result_sheets(advised: Sequence[tuple[ReadBook, Sequence[Advice]]]) -> tuple[SheetOut, ...]:
    """Every sheet of the result: of each car the card, the advice by cylinder, the reasons, the ledger, the charts."""
    sheets = [sheet for book, advices in advised if advices for sheet in _of_car(book, advices)]
    read = [book.how_read for book, _ in advised if book.how_read is not None]
    if read:
        drawn = draw_how_read(read)
        sheets.append(replace(drawn, cells={**drawn.cells, (2, 1): CellOut(_READ_TEXT, _HINT)}))
    return self_contained(sheets)


def self_contained(sheets: Sequence[SheetOut]) -> tuple[SheetOut, ...]:
    """The sheets with links among themselves alone; a place of another workbook stays as text."""
    names = {sheet.name for sheet in sheets}
    return tuple(
        replace(sheet, cells={place: _without_strange_link(cell, names) for place, cell in sheet.cells.items()})
        for sheet in sheets
    )


def _without_strange_link(cell: CellOut, names: Collection[str]) -> CellOut:
    if cell.link is None or cell.link.rpartition("!")[0].strip("'") in names:
        return cell
    style = cell.style
    if style is not None and style.color == LINK_COLOR:
        style = replace(style, color=None, underline=False)
    return replace(cell, link=None, style=style)


def _of_car(book: ReadBook, advices: Sequence[Advice]) -> Iterator[SheetOut]:
    name = sheet_for(ADVICE, book.car)
    places = _places(book, advices, name)
    changes = plan(replace(book, own=places), advices)
    card, *others = changes.sheets
    yield card
    yield _advice_sheet(name, places, changes.cells[name], {advice.run for advice in advices})
    yield from others


def _places(book: ReadBook, advices: Sequence[Advice], name: str) -> OwnPlaces:
    order = [run.name for run in book.logbook.runs]
    rows = sorted(
        ((advice.run, one.cylinder) for advice in advices for one in advice.cylinders),
        key=lambda row: (order.index(row[0]), row[1]),
    )
    frame = Frame(name, HEADING_ROW, taken=(), free=len(_HEADS) + 1, like=1)
    lines = {row: Line(frame, at, row[1]) for at, row in enumerate(rows, HEADING_ROW + 1)}
    return own_places(book.filled_keys, house_of(tuple(book.tables.values())), lines, [SheetBlock(name, 1, 1, ())])


def _topped(cell: CellOut) -> CellOut:
    """The cell as it stands in a list of our own: what is read in a line stands at its top."""
    if cell.style is not None and cell.style.wrap:
        # Some programs do not wrap a linked text; the cells beside it are linked to the same reasons.
        return CellOut(cell.value, Style(vertical="top", wrap=True))
    return replace(cell, style=replace(cell.style or Style(), vertical="top", align="center"), like=None)


def _advice_sheet(
    name: str, places: OwnPlaces, said: Mapping[tuple[int, int], CellOut], runs: Collection[str]
) -> SheetOut:
    width = {column.key: column.width for column in layout().sheets["readings"].columns}
    widths = [8.0, 10.0, *(width[key] + 2.0 for key in places.keys)]
    cells = {place: _topped(cell) for place, cell in said.items()}
    for (_, row, column), heading in places.headings(runs).items():
        cells[row, column] = CellOut(str(heading.text).removesuffix(OURS).rstrip(), _HEAD, note=heading.note)
    cells[1, 1], cells[2, 1] = CellOut(name, _TITLE), CellOut(_HINT_TEXT, _HINT)
    cells |= {(HEADING_ROW, column): CellOut(head, _HEAD) for column, head in enumerate(_HEADS, 1)}
    for (run, cylinder), line in places.lines.items():
        cells[line.at, 1] = _topped(CellOut(float(run) if run.isdecimal() else run))
        cells[line.at, 2] = _topped(CellOut(float(cylinder)))
    heights = {
        row: _LINE_PT * math.ceil(len(str(cell.value)) / widths[column - 1])
        for (row, column), cell in cells.items()
        if row > HEADING_ROW and column == len(widths)
    }
    last = HEADING_ROW + len(places.lines)
    return SheetOut(
        name=name,
        cells=cells,
        column_widths=dict(enumerate(widths, 1)),
        row_heights_pt={HEADING_ROW: 2.5 * _LINE_PT, **heights},
        freeze=(HEADING_ROW + 1, len(_HEADS) + 1),
        tables=(TableOut("".join(letter for letter in name if letter.isalnum()), (HEADING_ROW, 1, last, len(widths))),),
        landscape=True,
        fit_to_pages=(1, 0),
        print_area=(1, 1, last, len(widths)),
        repeat_rows=(HEADING_ROW, HEADING_ROW),
    )
