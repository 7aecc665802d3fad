"""The extension in the real LibreOffice: what the buttons do, that one undo takes it back, and what is refused."""

from __future__ import annotations

import json
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from lxml import etree
from openpyxl.utils import get_column_letter

from tests.workbook_template.hosts.calc_documents import as_a_file_has_it, differences, file_filled
from tests.workbook_template.hosts.office import Office
from workbook_template.hosts.calc import COMMANDS, PROTOCOL, build_extension

pytestmark = [pytest.mark.libreoffice, pytest.mark.live_calc]


def test_menu_and_toolbar_carry_every_command(opened: Office) -> None:
    assert opened.menu() == [[PROTOCOL + command for command in COMMANDS]] * 2


def test_check_says_what_was_read_and_changes_nothing(opened: Office) -> None:
    before = opened.snapshot()
    said = opened.press(command="check")
    assert any("runs" in line and "with readings" in line for line in said["lines"])
    assert opened.snapshot() == before and not opened.modified() and opened.undo_titles() == []


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


def test_a_document_of_the_offices_own_kind_and_back_to_the_file_host(
    opened: Office, season: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.xlsx"
    data = file_filled(season, out)
    opened.save(path=str(tmp_path / "season.ods"))
    opened.open_beside(path=str(tmp_path / "season.ods"))
    assert opened.press(command="fill")["data"] == data
    filled = as_a_file_has_it(opened.snapshot())
    opened.save(path=str(tmp_path / "saved.xlsx"))
    opened.close_beside()
    assert differences(filled, opened.beside(path=str(out))) == []
    # The file host knows what the button wrote, and writes nothing a second time.
    file_filled(tmp_path / "saved.xlsx", tmp_path / "saved.xlsx")
    assert differences(filled, as_a_file_has_it(opened.beside(path=str(tmp_path / "saved.xlsx")))) == []


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
    before = office.snapshot()
    for command in ("fill", "air", "clear"):
        assert "open for reading only" in office.press(command=command)["error"]
    assert "lines" in office.press(command="check")
    assert office.snapshot() == before and not office.modified()
    office.close()


def test_no_log(office: Office) -> None:
    office.new(kind="scalc")
    assert "is empty" in office.press(command="check")["error"]
    office.run(code="doc.Sheets.getByIndex(0).getCellRangeByName('A1').setString('shopping')")
    before = office.snapshot()
    for command in ("fill", "check"):
        assert "\n" not in office.press(command=command)["error"]
    assert office.press(command="clear")["error"].startswith("there is nothing of strapline's in this document")
    assert office.snapshot() == before and office.undo_titles() == ["Input"]
    office.close()


_MERGED = "sheet.getCellRangeByPosition({column}, {row} - 1, {column} + 1, {row})"
_ARRAY = "sheet.getCellRangeByPosition({column}, {row}, {column} + 1, {row})"
# What is said -> how that is brought about, and how it is taken away.
IN_THE_WAY = {
    "the sheet is protected and this cell is locked": ("sheet.protect('')", "sheet.unprotect('')"),
    "it lies inside merged cells": (f"{_MERGED}.merge(True)", f"{_MERGED}.merge(False)"),
    "it lies inside an array formula": (f"{_ARRAY}.setArrayFormula('=A1:B1')", f"{_ARRAY}.setArrayFormula('')"),
}


def test_what_cannot_be_written_is_named_before_anything_is(opened: Office) -> None:
    opened.press(command="fill")
    row, column, _ = next(sheet for sheet in opened.snapshot()["sheets"] if sheet["name"] == "Readings")["links"][2]
    opened.undo()
    for sentence, (put, take_away) in IN_THE_WAY.items():
        for code in (put, take_away):
            opened.run(code="sheet = doc.Sheets.getByName('Readings')\n" + code.format(row=row, column=column))
            if code == put:
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
        told = etree.fromstring(archive.read("functions.components"))
        assert {one.get("uri") for one in told.iter("{*}component")} == {"addin.py"} <= names
        settings = json.loads(archive.read("pythonpath/strapline_office/settings.json"))
    assert settings["python"] == "/some/python" and settings["module"] == "workbook_template.live_protocol"
