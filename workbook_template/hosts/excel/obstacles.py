"""What stands in the way of a fill, found out before the first cell is written."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from openpyxl.utils import get_column_letter

from workbook_template.hosts.excel import program, reading
from workbook_template.hosts.office.changes import rectangles
from workbook_template.hosts.protocol import CellOut, NotInPlace

Place = tuple[int, int]
Cells = Mapping[str, Mapping[Place, CellOut]]

SIGNED = "strapline: "  # before each note of ours, since Excel signs notes with its user's name
AUTHOR = "strapline"  # of a note that was written into a file

GONE = "there is no such sheet any more; press the button again"
STRUCTURE = "the workbook's structure is protected, so that no sheet can be added; unprotect it, and try again"
PROTECTED = "the sheet is protected; unprotect it, and try again"
MERGED = "it lies inside merged cells; unmerge them"
IN_ARRAY = "it lies inside an array formula or what one spills; move it"
NOTED = "it has a note already; take it away or choose another cell"
COMMENTED = "it has a comment already; take it away or choose another cell"
ARRAY_READS = "this array formula speaks of a sheet of strapline's, which is about to be made anew; take it out"


def look_first(book: Any, cells: Cells, sheets: Collection[str], ours: set[tuple[str, int, int]]) -> None:
    """Raise NotInPlace where the workbook cannot take the changes.

    sheets: those that are added or taken out. ours: every cell, (sheet, row, column), that we wrote before.
    """
    if sheets and program.structure_is_protected(book):
        raise NotInPlace(STRUCTURE)
    there = {sheet.name: sheet for sheet in book.sheets}
    for name, places in cells.items():
        if name not in there:
            raise NotInPlace(GONE, name)
        if program.is_protected(there[name]):
            raise NotInPlace(PROTECTED, name, ref_of(min(places)))
        for top, left, bottom, right in rectangles(places):
            _look_at(there[name], there[name].range((top, left), (bottom, right)))
        for place, cell in places.items():
            _look_at_note(there[name], place, cell, (name, *place) in ours)
    readers = list(reading.formulas_that_read(book, set(sheets) & there.keys()))
    for name, row, column, _ in readers:
        if there[name].range((row, column)).has_array:
            raise NotInPlace(ARRAY_READS, name, ref_of((row, column)))


def _look_at(sheet: Any, area: Any) -> None:
    if area.merge_cells is not False:
        for cell in area:
            if cell.merge_cells and cell.merge_area[0, 0].address != cell.address:
                raise NotInPlace(MERGED, sheet.name, ref_of((cell.row, cell.column)))
    if area.has_array is not False or program.is_spilled(area):
        for cell in area:
            if cell.has_array or program.is_spilled(cell):
                raise NotInPlace(IN_ARRAY, sheet.name, ref_of((cell.row, cell.column)))


def _look_at_note(sheet: Any, place: Place, cell: CellOut, is_ours: bool) -> None:
    if not cell.note:
        return
    at = sheet.range(place)
    note = at.note
    if note is not None and not is_ours and not note_is_ours(note) and note.text != cell.note:
        raise NotInPlace(NOTED, sheet.name, ref_of(place))
    if note is None and comment_of(at) is not None:
        raise NotInPlace(COMMENTED, sheet.name, ref_of(place))


def note_is_ours(note: Any) -> bool:
    """Whether this program wrote the note: in a file it is the author, in an open workbook it signs the text."""
    if note.text.startswith(SIGNED):
        return True
    try:
        return bool(note.author == AUTHOR)
    except Exception as error:
        if program.is_busy(error):
            raise
        return False  # an Excel that does not tell the author


def comment_of(cell: Any) -> Any:
    """The comment of a conversation on that cell; None for none, and where this Excel has no such comments."""
    try:
        return cell.comment
    except Exception as error:
        if program.is_busy(error):
            raise
        return None


def ref_of(place: Place) -> str:
    """'C7' for (7, 3)."""
    return f"{get_column_letter(place[1])}{place[0]}"


def places_of(areas: Iterable[tuple[str, tuple[int, int, int, int]]]) -> set[tuple[str, int, int]]:
    """Every cell, (sheet, row, column), of these areas."""
    return {
        (sheet, row, column)
        for sheet, (top, left, bottom, right) in areas
        for row in range(top, bottom + 1)
        for column in range(left, right + 1)
    }
