"""What stands in the way of writing a cell, each as one sentence."""

from __future__ import annotations

from collections.abc import Sequence

from workbook_template.package import formulas, markup, relationships, tables
from workbook_template.package.comments import Notes
from workbook_template.package.edits import CellEdit
from workbook_template.package.errors import EditRefused
from workbook_template.package.grid import MAX_COLUMN, MAX_ROW, Area, cell_name, parse_area, parse_areas
from workbook_template.package.links import Links
from workbook_template.package.ownership import Ownership
from workbook_template.package.sheet_part import SheetPart
from workbook_template.package.styles import Styles
from workbook_template.package.tables import Table

_TRUE = ("1", "true", "on")


class Obstacles:
    """The obstacles of one sheet; `owned` is what earlier saves wrote, `signed` whose notes and links are ours."""

    def __init__(self, sheet: SheetPart, styles: Styles, owned: Ownership, signed: str) -> None:
        self._sheet = sheet
        self._styles = styles
        self._owned = owned.areas(sheet.name)
        self.links = Links(sheet, signed, owned.sheets.values())
        self.notes = Notes(sheet, signed, self.owns)
        self._merged = _listed(sheet, "mergeCells", "mergeCell")
        self._arrays = [area for area in formulas.areas_of_kind(sheet, "array") if not area.one_cell]
        self._what_ifs = formulas.areas_of_kind(sheet, "dataTable")
        self._pivots = _pivot_areas(sheet)
        protection = sheet.child("sheetProtection")
        self._protected = protection is not None and protection.get("sheet", "0").lower() in _TRUE
        self._notes_locked = self._protected and protection is not None and (
            protection.get("objects", "0").lower() in _TRUE
        )  # fmt: skip

    @property
    def tables(self) -> list[Table]:
        """The sheet's tables as they stand now."""
        return tables.of_sheet(self._sheet.draft, self._sheet.part)

    def owns(self, row: int, column: int) -> bool:
        return any(area.holds(row, column) for area in self._owned)

    def check(self, row: int, column: int) -> None:
        """Raise EditRefused where nothing may be written or cleared."""
        if not (1 <= row <= MAX_ROW and 1 <= column <= MAX_COLUMN):
            place = f"row {row}, column {column}"
            raise EditRefused(self._sheet.name, "", f"{place} lies outside the sheet; it has no room for more")
        for reason in self._reasons(row, column):
            raise EditRefused(self._sheet.name, cell_name(row, column), reason)

    def check_edit(self, edit: CellEdit, tables: Sequence[Table]) -> None:
        """Raise EditRefused where this value, note or link may not be written. tables: those of the sheet."""
        self.check(edit.row, edit.column)
        self._check_tables(edit, tables)
        place = cell_name(edit.row, edit.column)
        if edit.link is not None and self.links.theirs(edit.row, edit.column):
            raise EditRefused(self._sheet.name, place, "it has a link already; take it away or choose another cell")
        unclear = self.notes.unsigned(edit.row, edit.column)
        if self.notes.theirs(edit.row, edit.column) and (edit.note is not None or unclear):
            raise EditRefused(self._sheet.name, place, "it has a note already; take it away or choose another cell")
        if edit.note is None:
            return
        if self._notes_locked:
            raise EditRefused(self._sheet.name, place, "notes are locked by the sheet's protection; unprotect it")

    def within(self, area: Area, first_column: int, last_column: int) -> bool:
        """Whether something that cannot join a table lies in these columns of the area's rows."""
        beside = Area(area.first_row, first_column, area.last_row, last_column)
        fixed = self._merged + self._arrays + self._what_ifs + self._pivots
        return any(beside.meets(other) for other in fixed + [table.area for table in self.tables])

    def used_to(self) -> int:
        """The last column that anything on the sheet reaches; 0 on an empty sheet."""
        reached = [0]
        for _, column, cell in self._sheet.cells():
            if len(cell):
                reached.append(column)
        reached += [area.last_column for area in self._merged + self._arrays + self._what_ifs + self._pivots]
        reached += [table.area.last_column for table in self.tables]
        return max(reached)

    def _reasons(self, row: int, column: int) -> list[str]:
        found = []
        if self._protected and not self._styles.unlocked(self._sheet.style_at(row, column)):
            found.append("the sheet is protected and this cell is locked; unprotect the sheet or unlock the cell")
        for area in self._merged:
            if area.holds(row, column) and (row, column) != (area.first_row, area.first_column):
                found.append(f"it lies inside the merged cells {area}; unmerge them")
        found += [f"it lies inside the array formula of {a}; move it" for a in self._arrays if a.holds(row, column)]
        found += [f"it lies inside the data table {a}; move it" for a in self._what_ifs if a.holds(row, column)]
        found += [f"it lies inside the pivot table {a}; move it" for a in self._pivots if a.holds(row, column)]
        return found

    def _check_tables(self, edit: CellEdit, tables: Sequence[Table]) -> None:
        row, column = edit.row, edit.column
        for table in tables:
            if table.heading(row, column):
                named = table.columns[column - table.area.first_column]
                if edit.value != named:
                    raise EditRefused(self._sheet.name, cell_name(row, column),
                                      f"it is the heading '{named}' of table '{table.name}'; choose another "
                                      "column")  # fmt: skip
            if table.total(row, column):
                raise EditRefused(self._sheet.name, cell_name(row, column),
                                  f"it is the totals row of table '{table.name}'; choose another row")  # fmt: skip


def _listed(sheet: SheetPart, holder: str, item: str) -> list[Area]:
    parent = sheet.child(holder)
    found = () if parent is None else parent.iterchildren(markup.own(parent, item))
    return [area for element in found if (area := parse_area(element.get("ref", ""))) is not None]


def _pivot_areas(sheet: SheetPart) -> list[Area]:
    areas = []
    for found in relationships.of_kind(sheet.draft, sheet.part, "pivotTable"):
        root = sheet.draft.root(found.part) if sheet.draft.has(found.part) else None
        location = root.find(markup.own(root, "location")) if root is not None else None
        if location is not None:
            areas += parse_areas(location.get("ref", ""))
    return areas
