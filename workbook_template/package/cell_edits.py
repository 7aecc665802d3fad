"""Writing and clearing the cells of one sheet, with what hangs on them: tables, links, notes, formulas."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from workbook_template.package import cell_values, formulas, tables
from workbook_template.package.edits import CellEdit, Formula
from workbook_template.package.errors import EditRefused
from workbook_template.package.grid import cell_name
from workbook_template.package.obstacles import Obstacles
from workbook_template.package.sheet_part import SheetPart
from workbook_template.package.styles import Styles
from workbook_template.package.tables import Table

Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Touched:
    """What writing did: cells beyond those asked for, tables grown or shrunk, whether formulas came or went."""

    followers: frozenset[Place]
    tables: frozenset[str]
    formulas: bool


def check(edits: Iterable[CellEdit], cleared: Collection[Place], obstacles: Obstacles, sheet: SheetPart) -> None:
    """Raise EditRefused for the first cell that cannot be written or cleared."""
    tables = obstacles.tables
    for edit in edits:
        reason = cell_values.refusal(edit.value)
        if reason is not None:
            raise EditRefused(sheet.name, cell_name(edit.row, edit.column), f"{reason}; shorten or correct it")
        obstacles.check_edit(edit, tables)
    for row, column in cleared:
        obstacles.check(row, column)
    for row, column in stuck_headings(obstacles, cleared):
        raise EditRefused(sheet.name, cell_name(row, column),
                          "it heads a column in the middle of a table; delete that column by hand")  # fmt: skip


def write(sheet: SheetPart, styles: Styles, obstacles: Obstacles, edits: list[CellEdit], *, from_1904: bool) -> Touched:
    """Write the cells, which `check` has passed; tables grow by columns whose headings are among them."""
    doomed = frozenset((edit.row, edit.column) for edit in edits)
    followers, had_formulas = _free_formulas(sheet, doomed)
    grown = _grow_tables(sheet, obstacles, edits)
    dates = styles.date_looks()
    for edit in edits:
        cell = sheet.made_cell(edit.row, edit.column)
        base = sheet.style_at(*(edit.like or (edit.row, edit.column)))
        number_format = edit.number_format
        if number_format is None and edit.like is not None:
            number_format = cell_values.default_format(edit.value) or "General"
        if number_format is None and base not in dates:
            number_format = cell_values.default_format(edit.value)
        if edit.style is not None or number_format is not None:
            cell.set("s", str(styles.derived(base, edit.style, number_format)))
        cell_values.write(cell, edit.value, from_1904=from_1904)
        sheet.widen(edit.row, edit.column)
        _hang(obstacles, edit)
    obstacles.notes.flush()
    formulas_written = any(isinstance(edit.value, Formula) for edit in edits)
    return Touched(frozenset(followers), frozenset(grown), had_formulas or formulas_written)


def clear(sheet: SheetPart, obstacles: Obstacles, places: list[Place]) -> Touched:
    """Empty cells: those written earlier vanish with look, link and note; others keep their look."""
    doomed = frozenset(places)
    followers, had_formulas = _free_formulas(sheet, doomed)
    shrunk = _shrink_tables(sheet, obstacles, doomed)
    for row, column in places:
        cell = sheet.cell(row, column)
        if obstacles.owns(row, column):
            obstacles.links.remove(row, column)
            obstacles.notes.remove(row, column)
            sheet.drop_cell(row, column)
        elif cell is not None:
            cell_values.empty(cell)
    return Touched(frozenset(followers), frozenset(shrunk), had_formulas)


def _free_formulas(sheet: SheetPart, doomed: frozenset[Place]) -> tuple[list[Place], bool]:
    """Let shared formulas live on without the doomed cells; the cells changed, and whether any formula goes."""
    followers: list[Place] = []
    gone = False
    for row, column in sorted(doomed):
        if formulas.formula(sheet.cell(row, column)) is not None:
            gone = True
            followers += formulas.release_shared(sheet, row, column, doomed)
    return followers, gone


def _hang(obstacles: Obstacles, edit: CellEdit) -> None:
    if edit.link is not None:
        obstacles.links.set_location(edit.row, edit.column, edit.link.removeprefix("#"))
    else:
        obstacles.links.remove(edit.row, edit.column)
    if edit.note is not None:
        obstacles.notes.set(edit.row, edit.column, edit.note)
    else:
        obstacles.notes.remove(edit.row, edit.column)


def _grow_tables(sheet: SheetPart, obstacles: Obstacles, edits: list[CellEdit]) -> list[str]:
    """Grow each plain table by the headings written right beside its own; the parts changed."""
    texts = {(e.row, e.column): e.value for e in edits if isinstance(e.value, str) and e.value}
    grown = []
    for table in obstacles.tables:
        if not table.plain or table.header_rows != 1:
            continue
        headings: list[str] = []
        while heading := texts.get((table.area.first_row, table.area.last_column + len(headings) + 1)):
            headings.append(heading)
        if headings and not _in_the_way(table, len(headings), obstacles):
            tables.grow(sheet.draft, table, headings, sheet.name)
            grown.append(table.part)
    return grown


def _in_the_way(table: Table, columns: int, obstacles: Obstacles) -> bool:
    """Whether growing would run into another table or into merged, array or pivot cells."""
    return obstacles.within(table.area, table.area.last_column + 1, table.area.last_column + columns)


def stuck_headings(obstacles: Obstacles, doomed: Collection[Place]) -> set[Place]:
    """The headings among the cells that cannot be cleared because their columns are not the table's last."""
    stuck = set()
    for table in obstacles.tables:
        headings = {place for place in doomed if table.heading(*place)}
        count = _last_columns(table, headings)
        if count == len(table.columns):
            count = 0
        first = table.area.last_column - count + 1
        stuck |= {(row, column) for row, column in headings if column < first}
    return stuck


def _shrink_tables(sheet: SheetPart, obstacles: Obstacles, doomed: frozenset[Place]) -> list[str]:
    """Take the last columns out of the tables whose headings are cleared; the parts changed."""
    shrunk = []
    for table in obstacles.tables:
        count = _last_columns(table, doomed)
        if 0 < count < len(table.columns):
            tables.shrink(sheet.draft, table, count)
            shrunk.append(table.part)
    return shrunk


def _last_columns(table: Table, doomed: Collection[Place]) -> int:
    """How many columns at the table's right edge have their headings among the cells."""
    count = 0
    while table.heading(table.area.first_row, table.area.last_column - count) and (
        (table.area.first_row, table.area.last_column - count) in doomed
    ):
        count += 1
    return count
