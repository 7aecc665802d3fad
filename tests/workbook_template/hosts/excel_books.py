"""What is in a workbook that the engine for Excel holds, or that a file holds, in a shape to be compared."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from openpyxl.worksheet.worksheet import Worksheet

from engine_rules import advise
from tests.workbook_template.hosts.excel_engine import App
from tests.workbook_template.hosts.excel_engine_cells import held
from workbook_template.hosts.excel import reading
from workbook_template.log_file import fill_cars, open_log

_SNAPPED = tuple[Any, ...]


def file_filled(log: Path, out: Path) -> Any:
    """What the file host makes of it; the advice as data."""
    read = open_log(log, out)
    advised = [(book, [advise(book.logbook)]) for book in read.books]
    fill_cars(read, advised)
    data = [advices[0].as_json() for _, advices in advised]
    return data[0] if len(data) == 1 else {book.car: one for (book, _), one in zip(advised, data, strict=True)}


def snapshot(book: Any) -> dict[str, dict[str, _SNAPPED]]:
    """Sheet -> cell -> (value, link, note, look) of a workbook of openpyxl, in the order of its sheets."""
    return {ws.title: dict(_cells(ws)) for ws in book.worksheets}


def _cells(ws: Worksheet) -> Iterator[tuple[str, _SNAPPED]]:
    for cell in held(ws):
        value, link = _value_and_link(cell)
        note = cell.comment.text.removeprefix("strapline: ") if cell.comment else None
        look = _look(cell) if value is not None or note else None
        if value is not None or note or link:
            yield cell.coordinate, (value, link, note, look)


def _value_and_link(cell: Any) -> tuple[Any, str | None]:
    link = cell.hyperlink.location if cell.hyperlink is not None else None
    value = getattr(cell.value, "text", cell.value)
    if cell.data_type == "f" and str(value).startswith("=HYPERLINK"):
        link = reading.link_in(str(value))
        pieces = re.findall(r'"((?:[^"]|"")*)"', str(value).partition(",")[2])
        number = str(value).rpartition(",")[2].rstrip(")")
        value = "".join(pieces).replace('""', '"') if pieces else float(number)
    if isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    return value, link.replace("'", "") if link else None


def _look(cell: Any) -> _SNAPPED:
    font, fill, line = cell.font, cell.fill, cell.border
    color = font.color.rgb[-6:] if font.color is not None and isinstance(font.color.rgb, str) else "000000"
    return (
        cell.number_format, font.name, font.size, bool(font.bold), bool(font.italic), font.underline, color,
        fill.fgColor.rgb[-6:] if fill.fill_type else None, bool(cell.alignment.wrap_text),
        cell.alignment.horizontal or "general", cell.alignment.vertical or "bottom",
        tuple(one.style if one else None for one in (line.left, line.right, line.top, line.bottom)),
    )  # fmt: skip


def differences(one: dict[str, dict[str, _SNAPPED]], other: dict[str, dict[str, _SNAPPED]]) -> list[str]:
    if list(one) != list(other):
        return [f"{list(one)} against {list(other)}"]
    return [
        f"{sheet}!{ref}: {one[sheet].get(ref)} against {other[sheet].get(ref)}"
        for sheet in one
        for ref in sorted({*one[sheet], *other[sheet]})
        if one[sheet].get(ref) != other[sheet].get(ref)
    ]


def settings(app: App) -> _SNAPPED:
    return (app.screen_updating, app.enable_events, app.display_alerts, app.calculation, app.status_bar,
            app.api.AutoCorrect.AutoFillFormulasInLists)  # fmt: skip


def only_book(app: App) -> Any:
    return app.open[-1].wb


def marks_of(book: Any) -> dict[str, str]:
    """The names that mark what is ours, those that one sheet alone has among them."""
    names = [(name, one) for holder in (book, *book.worksheets) for name, one in holder.defined_names.items()]
    return {name: one.attr_text for name, one in names if name.startswith("_wt_")}


def build_of(ws: Worksheet) -> _SNAPPED:
    """What a sheet has beside its cells: merges, choices, tables, charts, widths, what is frozen and printed."""
    choices = sorted((str(one.sqref), one.formula1, one.showErrorMessage) for one in ws.data_validations.dataValidation)
    return (
        sorted(area.coord for area in ws.merged_cells.ranges), choices, sorted(ws.tables), len(ws._charts),
        {key: one.width for key, one in ws.column_dimensions.items()}, ws.freeze_panes, ws.print_area,
        ws.print_title_rows, ws.sheet_view.showGridLines, ws.page_setup.orientation, ws.page_setup.fitToWidth,
    )  # fmt: skip
