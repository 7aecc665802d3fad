"""Tables of a sheet: where they stand, and growing one by the columns written at its right edge."""

from __future__ import annotations

from dataclasses import dataclass

from lxml import etree

from workbook_template.package import markup, relationships
from workbook_template.package.draft import Draft
from workbook_template.package.errors import EditRefused
from workbook_template.package.grid import Area, cell_name, parse_area


@dataclass(frozen=True, slots=True)
class Table:
    """One table; `plain` tells that its columns come from nowhere but the sheet."""

    part: str
    name: str
    area: Area
    header_rows: int
    totals_rows: int
    plain: bool
    columns: tuple[str, ...]

    def heading(self, row: int, column: int) -> bool:
        return self.header_rows > 0 and row == self.area.first_row and self.area.holds(row, column)

    def total(self, row: int, column: int) -> bool:
        return self.totals_rows > 0 and row == self.area.last_row and self.area.holds(row, column)


def of_sheet(draft: Draft, sheet_part: str) -> list[Table]:
    """The tables of a worksheet, in the file's order."""
    return [
        table
        for found in relationships.of_kind(draft, sheet_part, "table")
        if draft.has(found.part) and (table := _read(found.part, draft.root(found.part))) is not None
    ]


def grow(draft: Draft, table: Table, headings: list[str], sheet: str) -> Table:
    """Add columns with these headings at the table's right edge; refuses a heading it already has."""
    root = draft.root(table.part)
    columns = root.find(markup.own(root, "tableColumns"))
    assert columns is not None
    known = {column.lower() for column in table.columns}
    identifier = max((markup.number(column, "id") for column in columns), default=0)
    for offset, heading in enumerate(headings, start=1):
        if heading.lower() in known:
            raise EditRefused(sheet, cell_name(table.area.first_row, table.area.last_column + offset),
                              f"table '{table.name}' already has a column '{heading}'; rename one")  # fmt: skip
        known.add(heading.lower())
        column = etree.SubElement(columns, markup.own(columns, "tableColumn"))
        column.set("id", str(identifier + offset))
        column.set("name", _in_attribute(heading))
    _resize(root, table, len(headings))
    found = _read(table.part, root)
    assert found is not None
    return found


def shrink(draft: Draft, table: Table, columns: int) -> None:
    """Take the last columns out of the table."""
    root = draft.root(table.part)
    listed = root.find(markup.own(root, "tableColumns"))
    assert listed is not None
    for column in list(listed)[len(listed) - columns :]:
        listed.remove(column)
    _resize(root, table, -columns)
    kept = len(listed)
    for column in list(root.iter(markup.own(root, "filterColumn"))):
        parent = column.getparent()
        if markup.number(column, "colId") >= kept and parent is not None:
            parent.remove(column)
    for state in list(root.iter(markup.own(root, "sortState"))):
        parent = state.getparent()
        if parent is not None:
            parent.remove(state)


def _resize(root: etree._Element, table: Table, columns: int) -> None:
    area = table.area
    right = area.last_column + columns
    root.set("ref", str(Area(area.first_row, area.first_column, area.last_row, right)))
    filtered = root.find(markup.own(root, "autoFilter"))
    if filtered is not None:
        last = area.last_row - table.totals_rows
        filtered.set("ref", str(Area(area.first_row, area.first_column, last, right)))
    listed = root.find(markup.own(root, "tableColumns"))
    assert listed is not None
    listed.set("count", str(len(listed)))


def _read(part: str, root: etree._Element) -> Table | None:
    area = parse_area(root.get("ref", ""))
    columns = root.find(markup.own(root, "tableColumns"))
    if area is None or columns is None:
        return None
    plain = root.get("tableType", "worksheet") == "worksheet" and root.get("connectionId") is None
    names = tuple(_from_attribute(column.get("name", "")) for column in columns)
    headers, totals = markup.number(root, "headerRowCount", 1), markup.number(root, "totalsRowCount")
    name = root.get("displayName", root.get("name", ""))
    return Table(part, name, area, headers, totals, plain and len(names) > 0, names)


def _in_attribute(heading: str) -> str:
    return heading.replace("\r\n", "\n").replace("\n", "_x000a_")


def _from_attribute(name: str) -> str:
    return name.replace("_x000a_", "\n").replace("_x000A_", "\n").replace("_x000d_", "")
