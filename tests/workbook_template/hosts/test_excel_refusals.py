"""What cannot be done in Excel is one sentence, and the workbook is as it was."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import xlwings
from openpyxl.comments import Comment
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.worksheet import Worksheet

import strapline_excel
from engine_rules.logbook import LogbookError
from tests.logs_on_disk import write_log
from tests.workbook_template.hosts.excel_books import differences, marks_of, only_book, settings, snapshot
from tests.workbook_template.hosts.excel_engine import App, excel_with
from tests.workbook_template.hosts.excel_engine_cells import USER
from workbook_template.command_line import run_command
from workbook_template.hosts.excel import obstacles, program
from workbook_template.hosts.excel.press import press, workbook_in_front

FILLED = (13, 17)  # of the sheet Readings: row and column of a cell that a fill writes


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.fixture
def excel(tmp_path: Path) -> Iterator[App]:
    with excel_with(write_log(tmp_path / "LOG.xlsx")) as app:
        yield app


def state(app: App) -> tuple[Any, ...]:
    return snapshot(only_book(app)), marks_of(only_book(app)), settings(app), len(app.open)


def _protect(app: App, sheet: Worksheet) -> None:
    sheet.protection.sheet = True


def _merge(app: App, sheet: Worksheet) -> None:
    row, column = FILLED
    sheet.merge_cells(start_row=row - 1, start_column=column, end_row=row, end_column=column)


def _array(app: App, sheet: Worksheet) -> None:
    app.open[-1].arrays.add((sheet.title, *FILLED))


def _structure(app: App, sheet: Worksheet) -> None:
    app.open[-1].native.ProtectStructure = True


IN_THE_WAY: dict[str, tuple[Callable[[App, Worksheet], None], str]] = {
    obstacles.PROTECTED: (_protect, "Readings!"),
    obstacles.MERGED: (_merge, "Readings!Q13: "),
    obstacles.IN_ARRAY: (_array, "Readings!Q13: "),
    obstacles.STRUCTURE: (_structure, "the workbook"),
}


@pytest.mark.parametrize("sentence", IN_THE_WAY)
def test_what_stands_in_the_way_is_named_before_anything_is_written(excel: App, sentence: str) -> None:
    put, begins = IN_THE_WAY[sentence]
    put(excel, only_book(excel)["Readings"])
    before = state(excel)
    with pytest.raises(LogbookError) as refused:
        press(workbook_in_front(), "fill")
    assert str(refused.value).startswith(begins) and str(refused.value).endswith(sentence)
    assert state(excel) == before


def test_a_note_of_the_users_stays(excel: App) -> None:
    book, sheet = workbook_in_front(), only_book(excel)["Readings"]
    press(book, "fill")
    press(book, "undo")
    sheet.cell(*FILLED).comment = Comment("mine", USER)
    press(book, "fill")
    assert sheet.cell(*FILLED).comment.text == "mine"
    press(book, "undo")
    assert sheet.cell(*FILLED).comment.text == "mine"


def test_an_array_formula_that_speaks_of_our_sheet_is_not_lost(excel: App) -> None:
    book, sheet = workbook_in_front(), only_book(excel)["Engine"]
    press(book, "fill")
    sheet["Z1"] = ArrayFormula("Z1", "='Next run'!A1:A2")
    excel.open[-1].arrays.add(("Engine", 1, 26))
    with pytest.raises(LogbookError, match="Engine!Z1: this array formula speaks of a sheet of strapline's"):
        press(book, "fill")


def test_all_or_nothing_wherever_excel_refuses(excel: App) -> None:
    book = workbook_in_front()
    press(book, "fill")
    only_book(excel)["Readings"].cell(*FILLED).value = 99.0  # so that a second fill has something to write
    before, calls = state(excel), excel.calls
    press(book, "fill")
    needed, after = excel.calls - calls, state(excel)
    press(book, "undo")
    assert state(excel) == before
    refused_at = set()
    for at in range(1, needed + 1, max(needed // 16, 1)):
        excel.refused_call = excel.calls + at
        try:
            press(book, "fill")
        except Exception as error:
            assert isinstance(error, LogbookError) and "\n" not in str(error), error
            refused_at.add(at)
            assert differences(snapshot(only_book(excel)), before[0]) == [], at
            assert state(excel) == before, at
        else:  # what Excel refused could be done without
            assert state(excel)[2:] == before[2:], at
            press(book, "undo")
            assert state(excel) == before, at
    assert len(refused_at) > 10 and after != before


@pytest.mark.parametrize("part", [0.5, 0.8, 0.95])
def test_a_fill_that_failed_leaves_the_way_back_of_the_one_before(excel: App, part: float) -> None:
    book, calls = workbook_in_front(), excel.calls
    press(book, "fill")
    needed, first = excel.calls - calls, state(excel)
    press(book, "clear")
    cleared = state(excel)
    excel.refused_call = excel.calls + int(needed * part)
    with pytest.raises(LogbookError, match="nothing was changed"):
        press(book, "fill")
    assert state(excel) == cleared
    press(book, "undo")
    assert state(excel) == first
    only_book(excel)["Why"]["Z99"] = "mine"
    press(book, "fill")
    excel.refused_call = excel.calls + int(needed * part)
    with pytest.raises(LogbookError, match="nothing was changed"):
        press(book, "fill")
    press(book, "undo")
    assert only_book(excel)["Why"]["Z99"].value == "mine"


@pytest.mark.parametrize("command", ["check", "fill", "air", "why", "clear", "undo"])
def test_while_a_cell_is_edited_nothing_is_done(excel: App, command: str) -> None:
    book = workbook_in_front()
    excel.calls_until_busy = excel.calls
    with pytest.raises(LogbookError, match="press Enter or Esc there"):
        press(book, command)
    excel.calls_until_busy = None
    assert marks_of(only_book(excel)) == {} and settings(excel) == settings(App())


def test_when_editing_begins_in_the_midst_it_says_so(excel: App) -> None:
    book = workbook_in_front()
    calls = excel.calls
    press(book, "check")
    excel.calls_until_busy = excel.calls + (excel.calls - calls) // 2
    with pytest.raises(LogbookError, match="press Enter or Esc there"):
        press(book, "check")
    with pytest.raises(LogbookError, match="press Enter or Esc there"):
        workbook_in_front()


def test_undo_leaves_what_was_changed_since(excel: App) -> None:
    book, sheet = workbook_in_front(), only_book(excel)["Readings"]
    with pytest.raises(LogbookError, match="there is nothing of strapline's to undo"):
        press(book, "undo")
    press(book, "fill")
    filled = state(excel)
    sheet.cell(*FILLED).value = "mine"
    with pytest.raises(LogbookError, match="Readings!Q13: this cell was changed since"):
        press(book, "undo")
    assert sheet.cell(*FILLED).value == "mine" and state(excel)[1:] == filled[1:]


def test_no_log(tmp_path: Path, excel: App) -> None:
    excel.books.add()
    for command in ("fill", "check", "clear", "why"):
        with pytest.raises(LogbookError) as refused:
            press(workbook_in_front(), command)
        assert "\n" not in str(refused.value)


def test_an_error_of_excels_names_its_words() -> None:
    made = program.in_a_sentence(App().refuse("The name is taken."), "take it", "Runs", "B5")
    assert str(made) == "Runs!B5: Excel did not take it (The name is taken)"


def test_from_a_terminal(excel: App, capsys: pytest.CaptureFixture[str]) -> None:
    for command in (["check"], ["fill"], ["air", "--temp", "95", "--pressure", "29.3"], ["undo"], ["clear"]):
        assert run_command(["live", *command]) == 0, capsys.readouterr().err
        assert capsys.readouterr().out
    assert run_command(["live", "clear"]) == 2
    assert "there is nothing of strapline's" in capsys.readouterr().err
    assert run_command(["live", "air"]) == 2
    assert "say the air" in capsys.readouterr().err


def test_from_a_terminal_without_a_workbook(excel: App, capsys: pytest.CaptureFixture[str]) -> None:
    excel.open.clear()
    assert run_command(["live", "fill"]) == 2
    assert "no workbook is open in Excel" in capsys.readouterr().err
    excel.engine.apps.running.clear()
    assert run_command(["live", "fill"]) == 2
    assert "Excel is not running" in capsys.readouterr().err
    xlwings.engines.active = None
    assert run_command(["live", "fill"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_the_buttons_work_on_the_workbook_that_called(excel: App) -> None:
    workbook_in_front().set_mock_caller()
    try:
        strapline_excel.clear()
        assert excel.said == ["there is nothing of strapline's in this document; nothing was changed."]
        strapline_excel.fill()
        assert "Next run" in only_book(excel).sheetnames and "Undo does not take this back" in excel.said[-1]
        strapline_excel.undo()
        assert "Next run" not in only_book(excel).sheetnames
        strapline_excel.why()
        assert "press Fill first" in excel.said[-1]
    finally:
        del xlwings.Book._mock_caller


def test_a_button_without_excel_ends_with_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        strapline_excel.check()
    assert isinstance(ended.value.code, str) and "\n" not in ended.value.code
