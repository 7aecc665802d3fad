"""The answer's changes as the office takes them: what is to be written where, and what stands in the way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Dict, Tuple  # noqa: UP035  # Python 3.8

from . import reading

SIGNED = "strapline: "  # before each note of ours, since the office signs notes with its user's name
LOCKED = "the sheet is protected and this cell is locked; unprotect the sheet or unlock the cell"
MERGED = "it lies inside merged cells; unmerge them"
IN_ARRAY = "it lies inside an array formula; move it"
NOTED = "it has a note already; take it away or choose another cell"

Cell = Dict[str, Any]  # noqa: UP006
Place = Tuple[int, int]  # noqa: UP006


class Refused(Exception):
    """The document cannot take the changes; one sentence."""


def by_place(doc: Any, asked: Mapping[str, Any]) -> dict[str, dict[Place, Cell]]:
    """Sheet -> (row, column), from 0 -> cell: those asked for, and of those asked if linked the ones that are."""
    wanted = {
        sheet: {(row - 1, column - 1): cell for row, column, cell in cells} for sheet, cells in asked["cells"].items()
    }
    for name, cells in asked["if_linked"].items():
        if not doc.Sheets.hasByName(name):
            continue
        places = {(row - 1, column - 1): cell for row, column, cell in cells}
        linked = linked_places(doc.Sheets.getByName(name), places) - wanted.get(name, {}).keys()
        wanted.setdefault(name, {}).update((place, places[place]) for place in linked)
    return {sheet: cells for sheet, cells in wanted.items() if cells}


def linked_places(sheet: Any, places: Mapping[Place, Any]) -> set[Place]:
    """Those of the cells that hold a link; looked for in groups of one look, not cell by cell."""
    if not places:
        return set()
    within = rectangle(sheet, places)
    found = set(texts_with_fields(within, places))
    for group in reading.alike(within):
        # A number's link is part of its look, so that one cell speaks for its group.
        first = group.getByIndex(0).getCellByPosition(0, 0)
        if first.Hyperlink:
            found |= places.keys() & set(_places(group.RangeAddresses))
    return found


def texts_with_fields(within: Any, places: Mapping[Place, Any]) -> Iterator[Place]:
    """Those of the cells whose text holds a link."""
    sheet = within.Spreadsheet
    for place in _places(within.queryContentCells(reading.WITH_FIELDS).RangeAddresses):
        if place in places and reading.link_of(sheet.getCellByPosition(place[1], place[0])):
            yield place


def _places(areas: Any) -> Iterator[Place]:
    for area in areas:
        for row in range(area.StartRow, area.EndRow + 1):
            for column in range(area.StartColumn, area.EndColumn + 1):
                yield row, column


def rectangle(sheet: Any, places: Mapping[Place, Any]) -> Any:
    """The smallest range that holds these cells."""
    rows, columns = [row for row, _ in places], [column for _, column in places]
    return sheet.getCellRangeByPosition(min(columns), min(rows), max(columns), max(rows))


def rectangles(places: Mapping[Place, Any]) -> Iterator[tuple[int, int, int, int]]:
    """The cells as few full rectangles (first row, first column, last row, last column)."""
    spans: dict[int, list[list[int]]] = {}
    for row, column in sorted(places):
        runs = spans.setdefault(row, [])
        if runs and runs[-1][1] == column - 1:
            runs[-1][1] = column
        else:
            runs.append([column, column])
    open_: dict[tuple[int, int], list[int]] = {}
    for row in sorted(spans):
        going = {}
        for first, last in spans[row]:
            rows = open_.pop((first, last), None)
            going[first, last] = [rows[0], row] if rows and rows[1] == row - 1 else [row, row]
            if rows and rows[1] != row - 1:
                yield rows[0], first, rows[1], last
        for (first, last), rows in open_.items():
            yield rows[0], first, rows[1], last
        open_ = going
    for (first, last), rows in open_.items():
        yield rows[0], first, rows[1], last


def refuse_what_cannot_be(
    doc: Any, wanted: Mapping[str, Mapping[Place, Cell]], ours: set[tuple[str, int, int]]
) -> None:
    """Raise Refused where a cell cannot be written; the document is not touched before that is known."""
    for name, cells in wanted.items():
        if not doc.Sheets.hasByName(name):
            raise Refused(f"{name}: there is no such sheet any more; press the button again")
        sheet = doc.Sheets.getByName(name)
        for top, left, bottom, right in rectangles(cells):
            _check_area(sheet, sheet.getCellRangeByPosition(left, top, right, bottom))
        noted = {(note.Position.Row, note.Position.Column): note for note in notes_of(sheet)}
        for place in cells.keys() & noted.keys():
            theirs = (name, *place) not in ours and not note_is_ours(noted[place])
            if theirs and cells[place].get("note") and noted[place].getString() != cells[place]["note"]:
                raise _refused(sheet, place[0], place[1], NOTED)


def _check_area(sheet: Any, area: Any) -> None:
    at = area.RangeAddress
    protected = sheet.isProtected()
    for group in reading.alike(area):
        first = group.getByIndex(0).RangeAddress
        if protected and group.getByIndex(0).CellProtection.IsLocked:
            raise _refused(sheet, first.StartRow, first.StartColumn, LOCKED)
    cursor = sheet.createCursorByRange(area)
    cursor.collapseToMergedArea()
    for group in reading.alike(cursor):
        for index in range(group.Count):
            part = group.getByIndex(index)
            if part.IsMerged:
                covered = sheet.createCursorByRange(part.getCellByPosition(0, 0))
                covered.collapseToMergedArea()
                _check_merged(sheet, at, covered.RangeAddress)
    for part in area.queryContentCells(reading.FORMULA).RangeAddresses:
        _check_arrays(sheet, part)


def _check_merged(sheet: Any, at: Any, merged: Any) -> None:
    for row in range(max(at.StartRow, merged.StartRow), min(at.EndRow, merged.EndRow) + 1):
        for column in range(max(at.StartColumn, merged.StartColumn), min(at.EndColumn, merged.EndColumn) + 1):
            if (row, column) != (merged.StartRow, merged.StartColumn):
                raise _refused(sheet, row, column, MERGED)


def _check_arrays(sheet: Any, part: Any) -> None:
    for row, column in _places([part]):
        cell = sheet.getCellByPosition(column, row)
        cursor = sheet.createCursorByRange(cell)
        cursor.collapseToCurrentArray()
        array = cursor.RangeAddress
        if (array.StartRow, array.StartColumn) != (array.EndRow, array.EndColumn):
            raise _refused(sheet, row, column, IN_ARRAY)


def _refused(sheet: Any, row: int, column: int, reason: str) -> Refused:
    name = sheet.getCellByPosition(column, row).AbsoluteName.rpartition(".")[2].replace("$", "")
    return Refused(f"{sheet.Name}!{name}: {reason}. Nothing was changed.")


def notes_of(sheet: Any) -> Iterator[Any]:
    notes = sheet.Annotations
    for at in range(notes.Count):
        yield notes.getByIndex(at)


def note_is_ours(note: Any) -> bool:
    """Whether this program wrote the note: in a file it is the author, in an open document it signs the text."""
    return note.Author == SIGNED[:-2] or note.getString().startswith(SIGNED)


def value_for(doc: Any, value: Any) -> Any:
    """A cell's value as setDataArray takes it."""
    if isinstance(value, dict):
        moment = datetime.fromisoformat(value["datetime"])
        null = doc.NullDate
        return (moment - datetime(null.Year, null.Month, null.Day)).total_seconds() / 86_400
    if isinstance(value, bool):
        return float(value)
    return "" if value is None else value
