"""What is ours in a document that is open: the same hidden names that a file carries, so that either knows the other's.

A live host hands over the names that begin with `PREFIX` and puts back those of the `Settled` changes; it need not know
what they mean.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from workbook_template.hosts.protocol import CellOut, Changes, SheetOut
from workbook_template.package import ownership
from workbook_template.package.grid import Area
from workbook_template.package.ownership import Ownership

PREFIX = "_wt_"

Cells = Mapping[str, Mapping[tuple[int, int], CellOut]]


@dataclass(frozen=True, slots=True)
class Mark:
    """A defined name and the area it stands for, (first row, first column, last row, last column)."""

    name: str
    sheet: str
    area: tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class Settled:
    """Changes that fit this very document: sheets under the names they get there, and the marks it has afterwards."""

    changes: Changes
    marks: tuple[Mark, ...]


def settle(changes: Changes, marks: Iterable[Mark], sheets: Collection[str]) -> Settled:
    """The changes for a document that has these marks and sheets.

    A sheet of ours keeps the name that the user gave it since; a new one never takes the name of a sheet of the user's.
    """
    owned = ours(marks, sheets)
    names: dict[str, str] = {}
    for sheet in changes.sheets:
        names[sheet.name] = ownership.final_name((*sheets, *names.values()), owned, sheet.name)
    renamed = Changes(
        cells=_linked(changes.cells, names),
        if_linked=_linked(changes.if_linked, names),
        sheets=tuple(_renamed(sheet, names) for sheet in changes.sheets),
        removed=tuple(owned.sheets[name] for name in changes.removed if name in owned.sheets),
    )
    for name, cells in changes.cells.items():
        owned = ownership.changed(owned, name, cells, ())
    kept = {wanted: sheet for wanted, sheet in owned.sheets.items() if wanted not in changes.removed}
    return Settled(renamed, _marks(Ownership(kept | names, owned.cells)))


def take_out(marks: Iterable[Mark], sheets: Collection[str]) -> Settled:
    """The changes that take all that is ours out of the document."""
    owned = ours(marks, sheets)
    cells = {
        sheet: {place: CellOut(None) for area in areas for place in area.places()}
        for sheet, areas in owned.cells.items()
        if sheet not in owned.sheets.values()
    }
    return Settled(Changes(cells=cells, removed=tuple(owned.sheets.values())), ())


def ours(marks: Iterable[Mark], sheets: Iterable[str]) -> Ownership:
    """What the marks say of a document with these sheets."""
    return ownership.told(((mark.name, mark.sheet, Area(*mark.area)) for mark in marks), sheets)


def _marks(owned: Ownership) -> tuple[Mark, ...]:
    return tuple(
        Mark(name, sheet, (area.first_row, area.first_column, area.last_row, area.last_column))
        for name, sheet, area in ownership.marked_areas(owned)
    )


def _renamed(sheet: SheetOut, names: Mapping[str, str]) -> SheetOut:
    cells = {place: _link(cell, names) for place, cell in sheet.cells.items()}
    return replace(sheet, name=names[sheet.name], cells=cells)


def _linked(cells: Cells, names: Mapping[str, str]) -> Cells:
    return {sheet: {place: _link(cell, names) for place, cell in places.items()} for sheet, places in cells.items()}


def _link(cell: CellOut, names: Mapping[str, str]) -> CellOut:
    sheet, _, place = (cell.link or "").rpartition("!")
    return replace(cell, link=f"{names[sheet]}!{place}") if sheet in names else cell
