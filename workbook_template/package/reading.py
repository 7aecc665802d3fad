"""Reading cells as they stand in the file: sparse, so that no sheet's size can exhaust memory."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass

from lxml import etree
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, from_excel, from_ISO8601

from workbook_template.package import markup
from workbook_template.package.draft import Draft
from workbook_template.package.edit import Package
from workbook_template.package.errors import EditRefused
from workbook_template.package.grid import Area
from workbook_template.package.sheet_stream import SheetStream
from workbook_template.package.styles import Styles
from workbook_template.package.workbook_part import WorkbookPart

_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


@dataclass(frozen=True, slots=True)
class CellError:
    """An error value such as "#DIV/0!"."""

    code: str


Read = bool | int | float | str | datetime.datetime | datetime.date | datetime.time | datetime.timedelta | CellError


@dataclass(frozen=True, slots=True)
class Bounds:
    """What a sheet truly holds: the area of its filled cells (None if it is empty) and how many there are."""

    area: Area | None
    cells: int

    @property
    def dense_cells(self) -> int:
        """How many cells a reader that fills in the gaps from A1 on would have to hold."""
        return self.area.last_row * self.area.last_column if self.area else 0


def sheet_bounds(package: Package, sheet: str) -> Bounds:
    """The true bounds of a worksheet, whatever size it claims; reads it once without holding it."""
    draft, part = _sheet(package, sheet)
    rows: set[int] = set()
    columns: set[int] = set()
    count = 0
    for row, column, cell in SheetStream(draft.content(part), part).cells():
        if any(markup.local(child) in ("v", "f", "is") for child in cell):
            rows.add(row)
            columns.add(column)
            count += 1
    return Bounds(Area(min(rows), min(columns), max(rows), max(columns)) if count else None, count)


def read_cells(package: Package, sheet: str) -> Iterator[tuple[int, int, Read]]:
    """Row, column (1-based) and value of every filled cell, in the file's order.

    Numbers shown as dates become datetime, date or time (the book's own calendar); formulas give the value last
    calculated, and nothing where there is none.
    """
    draft, part = _sheet(package, sheet)
    book = WorkbookPart(draft)
    epoch = CALENDAR_MAC_1904 if book.dates_from_1904() else CALENDAR_WINDOWS_1900
    dates = Styles(book).date_looks()
    strings = _strings(book)
    for row, column, cell in SheetStream(draft.content(part), part).cells():
        value = _value(cell, strings, dates, epoch)
        if value is not None:
            yield row, column, value


def _sheet(package: Package, name: str) -> tuple[Draft, str]:
    draft = Draft(package.members)
    sheet = WorkbookPart(draft).sheet(name)
    if sheet is None or sheet.kind != "worksheet":
        raise EditRefused(name, "", "there is no such worksheet in the workbook; check its name")
    return draft, sheet.part


def _strings(book: WorkbookPart) -> list[str]:
    part = book.related_part("sharedStrings")
    return [_text(element) for element in book.draft.root(part)] if part else []


def _text(holder: etree._Element) -> str:
    """The text of a string item or inline string: its runs joined, without phonetic guides."""
    pieces = []
    for child in holder:
        if markup.local(child) == "t":
            pieces.append(child.text or "")
        elif markup.local(child) == "r":
            pieces.append("".join(t.text or "" for t in child if markup.local(t) == "t"))
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), "".join(pieces))


def _value(cell: etree._Element, strings: list[str], dates: frozenset[int], epoch: datetime.datetime) -> Read | None:
    kind = cell.get("t", "n")
    held = {markup.local(child): child for child in cell}
    if kind == "inlineStr":
        return _text(held["is"]) if "is" in held else None
    text = (held["v"].text or "") if "v" in held else ""
    if kind == "str":
        return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text) if "v" in held else None
    if not text:
        return None
    if kind == "s":
        return strings[int(text)] if text.isdecimal() and int(text) < len(strings) else None
    if kind == "b":
        return text.strip() in ("1", "true")
    if kind == "e":
        return CellError(text)
    if kind == "d":
        return _iso(text)
    return _number(text, markup.number(cell, "s") in dates, epoch)


def _iso(text: str) -> Read:
    try:
        moment: Read | None = from_ISO8601(text.rstrip("Z"))  # type: ignore[no-untyped-call]
    except ValueError:
        return text
    return moment if moment is not None else text


def _number(text: str, as_date: bool, epoch: datetime.datetime) -> Read | None:
    try:
        number = float(text)
    except ValueError:
        return text
    if as_date:
        try:
            moment: Read | None = from_excel(number, epoch)
        except (ValueError, OverflowError):
            return number
        if moment is not None:
            return moment
    return int(number) if number.is_integer() and "." not in text and "e" not in text.lower() else number
