"""Sheets of ours: brought over whole from the workbook that came with the answer, and taken out again."""

from __future__ import annotations

import base64
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import uno

from . import reading

STYLE_PREFIX = "strapline "
READONLY = 16  # com.sun.star.beans.PropertyAttribute


Step = Callable[[], None]


def with_workbook(desktop: Any, packed: str, ending: str, work: Callable[[Any], None]) -> None:
    """Do something with a workbook in base64, opened where nobody sees it."""
    folder = tempfile.mkdtemp(prefix="strapline")
    try:
        path = os.path.join(folder, f"sheets.{ending}")
        with open(path, "wb") as file:
            file.write(base64.b64decode(packed))
        source = desktop.loadComponentFromURL(uno.systemPathToFileUrl(path), "_blank", 0, (_value("Hidden", True),))
        try:
            work(source)
        finally:
            source.close(True)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def kept(desktop: Any, doc: Any, names: Sequence[str]) -> str:
    """Sheets of the document as they stand, as a workbook (.ods) in base64."""
    folder = tempfile.mkdtemp(prefix="strapline")
    try:
        copy = desktop.loadComponentFromURL("private:factory/scalc", "_blank", 0, (_value("Hidden", True),))
        try:
            blank = copy.Sheets.ElementNames
            for name in names:
                for step in bringing(copy, doc, name, copy.Sheets.Count):
                    step()
            for name in set(blank) - set(names):
                copy.Sheets.removeByName(name)
            path = os.path.join(folder, "sheets.ods")
            copy.storeToURL(uno.systemPathToFileUrl(path), (_value("FilterName", "calc8"),))
        finally:
            copy.close(True)
        with open(path, "rb") as file:
            return base64.b64encode(file.read()).decode()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def bringing(doc: Any, source: Any, name: str, at: int) -> Iterator[Step]:
    """What brings a sheet of the source to that place in the document, one thing at a time."""
    model = source.Sheets.getByName(name)
    yield lambda: _import(doc, source, name, at)
    made = doc.Sheets.getByName(name)
    yield lambda: _give_page_style(doc, source, model, made)
    yield lambda: made.setPrintAreas(tuple(_moved(area, at) for area in model.getPrintAreas()))
    yield lambda: made.setPrintTitleRows(model.getPrintTitleRows())
    if model.getPrintTitleRows():
        yield lambda: made.setTitleRows(_moved(model.getTitleRows(), at))
    for field in _fields(made):
        if "!" in field.URL:  # left so where a cell such as R10 might also be a row in the other notation
            yield lambda: setattr(field, "URL", field.URL.replace("!", "."))  # noqa: B023  # done at once


def _import(doc: Any, source: Any, name: str, at: int) -> None:
    doc.Sheets.importSheet(source, name, at)


def formulas_that_read(doc: Any, names: Sequence[str]) -> list[tuple[str, int, int, str]]:
    """Every formula outside these sheets that speaks of one of them: (sheet, row, column, formula)."""
    found = []
    for sheet in reading.sheets_of(doc):
        used = None if sheet.Name in names else reading.used_range(sheet)
        for area in () if used is None else used.queryContentCells(reading.FORMULA).RangeAddresses:
            cells = sheet.getCellRangeByPosition(area.StartColumn, area.StartRow, area.EndColumn, area.EndRow)
            for row, formulas in enumerate(cells.getFormulaArray(), area.StartRow):
                for column, formula in enumerate(formulas, area.StartColumn):
                    if any(name in formula for name in names) and not formula.startswith("{"):
                        found.append((sheet.Name, row, column, formula))
    return found


def look_away(doc: Any, names: Sequence[str]) -> None:
    """Show another sheet than these, which are about to go: a view whose sheet is gone would make a new one."""
    controller = doc.CurrentController
    if controller is not None and controller.ActiveSheet.Name in names:
        stays = [name for name in doc.Sheets.ElementNames if name not in names]
        controller.setActiveSheet(doc.Sheets.getByName(stays[-1]))


def show(controller: Any, views: Sequence[Mapping[str, Any]]) -> None:
    """Freeze and show grid lines as the sheets say, and look again at what was looked at before."""
    active = controller.ActiveSheet
    for view in views:
        controller.setActiveSheet(controller.Model.Sheets.getByName(view["name"]))
        controller.ShowGrid = view["gridlines"]
        if view["freeze"]:
            row, column = view["freeze"]
            controller.freezeAtPosition(column - 1, row - 1)
    controller.setActiveSheet(active)


def _give_page_style(doc: Any, source: Any, model: Any, made: Any) -> None:
    """A page style like the model's. It stays when all is undone: nobody sees it, and the next fill uses it again."""
    styles, name = doc.StyleFamilies.getByName("PageStyles"), STYLE_PREFIX + made.Name
    if not styles.hasByName(name):
        styles.insertByName(name, doc.createInstance("com.sun.star.style.PageStyle"))
    style = styles.getByName(name)
    given = source.StyleFamilies.getByName("PageStyles").getByName(model.PageStyle)
    settable = {one.Name for one in style.PropertySetInfo.Properties if not one.Attributes & READONLY}
    for one in given.PropertySetInfo.Properties:
        if one.Name in settable:
            _copy(given, style, one.Name)
    made.PageStyle = name


def _copy(given: Any, made: Any, name: str) -> None:
    try:
        value = given.getPropertyValue(name)
        if made.getPropertyValue(name) != value:
            made.setPropertyValue(name, value)
    except Exception:  # a property that this version lists and does not take: the page is as good without it
        return


def _value(name: str, value: Any) -> Any:
    made = uno.createUnoStruct("com.sun.star.beans.PropertyValue")
    made.Name, made.Value = name, value
    return made


def _moved(area: Any, sheet: int) -> Any:
    area.Sheet = sheet
    return area


def _fields(sheet: Any) -> Iterator[Any]:
    used = reading.used_range(sheet)
    areas = () if used is None else used.queryContentCells(reading.WITH_FIELDS).RangeAddresses
    for area in areas:
        for row in range(area.StartRow, area.EndRow + 1):
            for column in range(area.StartColumn, area.EndColumn + 1):
                fields = sheet.getCellByPosition(column, row).getTextFields()
                for at in range(fields.Count):
                    if hasattr(fields.getByIndex(at), "URL"):
                        yield fields.getByIndex(at)
