"""The extension in the real LibreOffice: what the buttons do, that one undo takes it back, and what is refused."""

from __future__ import annotations

import json
import stat
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from lxml import etree
from openpyxl.utils import get_column_letter

from engine_rules import advise
from strapline_demo.season import build_season
from tests.workbook_template.hosts.office import Office, running_office
from tests.workbook_template.racers_books import LAYOUTS
from workbook_template.hosts.calc import COMMANDS, PROTOCOL, build_extension
from workbook_template.log_file import fill_cars, open_log

pytestmark = [pytest.mark.libreoffice, pytest.mark.live_calc]


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Office]:
    with running_office(tmp_path_factory.mktemp("office")) as made:
        yield made


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("season") / "season.xlsx"
    build_season(path)
    return path


@pytest.fixture(scope="module")
def by_file(season: Path) -> tuple[Path, dict[str, Any]]:
    """The season filled as a file is, and the advice as data."""
    out = season.with_name("filled.xlsx")
    return out, file_filled(season, out)


@pytest.fixture
def opened(office: Office, season: Path) -> Iterator[Office]:
    office.open(path=str(season))
    yield office
    office.close()


def file_filled(log: Path, out: Path) -> dict[str, Any]:
    """What the file host makes of it; the advice as data."""
    read = open_log(log, out)
    advised = [(book, [advise(book.logbook)]) for book in read.books]
    fill_cars(read, advised)
    data = [advices[0].as_json() for _, advices in advised]
    return data[0] if len(data) == 1 else {book.car: one for (book, _), one in zip(advised, data, strict=True)}


def as_a_file_has_it(snapshot: dict[str, Any]) -> dict[str, Any]:
    """A snapshot without what an open document must say otherwise: who signed a note."""
    for sheet in snapshot["sheets"]:
        sheet["notes"] = [[row, column, text.removeprefix("strapline: ")] for row, column, text in sheet["notes"]]
    return snapshot


def differences(one: dict[str, Any], other: dict[str, Any]) -> list[str]:
    """Sheet and property of what differs between two snapshots."""
    names = [[sheet["name"] for sheet in snapshot["sheets"]] for snapshot in (one, other)]
    if names[0] != names[1]:
        return [f"{names[0]} against {names[1]}"]
    return [
        f"{mine['name']} {key}: {only(mine[key], theirs[key])} against {only(theirs[key], mine[key])}"
        for mine, theirs in zip(one["sheets"], other["sheets"], strict=True)
        for key in mine.keys() & theirs.keys()
        if mine[key] != theirs[key]
    ]


def only(one: Any, other: Any) -> str:
    """What the one list has and the other lacks."""
    if not isinstance(one, list) or not isinstance(other, list):
        return str(one)
    theirs = {str(item) for item in other}
    return str([item for item in one if str(item) not in theirs])[:300]


def read_by_office(office: Office, path: Path) -> dict[str, Any]:
    office.open(path=str(path))
    try:
        return office.snapshot()
    finally:
        office.close()


def test_menu_and_toolbar_carry_every_command(opened: Office) -> None:
    assert opened.menu() == [[PROTOCOL + command for command in COMMANDS]] * 2


def test_check_says_what_was_read_and_changes_nothing(opened: Office) -> None:
    before = opened.snapshot()
    said = opened.press(command="check")
    assert any("runs" in line and "with readings" in line for line in said["lines"])
    assert opened.snapshot() == before and not opened.modified() and opened.undo_titles() == []


def test_filled_as_a_file_is_filled_and_undone_at_once(opened: Office, by_file: tuple[Path, dict[str, Any]]) -> None:
    out, data = by_file
    before, marks = opened.snapshot(looks=True), opened.marks()
    assert opened.press(command="fill")["data"] == data
    filled, marked = opened.snapshot(looks=True), opened.marks()
    assert opened.undo_titles() == ["strapline: Fill"] and marked
    opened.undo()
    assert differences(opened.snapshot(looks=True), before) == [] and opened.marks() == marks
    opened.redo()
    assert differences(opened.snapshot(looks=True), filled) == [] and opened.marks() == marked
    opened.undo()
    assert differences(opened.snapshot(), before) == [] and opened.marks() == marks
    assert differences(as_a_file_has_it(filled), opened.beside(path=str(out), looks=True)) == []


def test_filling_twice_is_filling_once_and_clear_takes_it_out(opened: Office) -> None:
    before = opened.snapshot()
    opened.press(command="fill")
    filled, marked = opened.snapshot(), opened.marks()
    opened.press(command="fill")
    assert differences(opened.snapshot(), filled) == [] and opened.marks() == marked
    opened.press(command="clear")
    assert differences(opened.snapshot(), before) == []
    assert opened.marks() == []
    opened.undo()
    assert differences(opened.snapshot(), filled) == [] and opened.marks() == marked


def test_formulas_and_notes_of_the_user_live_on(opened: Office) -> None:
    opened.press(command="fill")
    opened.run(
        code="""
sheet = doc.Sheets.getByName("Engine")
sheet.getCellRangeByName("Z1").setFormula("='Next run'.A1&\\"!\\"")
sheet.getCellRangeByName("Z2").setString("='Next run'.A1")
readings = doc.Sheets.getByName("Readings")
readings.Annotations.insertNew(readings.getCellRangeByName("Q118").CellAddress, "mine")
"""
    )
    before = opened.snapshot()
    opened.press(command="fill")
    assert differences(opened.snapshot(), before) == []
    opened.undo()
    assert differences(opened.snapshot(), before) == []


@pytest.mark.parametrize("ending", ["ods", "xlsx"])
def test_saved_and_opened_again(opened: Office, tmp_path: Path, ending: str) -> None:
    opened.press(command="fill")
    filled = opened.snapshot()
    opened.save(path=str(tmp_path / f"saved.{ending}"))
    again = opened.beside(path=str(tmp_path / f"saved.{ending}"))
    assert differences(filled, again) == []


def test_a_document_of_the_offices_own_kind(
    opened: Office, by_file: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    out, data = by_file
    path = tmp_path / "season.ods"
    opened.save(path=str(path))
    opened.open_beside(path=str(path))
    assert opened.press(command="fill")["data"] == data
    filled = as_a_file_has_it(opened.snapshot())
    opened.close_beside()
    assert differences(filled, opened.beside(path=str(out))) == []


def test_what_the_live_host_wrote_the_file_host_knows(opened: Office, tmp_path: Path) -> None:
    opened.press(command="fill")
    path = tmp_path / "saved.xlsx"
    opened.save(path=str(path))
    names = openpyxl.load_workbook(path).sheetnames
    file_filled(path, path)
    assert openpyxl.load_workbook(path).sheetnames == names


@pytest.mark.parametrize(
    "layout",
    [
        "a row for each cylinder, the run in the first",
        "two cars in one list",
        "a sheet for each day, forms with small tables",
    ],
)
def test_racers_own_layouts(office: Office, tmp_path: Path, layout: str) -> None:
    log, out = tmp_path / "log.xlsx", tmp_path / "out.xlsx"
    LAYOUTS[layout]().save(log)
    data = file_filled(log, out)
    office.open(path=str(log))
    try:
        assert office.press(command="fill")["data"] == data
        filled = as_a_file_has_it(office.snapshot())
    finally:
        office.close()
    assert differences(filled, read_by_office(office, out)) == []


def cell_name(row: int, column: int) -> str:
    return f"{get_column_letter(column + 1)}{row + 1}"


def links_of(office: Office, name: str) -> list[tuple[str, str]]:
    """The linked cells of a sheet, each with what it leads to."""
    sheet = next(sheet for sheet in office.snapshot()["sheets"] if sheet["name"] == name)
    return [(cell_name(row, column), link) for row, column, link in sheet["links"]]


def test_why_goes_to_the_firing(opened: Office) -> None:
    opened.select(sheet="Readings", cell="A1")
    assert "press Fill first" in opened.press(command="why")["error"]
    opened.press(command="fill")
    filled, leads_to = links_of(opened, "Readings")[0]
    opened.select(sheet="Readings", cell=filled)
    assert opened.press(command="why")["go_to"].replace("!", ".") == leads_to.removeprefix("#")
    assert opened.selected().replace("$", "") == leads_to.removeprefix("#")
    reading = next(link for _, link in links_of(opened, "Why") if link.startswith("#Readings."))
    opened.select(sheet="Readings", cell=reading.rpartition(".")[2])
    assert opened.press(command="why")["go_to"].startswith("Why!A")
    opened.select(sheet="Readings", cell="A1")
    assert "no rule stood on this cell" in opened.press(command="why")["error"]


def test_todays_air(opened: Office) -> None:
    before = opened.snapshot()
    given = {"--temp": "95", "--pressure": "29.2", "--humidity": "40"}
    said = opened.press(command="air", given=given)
    assert said["go_to"] == "Today!A2" and said["data"]["jets"]
    assert [sheet["name"] for sheet in opened.snapshot()["sheets"]][-1] == "Today"
    opened.undo()
    assert differences(opened.snapshot(), before) == []
    assert opened.press(command="air")["error"] == "Cancelled. Nothing was changed."


def script(path: Path, body: str) -> str:
    path.write_text(f"#!/bin/sh\n{body}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return str(path)


REFUSALS: dict[str, tuple[Callable[[Path], dict[str, Any]], str]] = {
    "no interpreter": (lambda folder: {"python": str(folder / "gone")}, "cannot be started"),
    "killed": (lambda folder: {"python": script(folder / "p", "kill -9 $$")}, "ended without an answer"),
    "prints rubbish": (lambda folder: {"python": script(folder / "p", "cat >/dev/null; echo hm")}, "without an answer"),
    "too slow": (
        lambda folder: {"python": script(folder / "p", "exec sleep 30"), "time_limit_s": 0.5},
        "no answer within 0.5 seconds",
    ),
}


@pytest.mark.parametrize("case", REFUSALS)
def test_a_failing_interpreter_is_one_sentence(opened: Office, tmp_path: Path, case: str) -> None:
    before = opened.snapshot()
    settings, sentence = REFUSALS[case]
    with opened.asking(**settings(tmp_path)):
        said = opened.press(command="fill")
    assert sentence in said["error"] and "\n" not in said["error"]
    assert opened.snapshot() == before and not opened.modified() and opened.undo_titles() == []


def test_cancelled(opened: Office, tmp_path: Path) -> None:
    before = opened.snapshot()
    with opened.asking(python=script(tmp_path / "p", "exec sleep 60")):
        opened.press_later(command="fill", quiet=False)
        assert opened.press_button_of_window(label="Cancel")
        assert opened.press_button_of_window(label="OK")
        assert opened.pressed()["error"] == "Cancelled. Nothing was changed."
    assert opened.snapshot() == before and not opened.modified() and opened.undo_titles() == []


def test_read_only(office: Office, season: Path) -> None:
    office.open(path=str(season), readonly=True)
    assert "open for reading only" in office.press(command="fill")["error"]
    assert "lines" in office.press(command="check")
    office.close()


def test_no_log(office: Office) -> None:
    office.new(kind="scalc")
    office.run(code="doc.Sheets.getByIndex(0).getCellRangeByName('A1').setString('shopping')")
    assert "\n" not in office.press(command="fill")["error"]
    assert office.undo_titles() == ["Input"]
    office.close()
    office.new(kind="scalc")
    assert "is empty" in office.press(command="check")["error"]
    office.close()


IN_THE_WAY = {
    "the sheet is protected and this cell is locked": "sheet.protect('')",
    "it lies inside merged cells": "sheet.getCellRangeByPosition({column}, {row} - 1, {column} + 1, {row}).merge(True)",
    "it lies inside an array formula": (
        "sheet.getCellRangeByPosition({column}, {row}, {column} + 1, {row}).setArrayFormula('=A1:B1')"
    ),
}


@pytest.mark.parametrize("sentence", IN_THE_WAY)
def test_what_cannot_be_written_is_named_before_anything_is(opened: Office, sentence: str) -> None:
    opened.press(command="fill")
    row, column, _ = next(sheet for sheet in opened.snapshot()["sheets"] if sheet["name"] == "Readings")["links"][2]
    opened.undo()
    code = IN_THE_WAY[sentence].format(row=row, column=column)
    opened.run(code=f"sheet = doc.Sheets.getByName('Readings')\n{code}")
    before, titles = opened.snapshot(), opened.undo_titles()
    said = opened.press(command="fill")
    assert sentence in said["error"] and said["error"].startswith("Readings!")
    assert differences(opened.snapshot(), before) == [] and opened.undo_titles() == titles


def test_a_sheet_of_the_users_own_name_is_left_alone(opened: Office) -> None:
    opened.run(
        code="doc.Sheets.insertNewByName('Why', 0)\ndoc.Sheets.getByName('Why').getCellByPosition(0, 0).String = 'mine'"
    )
    opened.press(command="fill")
    sheets = {sheet["name"]: sheet for sheet in opened.snapshot()["sheets"]}
    assert sheets["Why"]["formulas"] == [["mine"]]
    assert any("#Why (2)." in link for _, _, link in sheets["Readings"]["links"])


def test_the_extension_is_a_package_that_agrees_with_itself(tmp_path: Path) -> None:
    path = tmp_path / "strapline.oxt"
    build_extension(path, "/some/python")
    with zipfile.ZipFile(path) as archive:
        names = set(archive.namelist())
        manifest = etree.fromstring(archive.read("META-INF/manifest.xml"))
        listed = {entry.get("{http://openoffice.org/2001/manifest}full-path") for entry in manifest}
        assert listed <= names
        for name in names:
            if name.endswith((".xml", ".xcu")):
                etree.fromstring(archive.read(name))
        settings = json.loads(archive.read("pythonpath/strapline_office/settings.json"))
    assert settings["python"] == "/some/python" and settings["module"] == "workbook_template.live_protocol"
