"""Formulas of a sheet: shared ones kept whole when one is overwritten, and who reads a written cell."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from lxml import etree
from openpyxl.formula.translate import Translator

from workbook_template.package import markup
from workbook_template.package.errors import EditRefused
from workbook_template.package.grid import Area, cell_name, parse_area
from workbook_template.package.sheet_part import SheetPart

_SHEET = r"(?<![\]\w.])(?:'((?:[^']|'')+)'|([^\W\d][\w.]*))!"
_REFERENCE = re.compile(
    rf"(?:{_SHEET})?(\$?[A-Za-z]{{1,3}}\$?\d+(?::\$?[A-Za-z]{{1,3}}\$?\d+)?"
    r"|\$?[A-Za-z]{1,3}:\$?[A-Za-z]{1,3}|\$?\d+:\$?\d+)(?![\w(!.])"
)
_TEXT = re.compile(r'"(?:[^"]|"")*"')
_TEXT_OR_SHEET = re.compile(rf"{_SHEET}|{_TEXT.pattern}")
_ANYWHERE = re.compile(r"\b(INDIRECT|OFFSET)\s*\(", re.IGNORECASE)
_TABLE_COLUMN = re.compile(r"([^\W\d][\w.]*)?\[")


def formula(cell: etree._Element | None) -> etree._Element | None:
    return None if cell is None else cell.find(markup.own(cell, "f"))


def areas_of_kind(sheet: SheetPart, kind: str) -> list[Area]:
    """The ranges filled by one formula each: kind "array" or "dataTable"."""
    found = sheet.root.iter(markup.own(sheet.root, "f"))
    areas = (parse_area(element.get("ref", "")) for element in found if element.get("t") == kind)
    return [area for area in areas if area is not None]


def release_shared(
    sheet: SheetPart, row: int, column: int, doomed: frozenset[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Before the master of a shared formula goes, let a follower lead, or write each one out.

    `doomed` are all cells about to be overwritten; returns the followers that were changed.
    """
    master = formula(sheet.cell(row, column))
    if master is None or master.get("t") != "shared" or not master.text:
        return []
    followers = _followers(sheet, master.get("si"), (row, column), doomed)
    if not followers:
        return []
    places = sorted(followers)
    covered = Area(*places[0], *places[0])
    for place in places:
        covered = covered.joined(Area(*place, *place))
    leads = (covered.first_row, covered.first_column) == places[0]
    for place in places[:1] if leads else places:
        element = followers[place]
        element.text = _moved(sheet, master.text, (row, column), place)
        if leads:
            element.set("ref", str(covered))
        else:
            markup.drop_attributes(element, "t", "si", "ref")
    return places[:1] if leads else places


def reads(text: str, home: str, written: Mapping[str, Iterable[Area]], reach: tuple[int, int] = (0, 0)) -> bool:
    """Whether a formula on sheet `home` may read one of the areas written (by lower-case sheet name).

    `reach` is how many rows and columns a shared formula extends beyond its master.
    """
    if _ANYWHERE.search(text):
        return True
    bare = _TEXT.sub('""', text)
    for found in _REFERENCE.finditer(bare):
        sheet = (found[1] or found[2] or home).replace("''", "'").lower()
        area = parse_area(found[3])
        if area is None or sheet not in written:
            continue
        wide = Area(area.first_row, area.first_column, area.last_row + reach[0], area.last_column + reach[1])
        if any(wide.meets(target) for target in written[sheet]):
            return True
    return False


def table_names(text: str) -> set[str]:
    """The names of tables whose columns a formula reads, lower case; "" for the table it stands in."""
    return {(found[1] or "").lower() for found in _TABLE_COLUMN.finditer(_TEXT.sub('""', text))}


def rename_sheets(text: str, renamed: Mapping[str, str]) -> str:
    """The formula with the sheets that it names (keys lower case) called by their new names."""

    def exchange(found: re.Match[str]) -> str:
        name = (found[1] or found[2] or "").replace("''", "'")
        new = renamed.get(name.lower())
        return found.group() if new is None else f"{quoted(new)}!"

    return _TEXT_OR_SHEET.sub(exchange, text)


def quoted(sheet: str) -> str:
    """A sheet's name as formulas write it, always in quotes."""
    return "'" + sheet.replace("'", "''") + "'"


def _followers(
    sheet: SheetPart, group: str | None, master: tuple[int, int], doomed: frozenset[tuple[int, int]]
) -> dict[tuple[int, int], etree._Element]:
    followers = {}
    for row, column, cell in sheet.cells():
        element = formula(cell)
        if element is None or element.get("t") != "shared" or element.get("si") != group:
            continue
        if (row, column) != master and (row, column) not in doomed:
            followers[(row, column)] = element
    return followers


def _moved(sheet: SheetPart, text: str, origin: tuple[int, int], place: tuple[int, int]) -> str:
    try:
        moved = Translator(f"={text}", origin=cell_name(*origin)).translate_formula(cell_name(*place))
    except (ValueError, IndexError, KeyError) as error:
        raise EditRefused(sheet.name, cell_name(*origin), "it leads a shared formula that cannot be moved; "
                          "choose another cell") from error  # fmt: skip
    return str(moved).removeprefix("=")
