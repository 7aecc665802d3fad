"""Links of cells to other places of the same book."""

from __future__ import annotations

from collections.abc import Collection

from lxml import etree

from workbook_template.package import markup
from workbook_template.package.formulas import quoted
from workbook_template.package.grid import Area, cell_name, parse_area
from workbook_template.package.sheet_part import SheetPart


class Links:
    """The links of one sheet by the cells that they cover; ours carry our name as tip, or lead to a sheet of ours."""

    def __init__(self, sheet: SheetPart, signed: str, our_sheets: Collection[str]) -> None:
        self._sheet = sheet
        self._signed = signed
        self._our_places = tuple(f"{start}!" for name in our_sheets for start in (name, quoted(name)))
        self._of_cell: dict[tuple[int, int], etree._Element] = {}
        self._of_area: list[Area] = []
        holder = sheet.child("hyperlinks")
        for element in holder.iterchildren("{*}hyperlink") if holder is not None else ():
            area = parse_area(element.get("ref", ""))
            if area is not None and area.one_cell:
                self._of_cell[(area.first_row, area.first_column)] = element
            elif area is not None:
                self._of_area.append(area)

    def theirs(self, row: int, column: int) -> bool:
        """Whether the cell has a link that the user set."""
        if any(area.holds(row, column) for area in self._of_area):
            return True
        return (row, column) in self._of_cell and not self.ours(row, column)

    def ours(self, row: int, column: int) -> bool:
        """Whether the cell has a link that an earlier save set."""
        element = self._of_cell.get((row, column))
        if element is None:
            return False
        return element.get("tooltip") == self._signed or element.get("location", "").startswith(self._our_places)

    def set_location(self, row: int, column: int, location: str) -> None:
        """Link the cell to a place ("'Sheet'!A1") in the book."""
        existing = self._of_cell.get((row, column))
        if existing is not None and (existing.get("location"), existing.get("tooltip")) == (location, self._signed):
            return
        self.remove(row, column)
        holder = self._sheet.child_made("hyperlinks")
        element = etree.SubElement(holder, markup.own(holder, "hyperlink"))
        element.set("ref", cell_name(row, column))
        element.set("location", location)
        element.set("tooltip", self._signed)
        self._of_cell[(row, column)] = element

    def remove(self, row: int, column: int) -> None:
        """Take away the link of this one cell, if it is ours."""
        element = self._of_cell.pop((row, column)) if self.ours(row, column) else None
        holder = self._sheet.child("hyperlinks")
        if element is None or holder is None:
            return
        holder.remove(element)
        if not len(holder):
            self._sheet.root.remove(holder)
