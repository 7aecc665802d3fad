"""Whether any formula of the book reads what was written, so that it must be calculated anew on load."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from lxml import etree

from workbook_template.package import formulas, removal, tables
from workbook_template.package.grid import Area, parse_area
from workbook_template.package.sheet_stream import SheetStream
from workbook_template.package.workbook_part import WorkbookPart

_MAY_POINT_ANYWHERE = ("INDIRECT", "OFFSET")
_FORMULA = re.compile(r"<(?:[\w.-]+:)?f[\s/>]")


def needed(book: WorkbookPart, written: Mapping[str, Sequence[Area]]) -> bool:
    """Whether a formula or a visible name reads one of these areas (sheet name -> areas)."""
    areas = {sheet.lower(): tuple(found) for sheet, found in written.items() if found}
    if not areas:
        return False
    for defined in book.defined_names():
        visible = defined.get("hidden") != "1" and not defined.get("name", "").startswith("_xlnm.")
        if visible and formulas.reads(defined.text or "", "", areas):
            return True
    read_tables = _tables_written(book, areas)
    for sheet in book.sheets():
        if sheet.kind != "worksheet":
            continue
        text = removal.plain_text(book.draft, sheet.part)
        if not _FORMULA.search(text):
            continue
        # Another sheet is led to by a mark, a table's column by a bracket.
        words = [*_MAY_POINT_ANYWHERE, *(areas if "!" in text else ()), *(read_tables if "[" in text else ())]
        if sheet.name.lower() not in areas and not removal.mentions(text, words):
            continue
        cells = SheetStream(book.draft.content(sheet.part), sheet.part).cells()
        found = (element for _, _, cell in cells if (element := formulas.formula(cell)) is not None)
        if any(_reads(element, sheet.name, areas, read_tables) for element in found):
            return True
    return False


def _reads(element: etree._Element, home: str, areas: Mapping[str, Sequence[Area]], read_tables: set[str]) -> bool:
    text = element.text or ""
    if formulas.table_names(text) & read_tables:
        return True
    shared = parse_area(element.get("ref", "")) if element.get("t") == "shared" else None
    reach = (shared.last_row - shared.first_row, shared.last_column - shared.first_column) if shared else (0, 0)
    if element.get("t") == "dataTable":
        text = ",".join(filter(None, (element.get("r1"), element.get("r2"))))
    return bool(text) and formulas.reads(text, home, areas, reach)


def _tables_written(book: WorkbookPart, areas: Mapping[str, Sequence[Area]]) -> set[str]:
    """The names of the tables that hold a written cell, lower case; "" (the table at hand) where there is one."""
    names = set()
    for sheet in book.sheets():
        for table in tables.of_sheet(book.draft, sheet.part) if sheet.name.lower() in areas else ():
            if any(table.area.meets(area) for area in areas[sheet.name.lower()]):
                names |= {table.name.lower(), ""}
    return names
