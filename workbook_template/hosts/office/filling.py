"""Carrying out an answer's changes as one undo action, with redo.

All is one action of our own, done while the undo manager of the office looks away: what that records by itself loses
values written in bulk, and whole sheets.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import uno
import unohelper
from com.sun.star.document import XUndoAction

from . import changes, looks, reading, sheets


def carry_out(desktop: Any, doc: Any, asked: Mapping[str, Any], title: str) -> None:
    """Make the changes. Raises Refused, with the document untouched, where it cannot take them."""
    wanted = changes.by_place(doc, asked)
    changes.refuse_what_cannot_be(doc, wanted, _our_cells(doc))
    filling = Filling(desktop, doc, asked, wanted, title)
    try:
        filling.redo()
    except Exception:
        filling.undo()
        raise
    doc.UndoManager.addUndoAction(filling)
    sheets.show(doc.CurrentController, asked["sheets"])


class Unseen:
    """Does single things that the undo manager must not record.

    Each needs a lock of its own: much that changes the layout of a page lets the manager look again, and what it then
    records in the midst of an undo or redo brings the office down.
    """

    def __init__(self, manager: Any) -> None:
        self.manager = manager

    def __call__(self, work: Callable[..., None], *arguments: Any) -> None:
        self.manager.lock()
        try:
            work(*arguments)
        finally:
            self.manager.unlock()


def _our_cells(doc: Any) -> set[tuple[str, int, int]]:
    """Every cell, (sheet, row, column) from 0, that a mark calls ours."""
    return {
        (mark["sheet"], row, column)
        for mark in reading.marks(doc)
        for row in range(mark["area"][0] - 1, mark["area"][2])
        for column in range(mark["area"][1] - 1, mark["area"][3])
    }


class Filling(unohelper.Base, XUndoAction):
    """Values, links, notes, sheets and marks, with what stood there before."""

    def __init__(self, desktop: Any, doc: Any, asked: Mapping[str, Any], wanted: Mapping[str, Any], title: str) -> None:
        self.Title = title
        self.unseen = Unseen(doc.UndoManager)
        self.desktop, self.doc, self.asked, self.wanted = desktop, doc, asked, wanted
        self.marks = reading.marks(doc)
        self.new = [sheet["name"] for sheet in asked["sheets"]]
        there = {name: at for at, name in enumerate(doc.Sheets.ElementNames)}
        self.old = {name: there[name] for name in [*self.new, *asked["removed"]] if name in there}
        self.kept = sheets.kept(desktop, doc, list(self.old)) if self.old else ""
        self.readers = sheets.formulas_that_read(doc, list(self.old)) if self.old else []
        self.before = {name: [Written(doc, name, area) for area in changes.rectangles(cells)]
                       for name, cells in wanted.items()}  # fmt: skip

    def redo(self) -> None:
        """Write, for the first time or again."""
        for name, cells in self.wanted.items():
            sheet = self.doc.Sheets.getByName(name)
            for written in self.before[name]:
                written.fill(sheet, cells, self.unseen)
            looks.set_looks(self.doc, sheet, cells, self.unseen)
        last = self.doc.Sheets.Count
        places = {name: self.old.get(name, last + at) for at, name in enumerate(self.new)}
        self._exchange(list(self.old), places, self.asked["workbook"], "xlsx")
        set_marks(self.doc, self.asked["marks"], self.unseen)

    def undo(self) -> None:
        """Put back what stood there."""
        for name, areas in self.before.items():
            for written in areas:
                written.put_back(self.doc.Sheets.getByName(name), self.unseen)
        self._exchange(self.new, self.old, self.kept, "ods")
        set_marks(self.doc, self.marks, self.unseen)

    def _exchange(self, out: Sequence[str], places: Mapping[str, int], packed: str, ending: str) -> None:
        """Take sheets out, and bring others to their places from a workbook in base64."""
        sheets.look_away(self.doc, out)
        for name in out:
            if self.doc.Sheets.hasByName(name):
                self.unseen(self.doc.Sheets.removeByName, name)

        def bring(source: Any) -> None:
            for name in sorted(places, key=lambda one: places[one]):
                at = min(places[name], self.doc.Sheets.Count)
                for step in sheets.bringing(self.doc, source, name, at):
                    self.unseen(step)

        if places:
            sheets.with_workbook(self.desktop, packed, ending, bring)
        for sheet, row, column, formula in self.readers:
            self.unseen(self.doc.Sheets.getByName(sheet).getCellByPosition(column, row).setFormula, formula)

    def getTitle(self) -> str:
        return self.Title


class Written:
    """One rectangle of cells: what stood in it, to be put back."""

    def __init__(self, doc: Any, name: str, area: tuple[int, int, int, int]) -> None:
        self.doc, self.area = doc, area
        cells = self._range(doc.Sheets.getByName(name))
        self.values = cells.getDataArray()
        self.formulas = [(part, self._part(cells.Spreadsheet, part).getFormulaArray())
                         for part in cells.queryContentCells(reading.FORMULA).RangeAddresses]  # fmt: skip
        self.links = {place: reading.link_of(cells.Spreadsheet.getCellByPosition(place[1], place[0]))
                      for place in changes.linked_places(cells.Spreadsheet, dict.fromkeys(self._places()))}  # fmt: skip
        self.notes = self._notes(cells.Spreadsheet)
        self.looks = looks.looks_of(cells)

    def fill(self, sheet: Any, cells: Mapping[Any, Any], unseen: Unseen) -> None:
        """Write the cells of this rectangle."""
        top, left, bottom, right = self.area
        rows = [[changes.value_for(self.doc, cells[row, column]["value"]) for column in range(left, right + 1)]
                for row in range(top, bottom + 1)]  # fmt: skip
        links = {place: "#" + _address(cells[place]["link"]) for place in self._places() if cells[place].get("link")}
        self._write(sheet, rows, links, unseen)
        notes = {place: note for place, note in self.notes.items() if not note[1]}
        for place in self._places():
            if cells[place].get("note") and place not in notes:
                notes[place] = (changes.SIGNED + cells[place]["note"], True)
        self._write_notes(sheet, notes, unseen)

    def put_back(self, sheet: Any, unseen: Unseen) -> None:
        """Write what stood there before."""
        self._write(sheet, self.values, self.links, unseen)
        for part, formulas in self.formulas:
            self.doc.IsAdjustHeightEnabled = False
            unseen(self._part(sheet, part).setFormulaArray, formulas)
            self.doc.IsAdjustHeightEnabled = True
        self._write_notes(sheet, self.notes, unseen)
        looks.put_back_looks(self.doc, self.looks, unseen)

    def _write(self, sheet: Any, rows: Any, links: Mapping[Any, str], unseen: Unseen) -> None:
        top, left = self.area[:2]
        # A link that stays behind on a cell would lead on from its new value.
        for row, column in changes.linked_places(sheet, dict.fromkeys(self._places())):
            cell = sheet.getCellByPosition(column, row)
            if cell.Type.value != "TEXT":
                unseen(cell.setPropertyToDefault, "Hyperlink")
        # With rows that fit themselves to the text it would be recorded all the same.
        self.doc.IsAdjustHeightEnabled = False
        unseen(self._range(sheet).setDataArray, tuple(tuple(row) for row in rows))
        self.doc.IsAdjustHeightEnabled = True
        for (row, column), address in links.items():
            _link(self.doc, sheet.getCellByPosition(column, row), rows[row - top][column - left], address, unseen)
        for index in range(len(rows)):
            row = self._range(sheet).Rows.getByIndex(index)
            if row.OptimalHeight:
                unseen(setattr, row, "OptimalHeight", True)

    def _write_notes(self, sheet: Any, wanted: Mapping[Any, tuple[str, bool]], unseen: Unseen) -> None:
        there = self._notes(sheet)
        stale = [place for place, note in there.items() if wanted.get(place) != note]
        positions = [(note.Position.Row, note.Position.Column) for note in changes.notes_of(sheet)]
        for place in stale:
            unseen(sheet.Annotations.removeByIndex, positions.index(place))
            positions.remove(place)
        for place, (text, _) in wanted.items():
            if place in stale or place not in there:
                unseen(sheet.Annotations.insertNew, sheet.getCellByPosition(place[1], place[0]).CellAddress, text)

    def _notes(self, sheet: Any) -> dict[Any, tuple[str, bool]]:
        """Cell -> its note and whether that is ours."""
        held = set(self._places())
        found = ((note.Position.Row, note.Position.Column, note) for note in changes.notes_of(sheet))
        return {(row, column): (note.getString(), changes.note_is_ours(note))
                for row, column, note in found if (row, column) in held}  # fmt: skip

    def _places(self) -> list[tuple[int, int]]:
        top, left, bottom, right = self.area
        return [(row, column) for row in range(top, bottom + 1) for column in range(left, right + 1)]

    def _range(self, sheet: Any) -> Any:
        top, left, bottom, right = self.area
        return sheet.getCellRangeByPosition(left, top, right, bottom)

    def _part(self, sheet: Any, part: Any) -> Any:
        return sheet.getCellRangeByPosition(part.StartColumn, part.StartRow, part.EndColumn, part.EndRow)


def _link(doc: Any, cell: Any, value: Any, address: str, unseen: Unseen) -> None:
    """Link a cell that holds its value already."""
    if isinstance(value, str):
        field = doc.createInstance("com.sun.star.text.TextField.URL")
        field.URL, field.Representation = address, value
        unseen(cell.setString, "")
        unseen(cell.insertTextContent, cell.createTextCursor(), field, False)
    else:
        unseen(setattr, cell, "Hyperlink", address)


def _address(link: str) -> str:
    """'Next run!A5' as the office writes it: 'Next run'.A5, the name in quotes."""
    sheet, _, cell = link.rpartition("!")
    return "'{}'.{}".format(sheet.strip("'").replace("'", "''"), cell)


def set_marks(doc: Any, marks: Any, unseen: Unseen) -> None:
    """Replace the names that mark what is ours."""
    names = doc.NamedRanges
    for name in [name for name in names.ElementNames if name.startswith(reading.MARK_PREFIX)]:
        unseen(names.removeByName, name)
    origin = uno.createUnoStruct("com.sun.star.table.CellAddress")
    for mark in marks:
        top, left, bottom, right = mark["area"]
        cells = doc.Sheets.getByName(mark["sheet"]).getCellRangeByPosition(left - 1, top - 1, right - 1, bottom - 1)
        unseen(names.addNewByName, mark["name"], cells.AbsoluteName, origin, 0)
