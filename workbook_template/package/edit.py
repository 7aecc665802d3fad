"""The public face: open a package, ask what is in the way, apply edits, take them out again."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from workbook_template.package import (
    calc_chain,
    cell_edits,
    formulas,
    gate,
    graft,
    originals,
    ownership,
    recalculation,
    removal,
)  # fmt: skip
from workbook_template.package.container import Member, read_members, write_members
from workbook_template.package.draft import Draft
from workbook_template.package.edits import AUTHOR, CellEdit, Edits, Formula
from workbook_template.package.errors import EditRefused, PackageRefused
from workbook_template.package.grid import MAX_COLUMN, MAX_ROW, Area, column_runs
from workbook_template.package.obstacles import Obstacles
from workbook_template.package.ownership import Ownership
from workbook_template.package.sheet_part import SheetPart
from workbook_template.package.styles import Styles
from workbook_template.package.workbook_part import WorkbookPart

_WHOLE_SHEET = (Area(1, 1, MAX_ROW, MAX_COLUMN),)


class Package:
    """An opened workbook; never changed itself, `apply` returns the bytes of the edited one."""

    def __init__(self, members: tuple[Member, ...]) -> None:
        self.members = members
        book = WorkbookPart(Draft(members))
        book.check_list()
        self.sheet_names: tuple[str, ...] = tuple(sheet.name for sheet in book.sheets())
        self.worksheet_names: tuple[str, ...] = tuple(
            sheet.name for sheet in book.sheets() if sheet.kind == "worksheet"
        )
        self.locked_reason: str | None = book.locked_reason()
        self.owned: Ownership = ownership.read(book)

    def is_as_saved(self) -> bool:
        """True where nothing has edited the package since `apply` made it: `strip` then gives back the original."""
        return originals.read(WorkbookPart(Draft(self.members))) is not None

    def final_name(self, wanted: str) -> str:
        """The name that a new sheet asked for as `wanted` has, or will get, in this book."""
        return ownership.final_name(self.sheet_names, self.owned, wanted)

    def free_column(self, sheet: str, width: int = 1) -> int:
        """The first of `width` free visible columns (1-based) right of all that the sheet holds.

        One column is left empty beside a table that cannot grow. Raises EditRefused where there is no room.
        """
        part, obstacles = _opened(WorkbookPart(Draft(self.members)), sheet, self.owned, AUTHOR)
        used = obstacles.used_to()
        stuck = any(not table.plain and table.area.last_column == used for table in obstacles.tables)
        column = used + (2 if stuck else 1)
        while column + width - 1 <= MAX_COLUMN:
            hidden = [part.hidden(candidate) for candidate in range(column, column + width)]
            if not any(hidden):
                return column
            column += len(hidden) - hidden[::-1].index(True)
        raise EditRefused(sheet, "", f"it has no {width} free visible columns to the right of its {used} used "
                          "ones; write to another sheet")  # fmt: skip

    def refusals(self, edits: Edits) -> tuple[EditRefused, ...]:
        """Every cell edit that would be refused, with the reason; empty where `apply` will write them all."""
        book = WorkbookPart(Draft(self.members))
        found = []
        for sheet in _sheets_of(edits):
            try:
                part, obstacles = _opened(book, sheet, self.owned, edits.author)
            except EditRefused as refused:
                found.append(refused)
                continue
            for edit in (edit for edit in edits.cells if edit.sheet == sheet):
                try:
                    cell_edits.check([edit], [], obstacles, part)
                except EditRefused as refused:
                    found.append(refused)
        return tuple(found)

    def apply(self, edits: Edits) -> bytes:
        """The package with the edits made, or the same bytes again where they had been made before.

        Raises PackageRefused where the package is locked, EditRefused where an edit would do damage, and
        GateFailed where this program made a change that no edit asked for.
        """
        if self.locked_reason is not None:
            raise PackageRefused(self.locked_reason)
        work = _Work(self.members, self.owned)
        work.change_sheets(edits)
        for sheet in _sheets_of(edits):
            work.change_cells(sheet, edits)
        return work.finished()


def open_package(source: Path | str | bytes) -> Package:
    """Open an .xlsx or .xlsm file (path or content); raises PackageRefused with one sentence for any other."""
    if not isinstance(source, bytes):
        try:
            source = Path(source).read_bytes()
        except OSError as error:
            raise PackageRefused(f"the file '{source!s}' cannot be read: {error.strerror}") from error
    return Package(read_members(source))


def strip(package: Package, author: str = AUTHOR) -> bytes:
    """The package without anything that `apply` ever put in.

    If nothing has edited it since, every member is the original's, byte for byte. If another program has, the
    originals no longer fit and are not used: our sheets, cells, notes, links and table columns are taken out
    where they stand now, all else stays as that program left it (cell formats stay listed). Notes and links are
    ours where `author` signed them.
    """
    draft = Draft(package.members)
    book = WorkbookPart(draft)
    kept = originals.read(book)
    if kept is not None:
        data = write_members(originals.restored(kept, draft))
        read_members(data)
        return data
    if package.locked_reason is not None:
        raise PackageRefused(package.locked_reason)
    return _Work(package.members, package.owned).emptied(author)


class _Work:
    """One edit of a package on its way: the draft, and what the gate must know of it."""

    def __init__(self, members: tuple[Member, ...], owned: Ownership) -> None:
        self.before = Draft(members)
        self.draft = Draft(members)
        self.book = WorkbookPart(self.draft)
        self.intended = gate.Intended()
        self.kept = originals.read(self.book)
        if self.kept is None:
            self.intended.dropped = originals.drop(self.book)
        self.base = Draft(self.draft.members())
        if self.kept is None and not owned:
            self.kept = originals.of(self.base.members())
        self.owned = owned
        self.written: dict[str, tuple[Area, ...]] = {}
        self.renamed: dict[str, str] = {}
        self.recalculate = False

    def change_sheets(self, edits: Edits) -> None:
        """Take out and bring in whole sheets."""
        for wanted in edits.remove_sheets:
            self._remove(wanted)
        if not edits.sheets:
            return
        for wanted in edits.sheets:
            existing = [*(sheet.name for sheet in self.book.sheets()), *self.renamed.values()]
            self.renamed[wanted] = ownership.final_name(existing, self.owned, wanted)
        assert edits.scratch is not None
        scratch = graft.Scratch(edits.scratch, self.renamed)
        for wanted in edits.sheets:
            scratch.check(wanted)
        for wanted in edits.sheets:
            self._release(wanted)
        styles = Styles(self.book)
        for wanted in edits.sheets:
            graft.bring(self.book, styles, scratch, wanted)
            if removal.has_formulas(self.book, self.renamed[wanted]):
                self.recalculate = self.intended.calc_chain = True
            self.written[self.renamed[wanted]] = _WHOLE_SHEET
        self.owned = replace(self.owned, sheets={**self.owned.sheets, **self.renamed})

    def change_cells(self, sheet: str, edits: Edits) -> None:
        """Write and clear the cells of one sheet."""
        part, obstacles = _opened(self.book, sheet, self.owned, edits.author)
        wanted = {(edit.row, edit.column): edit for edit in edits.cells if edit.sheet == sheet}
        written = [_linked(edit, self.renamed) for edit in wanted.values()]
        places = set(wanted)
        asked = dict.fromkeys((place.row, place.column) for place in edits.clear if place.sheet == sheet)
        cleared = [place for place in asked if place not in places]
        cell_edits.check(written, cleared, obstacles, part)
        styles = Styles(self.book)
        touched = [cell_edits.clear(part, obstacles, cleared)]
        touched.append(cell_edits.write(
            part, styles, obstacles, written, from_1904=self.book.dates_from_1904()
        ))  # fmt: skip
        self.recalculate |= any(isinstance(edit.value, Formula) for edit in written)
        self.owned = ownership.changed(self.owned, part.name, places, cleared)
        self._note(part.name, places | set(cleared), touched)

    def finished(self) -> bytes:
        """The bytes of the edited package, once the gate has passed them."""
        if self.recalculate or recalculation.needed(self.book, self.written):
            self.book.recalculate_on_load()
        if self.intended.calc_chain:
            calc_chain.drop(self.book)
        ownership.write(self.book, self.owned)
        if self.kept is not None and self.draft.members() != originals.restored(self.kept, self.base):
            originals.seal(self.book, self.kept, self.base)
        return self._gated()

    def emptied(self, signed: str) -> bytes:
        """The bytes of the package with all that is owned taken out where it stands now."""
        for wanted in list(self.owned.sheets):
            self._remove(wanted)
        for sheet in list(self.owned.cells):
            part, obstacles = _opened(self.book, sheet, self.owned, signed)
            places = [place for area in self.owned.areas(sheet) for place in area.places()]
            stuck = cell_edits.stuck_headings(obstacles, places)
            held = [place for place in places if _holds_anything(part, obstacles, place) and place not in stuck]
            self._note(part.name, set(held), [cell_edits.clear(part, obstacles, held)])
        if recalculation.needed(self.book, self.written):
            self.book.recalculate_on_load()
        if self.intended.calc_chain:
            calc_chain.drop(self.book)
        ownership.write(self.book, Ownership({}, {}))
        return self._gated()

    def _gated(self) -> bytes:
        data = self.draft.to_bytes()
        before = self.before.members()
        gate.check(Draft(before), Draft(read_members(data, checked=before)), self.intended)
        return data

    def _note(self, sheet: str, places: set[tuple[int, int]], touched: Iterable[cell_edits.Touched]) -> None:
        self.written[sheet] = tuple(column_runs(places))
        cells = self.intended.cells.setdefault(sheet, set())
        cells |= places
        for done in touched:
            cells |= done.followers
            self.intended.tables |= done.tables
            self.intended.calc_chain |= done.formulas

    def _remove(self, wanted: str) -> None:
        if wanted not in self.owned.sheets:
            raise EditRefused(wanted, "", "it was not written by this program, so it is not taken out; delete it "
                              "by hand")  # fmt: skip
        name = self.owned.sheets[wanted]
        removal.empty_sheet(self.book, name)
        self.book.strike_sheet(name)
        removal.break_references(self.book, name)
        self.intended.removed.add(name)
        self.intended.calc_chain = True
        sheets = {asked: final for asked, final in self.owned.sheets.items() if asked != wanted}
        cells = {sheet: areas for sheet, areas in self.owned.cells.items() if sheet != name}
        self.owned = Ownership(sheets, cells)

    def _release(self, wanted: str) -> None:
        """Empty the sheet that an earlier save brought under this name, for the new one to take its place."""
        name = self.owned.sheets.get(wanted)
        if name is not None:
            self.intended.replaced.add(name)
            self.intended.calc_chain |= removal.has_formulas(self.book, name)
            removal.empty_sheet(self.book, name)


def _sheets_of(edits: Edits) -> list[str]:
    return list(dict.fromkeys([edit.sheet for edit in edits.cells] + [place.sheet for place in edits.clear]))


def _opened(book: WorkbookPart, name: str, owned: Ownership, signed: str) -> tuple[SheetPart, Obstacles]:
    sheet = book.sheet(name)
    if sheet is None:
        raise EditRefused(name, "", "there is no such sheet in the workbook; check its name")
    part = SheetPart(book.draft, sheet)
    return part, Obstacles(part, Styles(book), owned, signed)


def _linked(edit: CellEdit, renamed: dict[str, str]) -> CellEdit:
    """The edit with its link in the form that the file wants, to the sheet's final name."""
    if edit.link is None:
        return edit
    sheet, mark, cell = edit.link.removeprefix("#").rpartition("!")
    bare = sheet[1:-1].replace("''", "'") if sheet.startswith("'") else sheet
    place = f"{formulas.quoted(renamed.get(bare, bare))}!{cell}" if mark else cell
    return replace(edit, link=place)


def _holds_anything(part: SheetPart, obstacles: Obstacles, place: tuple[int, int]) -> bool:
    has_hangers = obstacles.links.ours(*place) or obstacles.notes.ours(*place)
    return part.cell(*place) is not None or has_hangers
