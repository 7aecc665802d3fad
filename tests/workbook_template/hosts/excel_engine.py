"""An engine for xlwings that needs no Excel: the real front end over a workbook in memory that behaves as Excel does.

It is strict where Excel is: a text that looks like a formula, a number or a day becomes one unless an apostrophe
stands before it, a range of one cell or row comes back flat, errors are numbers, and every call fails while a cell is
being edited.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import openpyxl
import xlwings
from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.worksheet import Worksheet
from xlwings import base_classes

from tests.workbook_template.hosts.excel_engine_cells import ERRORS, Range, as_com_time, held, hyperlinks_of
from tests.workbook_template.hosts.excel_engine_names import Names

IN_A_CELL = -2146777998
REFUSED = -2146827284


class ComError(Exception):
    """What a call to Excel raises on Windows."""

    def __init__(self, code: int, text: str) -> None:
        super().__init__(-2147352567, "Exception occurred.", (0, "Microsoft Excel", text, None, 0, code), None)
        self.hresult = -2147352567
        self.excepinfo = (0, "Microsoft Excel", text, None, 0, code)


class Engine:
    name, type = "excel", "desktop"

    def __init__(self, apps: Apps) -> None:
        self.apps = apps

    @staticmethod
    def prepare_xl_data_element(value: Any, options: Any) -> Any:
        return "" if value is None else as_com_time(value)

    @staticmethod
    def clean_value_data(data: Any, dates: Any, empty: Any, numbers: Any, err_to_str: bool) -> Any:
        rows = data if isinstance(data, (list, tuple)) else [[data]]
        rows = rows if isinstance(rows[0], (list, tuple)) else [rows]
        return [[_cleaned(value, empty, err_to_str) for value in row] for row in rows]


def _cleaned(value: Any, empty: Any, err_to_str: bool) -> Any:
    if value in ("", None):
        return empty
    if type(value) is int and value in ERRORS:
        return ERRORS[value] if err_to_str else None
    return value


class Apps(base_classes.Apps):
    def __init__(self) -> None:
        self.running: list[App] = []

    def keys(self) -> list[int]:
        return [app.pid for app in self.running]

    def __iter__(self) -> Iterator[App]:
        return iter(self.running)

    def __len__(self) -> int:
        return len(self.running)


class App(base_classes.App):
    pid, version, visible = 4711, "16.0", True
    screen_updating: Any = True
    enable_events: Any = True
    display_alerts: Any = True
    calculation: Any = "automatic"
    status_bar: Any = False
    calls = 0
    works_out_late = False  # what a formula shows comes once the workbook is calculated again
    calls_until_busy: int | None = None
    refused_call: int | None = None
    selected: Any = None
    api: Any = None

    def __init__(self, engine: Engine | None = None) -> None:
        self.engine = engine
        self.open: list[Book] = []
        self.said: list[str] = []
        self.api = type("Application", (), {})()
        self.api.AutoCorrect = type("AutoCorrect", (), {"AutoFillFormulasInLists": True, "AutoExpandListRange": True})()

    def __setattr__(self, name: str, value: Any) -> None:
        if name in ("screen_updating", "enable_events", "display_alerts", "calculation"):
            self.answer()
        super().__setattr__(name, value)

    def answer(self) -> None:
        """Every call comes by here; in the middle of editing a cell none is answered."""
        self.calls += 1
        if self.calls_until_busy is not None and self.calls > self.calls_until_busy:
            raise ComError(IN_A_CELL, "")
        if self.calls == self.refused_call:
            raise self.refuse("Application-defined or object-defined error")

    def refuse(self, text: str) -> ComError:
        return ComError(REFUSED, text)

    @property
    def books(self) -> Books:
        return Books(self)

    @property
    def selection(self) -> Any:
        return self.selected

    def activate(self, steal_focus: bool = False) -> None:
        pass

    def alert(self, prompt: str, title: str, buttons: str, mode: str, callback: Any) -> str:
        self.said.append(prompt)
        return "ok"


class Books(base_classes.Books):
    def __init__(self, app: App) -> None:
        self.app = app

    @property
    def active(self) -> Book:
        return self.app.open[-1]

    def __call__(self, key: int | str) -> Book:
        for at, book in enumerate(self.app.open, 1):
            if key in (at, book.name):
                return book
        raise KeyError(key)

    def __len__(self) -> int:
        self.app.answer()
        return len(self.app.open)

    def __iter__(self) -> Iterator[Book]:
        return iter(self.app.open)

    def add(self) -> Book:
        return self._shown(Book(self.app, Workbook(), f"Book{len(self.app.open) + 1}"))

    def open(self, fullname: str, *options: Any) -> Book:
        self.app.answer()
        return self._shown(Book(self.app, openpyxl.load_workbook(fullname), fullname))

    def _shown(self, book: Book) -> Book:
        self.app.open.append(book)
        return book


class Book(base_classes.Book):
    def __init__(self, app: App, wb: Workbook, fullname: str) -> None:
        self._app, self.wb, self._fullname = app, wb, fullname
        self.arrays: set[tuple[str, int, int]] = set()
        self.currencies: set[tuple[str, int, int]] = set()
        self.native = type("Workbook", (), {"ProtectStructure": False})()

    api = property(lambda self: self.native)
    app = property(lambda self: self._app)
    fullname = property(lambda self: self._fullname)
    name = property(lambda self: Path(self._fullname).name)
    names = property(lambda self: Names(self))
    sheets = property(lambda self: Sheets(self))

    def activate(self) -> None:
        self._app.open.remove(self)
        self._app.open.append(self)

    def close(self) -> None:
        self._app.open.remove(self)

    def save(self, path: str | None = None, password: str | None = None) -> None:
        self._fullname = path or self._fullname
        self.wb.save(self._fullname)


class Sheets(base_classes.Sheets):
    def __init__(self, book: Book) -> None:
        self.book = book

    @property
    def active(self) -> Sheet:
        return Sheet(self.book, self.book.wb.active)

    def __call__(self, key: int | str) -> Sheet:
        self.book.app.answer()
        for at, ws in enumerate(self.book.wb.worksheets, 1):
            if key == at or (isinstance(key, str) and key.lower() == ws.title.lower()):
                return Sheet(self.book, ws)
        raise KeyError(key)

    def __len__(self) -> int:
        return len(self.book.wb.worksheets)

    def __iter__(self) -> Iterator[Sheet]:
        self.book.app.answer()
        return iter([Sheet(self.book, ws) for ws in self.book.wb.worksheets])


class Sheet(base_classes.Sheet):
    def __init__(self, book: Book, ws: Worksheet) -> None:
        self._book, self.ws = book, ws

    book = property(lambda self: self._book)
    index = property(lambda self: self._book.wb.worksheets.index(self.ws) + 1)
    cells = property(lambda self: Range(self, 1, 1, 1_048_576, 16_384))

    @property
    def name(self) -> str:
        return str(self.ws.title)

    @name.setter
    def name(self, value: str) -> None:
        if value.lower() in (ws.title.lower() for ws in self._book.wb.worksheets if ws is not self.ws):
            raise self._book.app.refuse("That name is already taken. Try a different one.")
        self.ws.title = value

    @property
    def api(self) -> Any:
        self._book.app.answer()
        native = type("Worksheet", (), {})()
        native.ProtectContents = self.ws.protection.sheet
        native.Hyperlinks = hyperlinks_of(self)
        return native

    def range(self, arg1: Any, arg2: Any = None) -> Range:
        self._book.app.answer()
        if isinstance(arg1, str):
            left, top, right, bottom = openpyxl.utils.range_boundaries(arg1)
            return Range(self, top, left, bottom, right)
        if isinstance(arg1, tuple) and len(arg1) == 4:
            return Range(self, arg1[0], arg1[1], arg1[0] + arg1[2] - 1, arg1[1] + arg1[3] - 1)
        first = (arg1.row, arg1.column) if isinstance(arg1, Range) else arg1
        last = first if arg2 is None else (arg2.last if isinstance(arg2, Range) else arg2)
        if min(*first, *last) < 1:
            raise self._book.app.refuse("Ranges begin at row 1 and column 1.")
        return Range(self, *first, *last)

    @property
    def used_range(self) -> Range:
        places = [
            (cell.row, cell.column)
            for cell in held(self.ws)
            if cell.value is not None or cell.has_style or cell.comment
        ] or [(1, 1)]
        rows, columns = [row for row, _ in places], [column for _, column in places]
        return Range(self, min(rows), min(columns), max(rows), max(columns))

    def activate(self) -> None:
        self._book.wb.active = self.ws
        self._book.app.selected = Range(self, 1, 1, 1, 1)

    def delete(self) -> None:
        app, wb = self._book.app, self._book.wb
        app.answer()
        if self._book.api.ProtectStructure or len(wb.worksheets) == 1:
            raise app.refuse("Delete method of Worksheet class failed")
        if app.display_alerts:
            raise AssertionError("Excel would ask whether to delete the sheet")
        spoken = re.compile(rf"(?:'{re.escape(self.name.replace(chr(39), chr(39) * 2))}'|\b{re.escape(self.name)})!")
        at = wb.worksheets.index(self.ws)
        was_active = wb.active is self.ws
        front = None if was_active else wb.active
        wb.remove(self.ws)
        wb.active = front or wb.worksheets[min(at, len(wb.worksheets) - 1)]
        for defined in wb.defined_names.values():
            defined.attr_text = spoken.sub("#REF!", defined.attr_text)
        for ws in wb.worksheets:
            for cell in held(ws):
                if cell.data_type == "f" and "HYPERLINK" not in str(cell.value):
                    cell.value = spoken.sub("#REF!", str(cell.value))

    def copy(self, before: Sheet | None, after: Sheet | None) -> None:
        target = before or after
        assert target is not None
        book = target.book
        book.app.answer()
        if book.api.ProtectStructure:
            raise book.app.refuse("Copy method of Worksheet class failed")
        at = book.wb.worksheets.index(target.ws) + (before is None)
        made = book.wb.create_sheet(self.name, at)
        copied(self.ws, made)
        for name, defined in self._book.wb.defined_names.items():  # what stands for its cells comes along
            if defined.attr_text.startswith((f"{self.name}!", f"'{self.name}'!")):
                made.defined_names[name] = DefinedName(name, attr_text=defined.attr_text)
        book.wb.active = at
        book.activate()


def copied(source: Worksheet, made: Worksheet) -> None:
    """The sheet with all that this program puts into one."""
    looks: dict[Any, Any] = {}
    for cell in held(source):
        if not hasattr(cell, "data_type") or (cell.value is None and not cell.has_style and not cell.comment):
            continue
        twin = made.cell(cell.row, cell.column)
        twin.value, twin.data_type = cell.value, cell.data_type
        # One of the normal style takes that of the book it comes into.
        parts = ("font", "fill", "border", "alignment", "protection", "number_format")
        look = tuple(cell._style or ())
        if cell.has_style and look not in looks:
            for part in parts:
                setattr(twin, part, copy.copy(getattr(cell, part)))
            looks[look] = twin._style
        elif cell.has_style:
            twin._style = copy.copy(looks[look])
        twin.quotePrefix = cell.quotePrefix
        twin.hyperlink, twin.comment = copy.copy(cell.hyperlink), copy.copy(cell.comment)
    for area in source.merged_cells.ranges:
        made.merged_cells.add(area.coord)
    for name in ("freeze_panes", "print_area", "print_title_rows"):
        setattr(made, name, getattr(source, name))
    for name in ("column_dimensions", "row_dimensions"):
        for key, one in getattr(source, name).items():
            setattr(getattr(made, name)[key], *(("width", one.width) if name[0] == "c" else ("height", one.height)))
    made.sheet_view.showGridLines = source.sheet_view.showGridLines
    made.page_setup = copy.copy(source.page_setup)
    made.data_validations = copy.deepcopy(source.data_validations)
    made._charts = copy.deepcopy(source._charts)  # type: ignore[attr-defined]
    for table in source.tables.values():
        made.add_table(copy.deepcopy(table))


@contextmanager
def excel_with(*paths: Path) -> Iterator[App]:
    """The engine, registered with xlwings and active, with these workbooks open; the last is in front."""
    before = list(xlwings.engines.engines), dict(xlwings.engines.engines_by_name), xlwings.engines.active
    engine = Engine(Apps())
    app = App(engine)
    engine.apps.running.append(app)
    for path in paths:
        app.books.open(str(path))
    made = xlwings.Engine(impl=engine)
    xlwings.engines.add(made)
    made.activate()
    try:
        yield app
    finally:
        xlwings.engines.engines, xlwings.engines.engines_by_name, xlwings.engines.active = before
