"""Ranges of the engine that stands in for Excel: what is typed, what is read back, how cells look."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from copy import copy
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from openpyxl.cell.cell import MergedCell
from openpyxl.comments import Comment
from openpyxl.styles import PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import from_excel, to_excel
from openpyxl.worksheet.hyperlink import Hyperlink
from xlwings import base_classes

ERRORS = {
    -2146826281: "#DIV/0!", -2146826246: "#N/A", -2146826259: "#NAME?", -2146826288: "#NULL!",
    -2146826252: "#NUM!", -2146826265: "#REF!", -2146826273: "#VALUE!",
}  # fmt: skip
CODES = {text: code for code, text in ERRORS.items()}
NO_DAY = datetime(1899, 12, 30)
USER = "The Racer"
_NUMBER = re.compile(r"[ ]*[-+]?[$(]?\d[\d,]*(?:\.\d*)?(?:[eE][-+]?\d+)?[)%]?[ ]*")
_DAY = re.compile(
    r"\d{1,2}[-/.]\d{1,2}(?:[-/.]\d{2,4})?|(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)\w* \d+", re.I
)
_LITERAL = re.compile(r'"((?:[^"]|"")*)"')
_LINK = re.compile(r'=HYPERLINK\("((?:[^"]|"")*)",(.*)\)', re.DOTALL)


def held(ws: Any) -> list[Any]:
    """The cells that a sheet holds, by rows; those that nobody asked for yet are not made."""
    return [ws._cells[place] for place in sorted(ws._cells)]


def as_com_time(value: Any) -> Any:
    if isinstance(value, date) and not isinstance(value, datetime):
        return datetime.combine(value, time())
    return value


def evaluated(formula: str, refuse: Callable[[str], Exception]) -> Any:
    """What a formula of a link shows; None for any other, which nothing here works out."""
    if any(len(text.replace('""', '"')) > 255 for text in _LITERAL.findall(formula)) or len(formula) > 8192:
        raise refuse("Text values in formulas are limited to 255 characters.")
    if not formula.startswith("=HYPERLINK"):
        return None
    found = _LINK.fullmatch(formula)
    if found is None:
        raise refuse("There's a problem with this formula.")
    said = found[2]
    if not said.startswith('"'):
        return float(said)
    if _LITERAL.sub("", said).strip("&"):
        raise refuse("There's a problem with this formula.")
    return "".join(text.replace('""', '"') for text in _LITERAL.findall(said))


class Range(base_classes.Range):
    options: Any = None

    def __init__(self, sheet: Any, top: int, left: int, bottom: int, right: int) -> None:
        self.sheet, self.ws, self.app = sheet, sheet.ws, sheet.book.app
        self.row, self.column, self.last = top, left, (bottom, right)

    row: Any = 0
    column: Any = 0
    shape = property(lambda self: (self.last[0] - self.row + 1, self.last[1] - self.column + 1))
    coords = property(lambda self: (self.sheet.name, self.row, self.column, *self.shape))
    max_cells_per_read = max_cells_per_write = None

    def __len__(self) -> int:
        return int(self.shape[0] * self.shape[1])

    def __call__(self, arg1: int, arg2: int | None = None) -> Range:
        row, column = divmod(arg1 - 1, self.shape[1]) if arg2 is None else (arg1 - 1, arg2 - 1)
        return Range(self.sheet, self.row + row, self.column + column, self.row + row, self.column + column)

    def get_address(self, row_absolute: bool, col_absolute: bool, external: bool) -> str:
        first, last = (f"${get_column_letter(c)}${r}" for r, c in ((self.row, self.column), self.last))
        return first if first == last else f"{first}:{last}"

    address = property(lambda self: self.get_address(True, True, False))

    @property
    def api(self) -> Any:
        self.app.answer()
        return Native(self)

    def _cells(self) -> Iterator[Any]:
        for row in range(self.row, self.last[0] + 1):
            for column in range(self.column, self.last[1] + 1):
                yield self.ws.cell(row, column)

    def _flat_as_excel_does(self, of: Callable[[Any], Any]) -> Any:
        self.app.answer()
        height, width = self.shape
        found = [of(cell) for cell in self._cells()]
        if height * width == 1:
            return found[0]
        rows = tuple(tuple(found[at * width : (at + 1) * width]) for at in range(height))
        return rows[0] if height == 1 else rows

    def _same(self, of: Callable[[Any], Any]) -> Any:
        """A property of a range: None where its cells differ."""
        self.app.answer()
        found = {of(cell) for cell in self._cells()}
        return found.pop() if len(found) == 1 else None

    def _set(self, into: Callable[[Any], None]) -> None:
        self.app.answer()
        if self.ws.protection.sheet:
            raise self.app.refuse("The cell or chart you're trying to change is on a protected sheet.")
        for cell in self._cells():
            into(cell)

    @property
    def raw_value(self) -> Any:
        return self._flat_as_excel_does(self._shown)

    @raw_value.setter
    def raw_value(self, data: Any) -> None:
        self._write(data)

    @property
    def formula(self) -> Any:
        return self._flat_as_excel_does(self._typed)

    @formula.setter
    def formula(self, data: Any) -> None:
        self._write(data)

    def _shown(self, cell: Any) -> Any:
        value = cell.value
        if cell.data_type == "f":
            late = self.app.works_out_late and self.app.calculation == "manual"
            value = 0.0 if late else evaluated(str(getattr(value, "text", value)), self.app.refuse)
        if cell.data_type == "e":
            return CODES[value]
        if isinstance(value, time):
            return datetime.combine(NO_DAY.date(), value)
        if isinstance(value, timedelta):
            return NO_DAY + value
        if isinstance(value, int) and not isinstance(value, bool):
            value = float(value)
        if (self.sheet.name, cell.row, cell.column) in self.sheet.book.currencies:
            return Decimal(str(value))
        return as_com_time(value)

    def _typed(self, cell: Any) -> str:
        value = getattr(cell.value, "text", cell.value)
        if value is None:
            return ""
        if isinstance(value, bool):
            return str(value).upper()
        if isinstance(value, (date, time, timedelta)):
            return repr(float(to_excel(value)))
        return repr(float(value)).removesuffix(".0") if isinstance(value, (int, float)) else str(value)

    def _write(self, data: Any) -> None:
        rows = data if isinstance(data, (list, tuple)) else [[data] * self.shape[1]] * self.shape[0]
        self.app.answer()
        if self.ws.protection.sheet:
            raise self.app.refuse("The cell or chart you're trying to change is on a protected sheet.")
        values = [value for row in rows for value in row]
        for cell, value in zip(self._cells(), values, strict=True):
            if isinstance(cell, MergedCell):
                raise self.app.refuse("We can't do that to a merged cell.")
            if (self.sheet.name, cell.row, cell.column) in self.sheet.book.arrays:
                raise self.app.refuse("You can't change part of an array.")
            passed_by = self.ws.auto_filter.ref and self.ws.row_dimensions[cell.row].hidden and len(values) > 1
            if not passed_by:
                self._type(cell, value)

    def _type(self, cell: Any, value: Any) -> None:
        cell.quotePrefix = False
        if not isinstance(value, str) or value == "":
            cell.value = (
                str(value)
                if cell.number_format == "@" and isinstance(value, float)
                else (value or None if value == "" else value)
            )
            return
        if value.startswith("'") or cell.number_format == "@":
            cell.value = value.removeprefix("'")
            cell.data_type, cell.quotePrefix = "s", value.startswith("'")
        elif value[0] in "=+-@" and not _NUMBER.fullmatch(value):
            evaluated(value, self.app.refuse)
            cell.value = value
            cell.data_type = "f"
        elif value in CODES:
            cell.value, cell.data_type = value, "e"
        elif value.upper() in ("TRUE", "FALSE"):
            cell.value = value.upper() == "TRUE"
        elif _NUMBER.fullmatch(value):
            number = float(re.sub(r"[ $,()%]", "", value))
            moment = re.search(r"[ymdhs]", re.sub(r'".*?"|\[[A-Za-z]+\]', "", cell.number_format or "").lower())
            is_day = moment is not None and cell.number_format != "General"
            cell.value = from_excel(number) if is_day else number
        elif _DAY.fullmatch(value):
            cell.value = datetime(2026, 1, 1)
        else:
            cell.value = value

    number_format = property(lambda self: self._same(lambda c: c.number_format),
                             lambda self, code: self._set(lambda c: setattr(c, "number_format", code)))  # fmt: skip
    wrap_text = property(lambda self: self._same(lambda c: bool(c.alignment.wrap_text)),
                         lambda self, value: self._align(wrap_text=value))  # fmt: skip
    horizontal_alignment = property(lambda self: self._same(lambda c: c.alignment.horizontal or "general"),
                                    lambda self, value: self._align(horizontal=value))  # fmt: skip
    vertical_alignment = property(lambda self: self._same(lambda c: c.alignment.vertical or "bottom"),
                                  lambda self, value: self._align(vertical=value))  # fmt: skip
    color = property(lambda self: self._same(lambda c: _rgb(c.fill.fgColor) if c.fill.fill_type else None),
                     lambda self, value: self._set(lambda c: setattr(c, "fill", _fill(value))))  # fmt: skip
    font = property(lambda self: Font(self))
    borders = property(lambda self: Borders(self))

    def _align(self, **values: Any) -> None:
        def into(cell: Any) -> None:
            made = copy(cell.alignment)
            for name, value in values.items():
                setattr(made, name, None if value == "general" else value)
            cell.alignment = made

        self._set(into)

    @property
    def note(self) -> Any:
        return Note(self) if self.ws.cell(self.row, self.column).comment else None

    def add_note(self, text: str) -> Any:
        self._set(lambda cell: setattr(cell, "comment", Comment(text, USER)))
        return Note(self)

    comment = None

    @property
    def merge_cells(self) -> Any:
        return self._same(lambda cell: any(cell.coordinate in area for area in self.ws.merged_cells.ranges))

    @property
    def merge_area(self) -> Range:
        for area in self.ws.merged_cells.ranges:
            if self.ws.cell(self.row, self.column).coordinate in area:
                return Range(self.sheet, area.min_row, area.min_col, area.max_row, area.max_col)
        return self

    @property
    def has_array(self) -> Any:
        return self._same(lambda cell: (self.sheet.name, cell.row, cell.column) in self.sheet.book.arrays)

    def find(self, text: str, whole: bool, direction: str, order: str, match_case: bool) -> Range | None:
        places = [(cell.row, cell.column) for cell in held(self.ws) if cell.value is not None]
        if not places:
            return None
        row, column = max(places, key=lambda place: place if order == "rows" else place[::-1])
        return Range(self.sheet, row, column, row, column)

    def select(self) -> None:
        self.sheet.activate()
        self.app.selected = self


class Native:
    """A range as COM shows it, for what xlwings has no word for."""

    HasSpill = False

    def __init__(self, cells: Range) -> None:
        object.__setattr__(self, "cells", cells)

    def __setattr__(self, name: str, value: Any) -> None:
        assert name == "Locked"

        def into(cell: Any) -> None:
            made = copy(cell.protection)
            made.locked = value
            cell.protection = made

        self.cells._set(into)

    Locked = property(lambda self: self.cells._same(lambda cell: cell.protection.locked))
    Font = property(lambda self: NativeFont(self.cells))

    def ClearHyperlinks(self) -> None:
        self.cells._set(lambda cell: setattr(cell, "hyperlink", None))


class NativeFont:
    def __init__(self, cells: Range) -> None:
        object.__setattr__(self, "cells", cells)

    @property
    def Underline(self) -> Any:
        return self.cells._same(lambda cell: 2 if cell.font.underline else -4142)

    @Underline.setter
    def Underline(self, value: int) -> None:
        Font(self.cells)._put(underline="single" if value == 2 else None)

    def __setattr__(self, name: str, value: Any) -> None:
        type(self).__dict__[name].fset(self, value)


class Font(base_classes.Font):
    def __init__(self, cells: Range) -> None:
        self.cells = cells

    def _put(self, **values: Any) -> None:
        def into(cell: Any) -> None:
            made = copy(cell.font)
            for name, value in values.items():
                setattr(made, name, value)
            cell.font = made

        self.cells._set(into)

    bold = property(lambda self: self.cells._same(lambda c: bool(c.font.bold)), lambda self, v: self._put(bold=v))
    italic = property(lambda self: self.cells._same(lambda c: bool(c.font.italic)), lambda self, v: self._put(italic=v))
    size = property(lambda self: self.cells._same(lambda c: c.font.size), lambda self, v: self._put(size=v))
    name = property(lambda self: self.cells._same(lambda c: c.font.name), lambda self, v: self._put(name=v))
    color = property(lambda self: self.cells._same(lambda c: _rgb(c.font.color) or (0, 0, 0)),
                     lambda self, v: self._put(color=None if v == (0, 0, 0) else _argb(v)))  # fmt: skip


class Borders(base_classes.Borders):
    def __init__(self, cells: Range) -> None:
        self.parent = cells

    def __getitem__(self, side: str) -> Any:
        line = getattr(next(self.parent._cells()).border, side.removeprefix("edge_"))
        styles = {None: ("none", None), "thin": ("continuous", "thin"), "medium": ("continuous", "medium")}
        style, weight = styles.get(line.style if line else None, ("continuous", "thick"))
        color = _rgb(line.color) if line else None
        return type("Border", (), {"impl": None, "line_style": style, "weight": weight, "color": color})()

    def set(self, sides: Any, *, line_style: Any = None, weight: Any = None, color: Any = None) -> None:
        line = Side(weight, color=_argb(color)) if line_style else Side()

        def into(cell: Any) -> None:
            made = copy(cell.border)
            for side in sides:
                setattr(made, side.removeprefix("edge_"), line)
            cell.border = made

        self.parent._set(into)


class Note(base_classes.Note):
    def __init__(self, at: Range) -> None:
        self.at, self.cell = at, at.ws.cell(at.row, at.column)

    text = property(lambda self: self.cell.comment.text)
    author = property(lambda self: self.cell.comment.author)

    def delete(self) -> None:
        self.cell.comment = None


def hyperlinks_of(sheet: Any) -> Any:
    """The links of a sheet as COM shows them."""
    cells = [cell for cell in held(sheet.ws) if cell.hyperlink is not None]

    class Links:
        Count = len(cells)

        @staticmethod
        def Item(at: int) -> Any:
            cell = cells[at - 1]
            place = type("Range", (), {"Row": cell.row, "Column": cell.column})
            return type("Hyperlink", (), {"Type": 0, "Range": place, "SubAddress": cell.hyperlink.location})

        @staticmethod
        def Add(Anchor: Native, Address: str, SubAddress: str) -> None:
            cell = sheet.ws.cell(Anchor.cells.row, Anchor.cells.column)
            cell.hyperlink = Hyperlink(ref=cell.coordinate, location=SubAddress)

    return Links()


def _rgb(color: Any) -> tuple[int, int, int] | None:
    code = getattr(color, "rgb", None)
    return None if not isinstance(code, str) else (int(code[-6:-4], 16), int(code[-4:-2], 16), int(code[-2:], 16))


def _fill(color: Any) -> PatternFill:
    return PatternFill() if color is None else PatternFill("solid", fgColor=_argb(color))


def _argb(color: Any) -> str:
    return "FF{:02X}{:02X}{:02X}".format(*color)
