"""The open workbook in Excel, through the engine that stands in for it: filled as a file is, undone, and refused."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from engine_rules import advise
from strapline_demo.season import build_season
from tests.logs_on_disk import write_log
from tests.workbook_template.hosts.excel_engine import App, excel_with
from tests.workbook_template.racers_books import LAYOUTS
from workbook_template.hosts.excel import reading
from workbook_template.hosts.excel.press import press, workbook_in_front
from workbook_template.log_file import fill_cars, open_log

_SNAPPED = tuple[Any, ...]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("season") / "season.xlsx"
    build_season(path)
    return path


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return write_log(tmp_path / "LOG.xlsx")


@pytest.fixture
def excel(log: Path) -> Iterator[App]:
    with excel_with(log) as app:
        yield app


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
    for row in ws.iter_rows():
        for cell in row:
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
    color = font.color.rgb if font.color is not None and isinstance(font.color.rgb, str) else "FF000000"
    return (
        cell.number_format, font.name, font.size, bool(font.bold), bool(font.italic), font.underline, color,
        fill.fgColor.rgb if fill.fill_type else None, bool(cell.alignment.wrap_text),
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


@pytest.mark.parametrize("layout", ["the ordinary one", *LAYOUTS])
def test_filled_as_a_file_is_filled_and_undone(tmp_path: Path, season: Path, layout: str) -> None:
    log, out = tmp_path / "log.xlsx", tmp_path / "out.xlsx"
    if layout in LAYOUTS:
        LAYOUTS[layout]().save(log)
    else:
        log.write_bytes(season.read_bytes())
    data = file_filled(log, out)
    by_file = openpyxl.load_workbook(out)
    with excel_with(log) as app:
        before, settings_before, book = snapshot(only_book(app)), settings(app), workbook_in_front()
        assert press(book, "fill").data == data
        filled = snapshot(only_book(app))
        assert differences(filled, snapshot(by_file)) == []
        assert marks_of(only_book(app)) == marks_of(by_file)
        assert settings(app) == settings_before and len(app.open) == 1
        press(book, "undo")
        assert differences(snapshot(only_book(app)), before) == [] and marks_of(only_book(app)) == {}


def marks_of(book: Any) -> dict[str, str]:
    return {name: one.attr_text for name, one in book.defined_names.items() if name.startswith("_wt_")}
