"""One cell's content: numbers, dates, truth values, formulas, and text as an inline string."""

from __future__ import annotations

import datetime
import math
import re

from lxml import etree
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, to_excel

from workbook_template.package import markup
from workbook_template.package.edits import Formula, Value

MAX_TEXT = 32_767
MAX_FORMULA = 8_192
_PRESERVE = "{http://www.w3.org/XML/1998/namespace}space"
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0d\x0e-\x1f\ufffe\uffff\ud800-\udfff]")
_LOOKS_ESCAPED = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
_CONTENT = ("f", "v", "is")


def refusal(value: Value) -> str | None:
    """Why this value cannot stand in a cell, or None."""
    if isinstance(value, float) and not math.isfinite(value):
        return "the number is not finite"
    if isinstance(value, str) and len(value) > MAX_TEXT:
        return f"the text is longer than the {MAX_TEXT} characters that a cell can hold"
    if isinstance(value, Formula) and len(value.text) > MAX_FORMULA:
        return f"the formula is longer than the {MAX_FORMULA} characters that a cell can hold"
    return None


def default_format(value: Value) -> str | None:
    """The number format without which this value would not read as what it is."""
    if isinstance(value, datetime.datetime):
        return "yyyy-mm-dd hh:mm"
    if isinstance(value, datetime.date):
        return "yyyy-mm-dd"
    return "hh:mm" if isinstance(value, datetime.time) else None


def write(cell: etree._Element, value: Value, *, from_1904: bool) -> None:
    """Replace the cell's content; its style and extensions stay."""
    empty(cell)
    if value is None:
        return
    if isinstance(value, Formula):
        _put(cell, "f", escaped(value.text.removeprefix("=")))
    elif isinstance(value, bool):
        cell.set("t", "b")
        _put(cell, "v", "1" if value else "0")
    elif isinstance(value, str):
        cell.set("t", "inlineStr")
        holder = markup.made(cell, "is")
        cell.insert(0, holder)
        put_text(holder, value)
    elif isinstance(value, int | float):
        _put(cell, "v", repr(value))
    else:
        _put(cell, "v", repr(_serial(value, from_1904)))


def empty(cell: etree._Element) -> None:
    """Take the content out of a cell; its style and extensions stay."""
    markup.drop_attributes(cell, "t", "cm", "vm", "ph")
    for child in list(cell):
        if markup.local(child) in _CONTENT:
            cell.remove(child)


def put_text(holder: etree._Element, text: str) -> None:
    """Add <t> with the text to an <is> or <text> element."""
    child = etree.SubElement(holder, markup.own(holder, "t"))
    child.text = escaped(text)
    if text != text.strip() or "\n" in text or "\t" in text or "  " in text:
        child.set(_PRESERVE, "preserve")


def escaped(text: str) -> str:
    """Text as the format wants it: what XML cannot hold becomes _xHHHH_."""
    guarded = _LOOKS_ESCAPED.sub("_x005F_", text)
    return _UNWRITABLE.sub(lambda found: f"_x{ord(found.group()):04X}_", guarded)


def _put(cell: etree._Element, name: str, text: str) -> None:
    child = markup.made(cell, name)
    child.text = text
    cell.insert(0, child)


def _serial(value: datetime.datetime | datetime.date | datetime.time, from_1904: bool) -> float:
    if isinstance(value, datetime.datetime):
        value = value.replace(tzinfo=None)
    number = to_excel(value, CALENDAR_MAC_1904 if from_1904 else CALENDAR_WINDOWS_1900)  # type: ignore[no-untyped-call]
    return round(float(number), 10)
