"""Carrying out an answer's changes in an open workbook, all or nothing, and putting back what they overwrote."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

from engine_rules.logbook import LogbookError
from workbook_template.hosts.excel import keeping, looks, obstacles, program, reading, sheets, writing
from workbook_template.hosts.excel.keeping import Kept, KeptArea, Place, key_of, place_of
from workbook_template.hosts.excel.obstacles import SIGNED, Cells, ref_of
from workbook_template.hosts.marks import Settled
from workbook_template.hosts.office.changes import rectangles
from workbook_template.hosts.protocol import Changes, NotInPlace
from workbook_template.hosts.wire import sheets_as_workbook

NOTHING_CHANGED = "nothing was changed"


class Filling:
    """Changes on their way into one workbook. folder: where what they overwrite is kept.

    Making it touches nothing. Raises NotInPlace where the workbook cannot take them.
    """

    def __init__(self, book: Any, settled: Settled, folder: Path) -> None:
        self.book, self.settled, self.folder = book, settled, folder
        self.cells = by_place(book, settled.changes)
        self.sheets_file = keeping.sheets_file_for_now(folder)
        self.at, self.exchanging = ("", ""), False
        marks = reading.marks(book)
        changes = settled.changes
        new = [sheet.name for sheet in changes.sheets]
        ours = obstacles.places_of((mark.sheet, mark.area) for mark in marks)
        obstacles.look_first(book, self.cells, {*new, *changes.removed}, ours)
        there = {sheet.name: at for at, sheet in enumerate(book.sheets)}
        old = {name: there[name] for name in (*new, *changes.removed) if name in there}
        self.looks: dict[str, dict[Place, looks.Look]] = {name: {} for name in self.cells}
        self.looked: dict[str, dict[Place, looks.Look]] = {name: {} for name in self.cells}
        for name, places in self.cells.items():
            self._compare_looks(book.sheets[name], places)
        self.kept = Kept(
            areas=[
                area for name, places in self.cells.items() for area in self._areas(book.sheets[name], places, ours)
            ],
            marks=list(marks),
            old=old,
            new=new,
            readers=list(reading.formulas_that_read(book, set(old))),
            names=sheets.names_that_speak(book, set(old)),
        )

    def carry_out(self) -> None:
        """Write. Raises NotInPlace, with everything as it was, where Excel does not take it."""
        try:
            sheets.keep(self.book, list(self.kept.old), self.sheets_file)
            self._write()
            keeping.store(self.folder, self.kept)
        except Exception as error:
            what = program.in_a_sentence(error, "take what was to be written", *self.at)
            self._take_back(what)
            raise NotInPlace(f"{what}; {NOTHING_CHANGED}") from error

    def _take_back(self, what: LogbookError) -> None:
        try:
            put_back_cells(self.book, self.kept)
            if self.exchanging:
                put_back_sheets(self.book, self.kept, self.sheets_file)
        except Exception as error:
            raise NotInPlace(f"{what}; a part is written and could not be taken back: close without saving") from error

    def _write(self) -> None:
        for name, places in self.cells.items():
            sheet = self.book.sheets[name]
            for look, alike in looks.alike(self.looks[name]):
                for top, left, bottom, right in rectangles(dict.fromkeys(alike)):
                    self.at = (name, ref_of((top, left)))
                    looks.put(sheet.range((top, left), (bottom, right)), look)
            for area in self.kept.areas:
                if area.sheet == name:
                    self._write_area(sheet, area, places)
        self.at = ("", "")
        fresh = self.folder / "strapline-new-sheets.xlsx"
        places_of_new = {
            name: self.kept.old.get(name, len(self.book.sheets) + at) for at, name in enumerate(self.kept.new)
        }
        if places_of_new:
            fresh.write_bytes(sheets_as_workbook(self.settled.changes.sheets))
        self.exchanging = True
        sheets.exchange(self.book, list(self.kept.old), places_of_new, fresh)
        fresh.unlink(missing_ok=True)
        sheets.repair(self.book, self.kept)
        sheets.set_marks(self.book, self.settled.marks)

    def _write_area(self, sheet: Any, area: KeptArea, places: Mapping[Place, Any]) -> None:
        top, left, bottom, right = area.area
        self.at = (area.sheet, ref_of((top, left)))
        cells = sheet.range((top, left), (bottom, right))
        program.take_off_links(cells, area.links)
        within = {
            (row, column): places[row, column] for row in range(top, bottom + 1) for column in range(left, right + 1)
        }
        writing.write(sheet, area.area, within)
        for place, cell in within.items():
            _set_note(sheet.range(place), area, key_of(place), cell.note)
        area.after = told(cells)

    def _compare_looks(self, sheet: Any, places: Mapping[Place, Any]) -> None:
        """Find out what differs between how the cells look and how they are to look."""
        models: dict[Place, looks.Look] = {}
        for place, cell in places.items():
            if cell.like is not None and cell.like not in models:
                models[cell.like] = looks.read(sheet.range(cell.like), looks.TAKEN)
            at = sheet.range(place)
            model = models.get(cell.like) if cell.like else None
            look = looks.wanted(cell, model, partial(getattr, at, "number_format"))
            now = looks.read(at, look)
            differs = [name for name, value in look.items() if value != now[name]]
            self.looks[sheet.name][place] = {name: look[name] for name in differs}
            self.looked[sheet.name][place] = {name: now[name] for name in differs}

    def _areas(self, sheet: Any, places: Mapping[Place, Any], ours: set[tuple[str, int, int]]) -> list[KeptArea]:
        links = program.links_of(sheet)
        return [self._area(sheet, area, links, ours) for area in rectangles(places)]

    def _area(self, sheet: Any, area: keeping.Area, links: Mapping[Place, str], ours: set[Any]) -> KeptArea:
        top, left, bottom, right = area
        kept = KeptArea(sheet.name, area, writing.typed(sheet.range((top, left), (bottom, right))))
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                cell, key = sheet.range((row, column)), key_of((row, column))
                looked = self.looked[sheet.name][row, column]
                if looked:
                    kept.looks[key] = looked
                if (row, column) in links:
                    kept.links[key] = links[row, column]
                note = cell.note
                if note is not None:
                    kept.notes[key] = note.text
                    if (sheet.name, row, column) in ours or obstacles.note_is_ours(note):
                        kept.noted.append(key)
        return kept


def by_place(book: Any, changes: Changes) -> Cells:
    """Sheet -> (row, column) -> cell: those asked for, and of those asked if linked the ones that are."""
    wanted = {sheet: dict(cells) for sheet, cells in changes.cells.items()}
    there = {sheet.name for sheet in book.sheets}
    for name, cells in changes.if_linked.items():
        if name in there:
            linked = reading.linked(book.sheets[name], set(cells)) - wanted.get(name, {}).keys()
            wanted.setdefault(name, {}).update((place, cells[place]) for place in linked)
    return {sheet: cells for sheet, cells in wanted.items() if cells}


def undo(book: Any, folder: Path) -> None:
    """Put back what the last fill overwrote.

    Raises LogbookError where there is nothing to put back, or where somebody has changed since what it wrote.
    """
    kept = keeping.load(folder)
    there = {sheet.name for sheet in book.sheets}
    for area in kept.areas:
        if area.sheet not in there:
            raise NotInPlace("the sheet is gone since; so there is no way back but Clear", area.sheet)
        top, left, bottom, right = area.area
        now = told(book.sheets[area.sheet].range((top, left), (bottom, right)))
        changed = [
            (top + row, left + column)
            for row, (is_now, was) in enumerate(zip(now, area.after, strict=True))
            for column in range(len(was))
            if is_now[column] != was[column]
        ]
        if changed:
            raise NotInPlace(
                "this cell was changed since strapline wrote it, so nothing was put back; use Clear instead",
                area.sheet, ref_of(changed[0]),
            )  # fmt: skip
    try:
        put_back_cells(book, kept)
        put_back_sheets(book, kept, keeping.sheets_file(folder))
    except Exception as error:
        raise program.in_a_sentence(error, "take back all that was written; close without saving") from error
    keeping.forget(folder)


def told(cells: Any) -> list[list[Any]]:
    """What a range holds, as it is kept."""
    found: list[list[Any]] = json.loads(json.dumps(writing.held(cells), default=str))
    return found


def put_back_cells(book: Any, kept: Kept) -> None:
    """Write what stood in the cells before."""
    for area in kept.areas:
        sheet = book.sheets[area.sheet]
        top, left, bottom, right = area.area
        cells = sheet.range((top, left), (bottom, right))
        for look, alike in looks.alike({place_of(key): look for key, look in area.looks.items()}):
            for place in alike:
                looks.put(sheet.range(place), look)
        writing.type_again(cells, area.typed)
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                _set_note_as_it_was(sheet.range((row, column)), area.notes.get(key_of((row, column))))
        for key, target in area.links.items():
            program.link_again(sheet.range(place_of(key)), target)


def put_back_sheets(book: Any, kept: Kept, path: Path) -> None:
    """Bring our sheets back from that file as they were, and what speaks of them."""
    sheets.exchange(book, kept.new, kept.old, path)
    sheets.repair(book, kept)
    sheets.set_marks(book, kept.marks)


def _set_note(cell: Any, area: KeptArea, key: str, wanted: str | None) -> None:
    theirs = key in area.notes and key not in area.noted
    if theirs or (wanted is None and key not in area.notes):
        return
    _set_note_as_it_was(cell, None if wanted is None else SIGNED + wanted)


def _set_note_as_it_was(cell: Any, text: str | None) -> None:
    note = cell.note
    if note is not None and note.text != text:
        note.delete()
        note = None
    if note is None and text:
        cell.add_note(text)
