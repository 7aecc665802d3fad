"""Links of cells to other places of the same book."""

from __future__ import annotations

from lxml import etree

from workbook_template.package import markup
from workbook_template.package.grid import Area, cell_name, parse_area
from workbook_template.package.sheet_part import SheetPart


def found(sheet: SheetPart, row: int, column: int) -> tuple[Area, etree._Element] | None:
    """The link that covers a cell, with the area it covers."""
    holder = sheet.child("hyperlinks")
    for element in holder if holder is not None else ():
        area = parse_area(element.get("ref", "")) if isinstance(element.tag, str) else None
        if area is not None and area.holds(row, column):
            return area, element
    return None


def set_location(sheet: SheetPart, row: int, column: int, location: str) -> None:
    """Link the cell to a place ("'Sheet'!A1") in the book."""
    existing = found(sheet, row, column)
    if existing is not None and existing[1].get("location") == location:
        return
    remove(sheet, row, column)
    holder = sheet.child_made("hyperlinks")
    element = etree.SubElement(holder, markup.own(holder, "hyperlink"))
    element.set("ref", cell_name(row, column))
    element.set("location", location)


def remove(sheet: SheetPart, row: int, column: int) -> None:
    """Take away the link of this one cell."""
    existing = found(sheet, row, column)
    holder = sheet.child("hyperlinks")
    if existing is None or holder is None or not existing[0].one_cell:
        return
    holder.remove(existing[1])
    if not len(holder):
        sheet.root.remove(holder)
