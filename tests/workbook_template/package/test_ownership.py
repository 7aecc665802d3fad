"""What is ours is known again, replaced in place, and taken out: exactly, or where another program left it."""

from __future__ import annotations

import io
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter
from openpyxl.workbook.defined_name import DefinedName
from xlsxwriter.worksheet import Worksheet

from workbook_template.package import (
    Area,
    CellEdit,
    CellPlace,
    EditRefused,
    Edits,
    Formula,
    open_package,
    strip,
)

from .samples import FIRST, SECOND, block, log, made, parts, scratch

PLAIN = made(log)
BLOCK = tuple(Area(1, column, 5, column) for column in (4, 5, 6))


def filled(data: bytes = PLAIN) -> bytes:
    package = open_package(data)
    return package.apply(block(package, "Log"))


def resaved(data: bytes, change: Callable[[openpyxl.Workbook], object]) -> bytes:
    """The workbook as openpyxl saves it after a change: another program's work."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    change(book)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def values(data: bytes, sheet: str = "Log") -> list[list[object]]:
    """The rows without empty cells at their ends."""
    rows = [list(row) for row in openpyxl.load_workbook(io.BytesIO(data))[sheet].values]
    for row in rows:
        while row and row[-1] is None:
            row.pop()
    return rows


def test_edits_add_up_and_all_go_at_once() -> None:
    first = filled()
    second = open_package(first).apply(Edits((CellEdit("Log", 8, 9, "later"), CellEdit("Log", 2, 1, 77))))
    package = open_package(second)
    later = (Area(2, 1, 2, 1), Area(8, 9, 8, 9))
    assert package.owned.cells["Log"] == (*BLOCK, *later)
    assert open_package(strip(package)).members == open_package(PLAIN).members


def test_a_sheet_comes_in_place_of_its_former_self() -> None:
    first = filled()
    once = resaved(first, lambda book: book.create_sheet("Theirs"))
    new = scratch()
    new[FIRST]["B2"] = 99
    edits = Edits(scratch=new, sheets=(FIRST,))
    again = open_package(once).apply(edits)
    assert open_package(again).sheet_names == ("Log", FIRST, SECOND, "Theirs")
    assert values(again, FIRST)[1] == [0, 99, None, "why"]
    assert open_package(again).apply(edits) == again


def test_a_new_sheet_beside_a_replaced_one() -> None:
    first = open_package(PLAIN).apply(Edits(scratch=scratch(), sheets=(SECOND,)))
    edits = Edits(scratch=scratch(), sheets=(FIRST, SECOND))
    second = open_package(first).apply(edits)
    assert open_package(second).sheet_names == ("Log", SECOND, FIRST)
    assert open_package(second).apply(edits) == second
    assert values(second, SECOND) == [["because"]]


def test_fewer_parts_the_second_time_leave_none_behind() -> None:
    new = scratch()
    for name in (FIRST, SECOND):
        del new[name]
    new.create_sheet(FIRST)["A1"] = "short"
    data = open_package(filled()).apply(Edits(scratch=new, sheets=(FIRST,)))
    assert not [name for name in parts(data) if "chart" in name or "tables/" in name]
    assert values(data, FIRST) == [["short"]]


def test_a_name_that_the_user_has_taken_gets_a_number_and_all_references_follow() -> None:
    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        log(book, sheet)
        book.add_worksheet(FIRST.upper())
        book.add_worksheet(SECOND)

    data = made(fill)
    edited = filled(data)
    package = open_package(edited)
    assert package.sheet_names == ("Log", FIRST.upper(), SECOND, f"{FIRST} (2)", f"{SECOND} (2)")
    assert package.final_name(FIRST) == f"{FIRST} (2)"
    contents = parts(edited)
    assert b"'Reasons (2)'!A2" in contents["xl/worksheets/sheet1.xml"]
    assert b"'Card (2)'!$B$2:$B$5" in contents["xl/charts/chart1.xml"]
    assert b"'Reasons (2)'!$A$1:$A$3" in contents["xl/worksheets/sheet4.xml"]
    assert b"'Card (2)'!$1:$1" in contents["xl/workbook.xml"]
    assert package.apply(block(open_package(data), "Log")) == edited


def test_long_names_are_cut_to_what_a_sheet_may_have() -> None:
    book = scratch()
    long = "The reasons for every change of"
    assert len(long) == 31
    book[FIRST].title = long
    data = open_package(made(lambda b, _: b.add_worksheet(long))).apply(Edits(scratch=book, sheets=(long,)))
    assert open_package(data).sheet_names[-1] == "The reasons for every chang (2)"


def test_marks_follow_what_another_program_moves_and_renames() -> None:
    def change(book: openpyxl.Workbook) -> None:
        book[FIRST].title = "Tonight"
        names = book.defined_names
        for name in list(names):
            names[name].attr_text = names[name].attr_text.replace(f"'{FIRST}'", "'Tonight'")

    package = open_package(resaved(filled(), change))
    assert package.final_name(FIRST) == "Tonight"
    assert open_package(strip(package)).sheet_names == ("Log",)


def test_a_copy_that_the_user_made_of_our_sheet_is_the_users() -> None:
    def change(book: openpyxl.Workbook) -> None:
        copy = book.copy_worksheet(book[FIRST])
        copy.title = "Kept"
        copy.defined_names["_wt_sheet_Card"] = DefinedName("_wt_sheet_Card", attr_text="'Kept'!$A$1", hidden=True)

    package = open_package(resaved(filled(), change))
    assert package.final_name(FIRST) == FIRST
    edits = Edits(scratch=scratch(), sheets=(FIRST, SECOND))
    assert open_package(package.apply(edits)).sheet_names == ("Log", FIRST, SECOND, "Kept")
    stripped = strip(package)
    assert open_package(stripped).sheet_names == ("Log", "Kept")
    assert b"_wt_" not in parts(stripped)["xl/workbook.xml"]


def test_a_column_that_the_user_put_between_ours_is_the_users() -> None:
    def change(book: openpyxl.Workbook) -> None:
        sheet = book["Log"]
        sheet.move_range("E1:F5", cols=1)
        sheet["E2"] = "theirs"
        names = book.defined_names
        for name, column in (("_wt_cells_2", "F"), ("_wt_cells_3", "G")):
            names[name].attr_text = f"'Log'!${column}$1:${column}$5"

    assert values(strip(open_package(resaved(filled(), change))))[1] == [1, 70, 9.1, None, "theirs"]


def test_after_another_program_saved_the_originals_are_never_used() -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["Log"]["A6"] = 5
        book["Log"]["C2"] = 8.88
        book["Log"]["J1"] = "their column"

    edited = resaved(filled(), change)
    stripped = strip(open_package(edited))
    rows = values(stripped)
    assert rows[0] == ["Run", "Air", "ET", *[None] * 6, "their column"]
    assert rows[1:] == [[1, 70, 8.88], [2, 72, 9.2], [3, 75, 9.2], [4, 71, 9.1], [5]]
    assert open_package(stripped).sheet_names == ("Log",)
    assert b"_wt_" not in parts(stripped)["xl/workbook.xml"]
    assert not [name for name in parts(stripped) if name.startswith(("customXml", "xl/charts", "xl/tables"))]
    sheet = openpyxl.load_workbook(io.BytesIO(stripped))["Log"]
    assert not [cell for row in sheet.iter_rows() for cell in row if cell.comment or cell.hyperlink]
    assert strip(open_package(stripped)) == stripped


def test_filling_again_after_another_program_saved_gives_the_same_twice() -> None:
    edited = resaved(filled(), lambda book: book["Log"].__setitem__("A6", 5))
    edits = block(open_package(PLAIN), "Log")
    again = open_package(edited).apply(edits)
    assert open_package(again).apply(edits) == again
    assert not [name for name in parts(again) if name.startswith("customXml")]
    assert values(strip(open_package(again)))[5] == [5]


def test_one_changed_member_is_enough_to_distrust_the_originals() -> None:
    members = list(open_package(filled()).members)
    from workbook_template.package.container import new_member, write_members

    at = next(i for i, member in enumerate(members) if member.name == "docProps/core.xml")
    members[at] = new_member("docProps/core.xml", b"<x/>", like=members[at])
    contents = parts(strip(open_package(write_members(members))))
    assert contents["docProps/core.xml"] == b"<x/>"
    assert values(strip(open_package(write_members(members))))[0] == ["Run", "Air", "ET"]


def test_sheets_and_cells_can_be_taken_out_one_by_one() -> None:
    data = filled()
    fewer = open_package(data).apply(Edits(remove_sheets=(SECOND,), clear=(CellPlace("Log", 5, 4),)))
    package = open_package(fewer)
    assert package.sheet_names == ("Log", FIRST)
    assert package.owned.cells["Log"] == (Area(1, 4, 4, 4), *BLOCK[1:])
    assert open_package(strip(package)).members == open_package(PLAIN).members


def test_cells_of_theirs_that_were_cleared_come_back() -> None:
    data = open_package(PLAIN).apply(Edits(clear=(CellPlace("Log", 2, 1),)))
    assert values(data)[1] == [None, 70, 9.1]
    assert open_package(strip(open_package(data))).members == open_package(PLAIN).members


def test_no_edit_is_no_change() -> None:
    assert open_package(open_package(PLAIN).apply(Edits())).members == open_package(PLAIN).members


def test_sheets_that_are_not_ours_are_not_taken_out() -> None:
    with pytest.raises(EditRefused, match="not written by this program"):
        open_package(filled()).apply(Edits(remove_sheets=("Log",)))


def test_formulas_of_theirs_that_read_a_sheet_that_goes_say_so() -> None:
    with_reader = resaved(filled(), lambda book: book["Log"].__setitem__("H1", f"={FIRST}!B2+1"))
    stripped = strip(open_package(with_reader))
    assert values(stripped)[0] == ["Run", "Air", "ET", *[None] * 4, "=#REF!B2+1"]


def test_a_package_without_anything_of_ours_is_given_back_as_it_is() -> None:
    assert open_package(strip(open_package(PLAIN))).members == open_package(PLAIN).members


def test_overwritten_formulas_come_back() -> None:
    data = made(lambda _, sheet: sheet.write_formula("B2", "=1+1", None, 2))
    edited = open_package(data).apply(Edits((CellEdit("Log", 2, 2, 3), CellEdit("Log", 3, 2, Formula("B2*2")))))
    assert open_package(strip(open_package(edited))).members == open_package(data).members


@pytest.mark.libreoffice
@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_marks_survive_libreoffice(tmp_path: Path) -> None:
    (tmp_path / "log.xlsx").write_bytes(filled())
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    command = ["soffice", profile, "--headless", "--convert-to", "xlsx", "--outdir", str(tmp_path / "out")]
    subprocess.run([*command, str(tmp_path / "log.xlsx")], capture_output=True, timeout=60, check=True)
    package = open_package(tmp_path / "out" / "log.xlsx")
    assert dict(package.owned.sheets) == {FIRST: FIRST, SECOND: SECOND}
    assert package.owned.cells["Log"] == BLOCK
    edits = block(package, "Log", column=4)
    again = package.apply(edits)
    assert open_package(again).apply(edits) == again
    stripped = strip(open_package(again))
    assert values(stripped)[:2] == [["Run", "Air", "ET"], [1, 70, 9.1]]
    sheet = openpyxl.load_workbook(io.BytesIO(stripped))["Log"]
    assert not [cell for row in sheet.iter_rows() for cell in row if cell.comment or cell.hyperlink]
    assert open_package(stripped).sheet_names == ("Log",)
