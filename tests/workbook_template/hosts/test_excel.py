"""The open workbook in Excel, through the engine that stands in for it: filled as a file is, undone, cleared."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.workbook.defined_name import DefinedName

from strapline_demo.season import build_season
from tests.logs_on_disk import write_log
from tests.workbook_template.hosts.excel_books import (
    build_of,
    differences,
    file_filled,
    marks_of,
    only_book,
    settings,
    snapshot,
)
from tests.workbook_template.hosts.excel_engine import App, excel_with
from tests.workbook_template.racers_books import LAYOUTS
from tests.workbook_template.styled_books import styled
from workbook_template.build import BlankOptions
from workbook_template.hosts.blocks import blocks_from_file
from workbook_template.hosts.excel import reading, sheets, writing
from workbook_template.hosts.excel.press import press, workbook_in_front
from workbook_template.hosts.protocol import CellError, CellOut


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


BLANK = BlankOptions(timing_hardware="tabs")
STYLES = {"a row a run": "wide", "a page a run": "form"}


@pytest.mark.parametrize("layout", ["the ordinary one", *STYLES, *LAYOUTS])
def test_filled_as_a_file_is_filled_and_undone(tmp_path: Path, season: Path, layout: str) -> None:
    log, out = tmp_path / "log.xlsx", tmp_path / "out.xlsx"
    if layout in LAYOUTS:
        LAYOUTS[layout]().save(log)
    elif layout in STYLES:
        styled(BLANK, STYLES[layout]).save(log)
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
        for name in filled.keys() - before.keys():
            assert build_of(only_book(app)[name]) == build_of(by_file[name])
        assert settings(app) == settings_before and len(app.open) == 1
        press(book, "undo")
        assert differences(snapshot(only_book(app)), before) == [] and marks_of(only_book(app)) == {}


def test_read_as_a_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "odd.xlsx"
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Bob's 1/4 mile".replace("/", " ")
    held = [3, 3.5, True, "text", "=1+", datetime(2026, 3, 14, 18, 20), time(9, 30), "#DIV/0!", None, "3-4"]
    for at, value in enumerate(held):
        sheet.cell(4, 3 + at).value = value
    sheet.cell(4, 7).data_type = "s"
    sheet.auto_filter.ref = "C4:E9"
    sheet.row_dimensions[6].hidden = True
    sheet.cell(6, 3).value = 12.75
    sheet.cell(40, 30).number_format = "0.00"
    book.create_sheet("empty")
    book.create_sheet("one cell")["A1"] = 7
    book.create_sheet("one row").append([1, None, "a"])
    book.save(path)
    with excel_with(path) as app:
        app.open[-1].currencies.add((sheet.title, 6, 3))
        blocks = reading.blocks(workbook_in_front())
    assert blocks == blocks_from_file(path)
    assert blocks[0].at(4, 10) == CellError("#DIV/0!") and blocks[0].at(4, 9) == time(9, 30)
    assert blocks[0].at(4, 5) is True and type(blocks[0].at(6, 3)) is float


def test_an_error_without_a_name_is_no_number() -> None:
    assert reading._value(-2146826243) == CellError("#VALUE!") and reading._value(-5.0) == -5.0


def test_looks_that_reach_far_are_not_read(excel: App) -> None:
    only_book(excel)["Runs"]["XFD1048576"].number_format = "0.00"
    assert reading.blocks(workbook_in_front())[1].last_column < 100


TEXTS = [
    "=1+1",
    "+5",
    "-x",
    "@home",
    "'quoted",
    "3-4",
    "1/2",
    "74",
    "TRUE",
    "Mar 5",
    "1e5",
    "50%",
    "#N/A",
    "LF 74 to 76",
]


@pytest.mark.parametrize("text", [*TEXTS, "x" * 600, 'say "no"', "two\nlines"])
def test_a_text_stays_a_text(excel: App, text: str) -> None:
    cells = {(50, 2): CellOut(text), (50, 3): CellOut(text, link="Bob's log!A5"), (50, 4): CellOut(-2.4, link="Why!A9")}
    sheet = workbook_in_front().sheets["Runs"]
    writing.write(sheet, (50, 2, 50, 4), cells)
    assert reading.values(sheet.range("B50:D50")) == [[text, text, -2.4]]
    assert only_book(excel)["Runs"]["B50"].data_type == "s"
    assert [reading.link_of(sheet.range(ref)) for ref in ("B50", "C50", "D50")] == [None, "Bob's log!A5", "Why!A9"]
    # What is kept of it brings the same back.
    typed = writing.typed(sheet.range("B50:D50"))
    sheet.range("B50:D50").formula = [["", "", ""]]
    sheet.range("B50:D50").formula = typed
    assert reading.values(sheet.range("B50:D50")) == [[text, text, -2.4]]


def test_a_text_too_long_for_a_formula_is_written_without_its_link(excel: App) -> None:
    sheet = workbook_in_front().sheets["Runs"]
    writing.write(sheet, (50, 2, 50, 2), {(50, 2): CellOut("y" * 20_000, link="Why!A9")})
    assert reading.values(sheet.range("B50")) == [["y" * 20_000]] and reading.link_of(sheet.range("B50")) is None


def test_hidden_rows_of_a_filtered_list_are_written_too(tmp_path: Path, log: Path) -> None:
    with excel_with(log) as app:
        press(workbook_in_front(), "fill")
        plain = snapshot(only_book(app))
    with excel_with(log) as app:
        readings = only_book(app)["Readings"]
        readings.auto_filter.ref = "A3:Z40"
        for row in (13, 15, 16):
            readings.row_dimensions[row].hidden = True
        before = snapshot(only_book(app))
        press(workbook_in_front(), "fill")
        assert differences(snapshot(only_book(app)), plain) == []
        press(workbook_in_front(), "undo")
        assert differences(snapshot(only_book(app)), before) == []
        assert readings.row_dimensions[15].hidden and readings.auto_filter.ref == "A3:Z40"


def test_what_a_link_shows_may_come_late(excel: App) -> None:
    book, wb = workbook_in_front(), only_book(excel)
    before = snapshot(wb)
    press(book, "fill")
    filled = snapshot(wb)
    press(book, "undo")
    excel.works_out_late = True
    press(book, "fill")
    assert differences(snapshot(wb), filled) == []
    press(book, "undo")
    assert differences(snapshot(wb), before) == []


def test_filling_twice_is_filling_once_and_clear_takes_it_out(excel: App) -> None:
    book, wb = workbook_in_front(), only_book(excel)
    before = snapshot(wb)
    press(book, "fill")
    filled, marked = snapshot(wb), marks_of(wb)
    press(book, "fill")
    assert differences(snapshot(wb), filled) == [] and marks_of(wb) == marked
    press(book, "clear")
    assert {sheet: _values(cells) for sheet, cells in snapshot(wb).items()} == {
        sheet: _values(cells) for sheet, cells in before.items()
    }
    assert marks_of(wb) == {}
    press(book, "undo")
    assert differences(snapshot(wb), filled) == [] and marks_of(wb) == marked


def _values(cells: dict[str, tuple[Any, ...]]) -> dict[str, tuple[Any, ...]]:
    return {ref: held[:3] for ref, held in cells.items()}


def test_one_host_knows_what_the_other_wrote(tmp_path: Path, log: Path) -> None:
    filled, saved = tmp_path / "filled.xlsx", tmp_path / "saved.xlsx"
    file_filled(log, filled)
    by_file = openpyxl.load_workbook(filled)
    with excel_with(filled) as app:
        press(workbook_in_front(), "fill")
        assert differences(snapshot(only_book(app)), snapshot(by_file)) == []
        assert [cell.hyperlink for cell in only_book(app)["Readings"][14] if cell.hyperlink] == []
        press(workbook_in_front(), "undo")
        assert differences(snapshot(only_book(app)), snapshot(by_file)) == []
        press(workbook_in_front(), "fill")
        app.open[-1].save(str(saved))
    file_filled(saved, saved)
    again = openpyxl.load_workbook(saved)
    assert again.sheetnames == by_file.sheetnames
    assert {name: _values(cells) for name, cells in snapshot(again).items()} == {
        name: _values(cells) for name, cells in snapshot(by_file).items()
    }


def test_links_of_another_run_are_taken_off(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx", runs=1)
    with excel_with(log) as app:
        book, wb = workbook_in_front(), only_book(app)
        press(book, "fill")
        first = [cell.coordinate for row in wb["Readings"] for cell in row if "HYPERLINK" in str(cell.value)]
        longer = openpyxl.load_workbook(write_log(tmp_path / "TWO.xlsx", runs=2))
        for name in ("Runs", "Readings"):
            for row in longer[name].iter_rows():
                for cell in row:
                    if cell.value is not None and wb[name][cell.coordinate].value is None:
                        wb[name][cell.coordinate].value = cell.value
        press(book, "fill")
        second = {cell.coordinate for row in wb["Readings"] for cell in row if "HYPERLINK" in str(cell.value)}
        assert first and second and not second & set(first)


def test_formulas_and_names_that_speak_of_our_sheets_live_on(excel: App) -> None:
    book, wb = workbook_in_front(), only_book(excel)
    press(book, "fill")
    wb["Engine"]["Z1"] = "='Next run'!A1&\"!\""
    wb["Engine"]["Z2"] = "=COUNTA(Why!A:A)"
    wb.defined_names["mine"] = DefinedName("mine", attr_text="'Next run'!$A$1")
    for command in ("fill", "undo"):
        press(book, command)
        assert wb["Engine"]["Z1"].value == "='Next run'!A1&\"!\"" and wb["Engine"]["Z2"].value == "=COUNTA(Why!A:A)"
        assert wb.defined_names["mine"].attr_text == "'Next run'!$A$1"
    press(book, "clear")
    assert "#REF!" in wb["Engine"]["Z1"].value
    press(book, "undo")
    assert wb["Engine"]["Z1"].value == "='Next run'!A1&\"!\""


def test_sheets_keep_their_places_and_what_was_in_front(excel: App) -> None:
    book, wb = workbook_in_front(), only_book(excel)
    press(book, "fill")
    wb.move_sheet("Why", -(len(wb.sheetnames) - 2))
    order = list(wb.sheetnames)
    wb.active = wb["Engine"]
    with sheets.looked_at_again(book):
        press(book, "fill")
    assert wb.sheetnames == order and wb.active.title == "Engine"


def test_a_sheet_of_the_users_own_name_is_left_alone(excel: App) -> None:
    only_book(excel).create_sheet("why")["A1"] = "mine"
    press(workbook_in_front(), "fill")
    assert only_book(excel)["why"]["A1"].value == "mine" and "Why (2)" in only_book(excel).sheetnames


def test_why_goes_to_the_firing(excel: App) -> None:
    book, wb = workbook_in_front(), only_book(excel)
    press(book, "fill")
    filled = next(cell for row in wb["Readings"] for cell in row if "HYPERLINK" in str(cell.value))
    book.sheets["Readings"].range(filled.coordinate).select()
    leads_to = reading.link_of(book.sheets["Readings"].range(filled.coordinate))
    assert press(book, "why").go_to == leads_to
    assert excel.selected.sheet.name == "Why" and leads_to == f"Why!A{excel.selected.row}"
    seen = next(cell.hyperlink.location for row in wb["Why"] for cell in row if cell.hyperlink)
    sheet, ref = seen.replace("'", "").split("!")
    book.sheets[sheet].range(ref).select()
    assert str(press(book, "why").go_to).startswith("Why!A")
    book.sheets["Readings"].range("A1:B2").select()
    with pytest.raises(Exception, match="no single cell is selected"):
        press(book, "why")


def test_air_asks_and_draws_today(excel: App) -> None:
    book = workbook_in_front()
    assert [field.key for field in press(book, "air").form][:2] == ["--temp", "--pressure"]
    press(book, "air", {"--temp": "95", "--pressure": "29.3", "--humidity": "30"})
    assert only_book(excel).active.title == "Today" and only_book(excel).sheetnames[-1] == "Today"


def test_check_changes_nothing(excel: App) -> None:
    before, settled = snapshot(only_book(excel)), settings(excel)
    assert any("2 runs" in line for line in press(workbook_in_front(), "check").lines)
    assert snapshot(only_book(excel)) == before and settings(excel) == settled
