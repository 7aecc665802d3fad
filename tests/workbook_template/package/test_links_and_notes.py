"""Links inside the book and notes, beside those that the user has."""

from __future__ import annotations

import io

import openpyxl
import pytest
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from workbook_template.package import CellEdit, EditRefused, Edits, open_package, strip

from .samples import block, log, made, parts, replaced, with_part

THREADED = "application/vnd.ms-excel.threadedcomments+xml"
THREADED_KIND = "http://schemas.microsoft.com/office/2017/10/relationships/threadedComment"


def annotated(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
    log(book, sheet)
    sheet.write_comment("A2", "theirs", {"author": "Racer"})
    sheet.write_url("B2", "https://example.org/")


def apply(data: bytes, *cells: CellEdit) -> bytes:
    once = open_package(data).apply(Edits(cells))
    assert open_package(once).apply(Edits(cells)) == once
    return once


def notes(data: bytes) -> dict[str, tuple[str, str]]:
    sheet = openpyxl.load_workbook(io.BytesIO(data))["Log"]
    cells = [cell for row in sheet.iter_rows() for cell in row if cell.comment]
    return {cell.coordinate: (cell.comment.author, cell.comment.text) for cell in cells}


def test_notes_join_those_that_are_there() -> None:
    data = apply(made(annotated), CellEdit("Log", 3, 5, 1, note="ours"))
    assert notes(data) == {"A2": ("Racer", "theirs"), "E3": ("strapline", "ours")}
    drawing = parts(data)["xl/drawings/vmlDrawing1.vml"].decode()
    assert drawing.count("<v:shape ") == 2
    assert "_x0000_s1025" in drawing and "_x0000_s1026" in drawing


def test_first_notes_of_a_sheet_get_all_they_need() -> None:
    data = apply(made(log), CellEdit("Log", 3, 5, 1, note=" two\nlines "))
    assert notes(data) == {"E3": ("strapline", " two\nlines ")}
    text = parts(data)["xl/worksheets/sheet1.xml"].decode()
    assert text.index("<pageMargins") < text.index("<legacyDrawing")


def test_a_note_changes_and_goes() -> None:
    first = apply(made(annotated), CellEdit("Log", 3, 5, 1, note="ours"))
    second = apply(first, CellEdit("Log", 3, 5, 1, note="other"))
    assert notes(second)["E3"] == ("strapline", "other")
    assert notes(apply(second, CellEdit("Log", 3, 5, 1))) == {"A2": ("Racer", "theirs")}


def test_a_link_changes_and_goes() -> None:
    first = apply(made(annotated), CellEdit("Log", 3, 5, "x", link="#Log!A1"))
    assert (
        b'<hyperlink ref="E3" location="\'Log\'!A1" tooltip="strapline"/>' in parts(first)["xl/worksheets/sheet1.xml"]
    )
    second = apply(first, CellEdit("Log", 3, 5, "x", link="#Log!A2"))
    assert b"'Log'!A2" in parts(second)["xl/worksheets/sheet1.xml"]
    third = parts(apply(second, CellEdit("Log", 3, 5, "x")))["xl/worksheets/sheet1.xml"]
    assert third.count(b"<hyperlink ") == 1 and b'ref="B2"' in third


@pytest.mark.parametrize(
    ("edit", "reason"),
    [
        (CellEdit("Log", 2, 1, 1, note="ours"), "A2: it has a note already"),
        (CellEdit("Log", 2, 2, 1, link="#Log!A1"), "B2: it has a link already"),
    ],
)
def test_theirs_are_never_replaced(edit: CellEdit, reason: str) -> None:
    with pytest.raises(EditRefused, match=reason):
        open_package(made(annotated)).apply(Edits((edit,)))


def test_a_value_written_twice_beside_their_note_and_link_leaves_both() -> None:
    edits = Edits((CellEdit("Log", 2, 1, 77), CellEdit("Log", 2, 2, 78)))
    once = open_package(made(annotated)).apply(edits)
    assert open_package(once).apply(edits) == once
    assert notes(once) == {"A2": ("Racer", "theirs")}
    assert b'<hyperlink ref="B2" r:id="rId1"/>' in parts(once)["xl/worksheets/sheet1.xml"]


def test_a_note_that_nobody_signed_is_theirs() -> None:
    data = replaced(made(annotated), "xl/comments1.xml", "<author>Racer</author>", "<author> </author>")
    with pytest.raises(EditRefused, match="A2: it has a note already"):
        open_package(data).apply(Edits((CellEdit("Log", 2, 1, 77),)))


def test_of_two_edits_of_one_cell_the_last_counts() -> None:
    data = apply(made(log), CellEdit("Log", 3, 5, 1, note="first", link="#Log!A1"), CellEdit("Log", 3, 5, 2))
    assert notes(data) == {}
    assert b'<c r="E3"><v>2</v></c>' in parts(data)["xl/worksheets/sheet1.xml"]


def test_threaded_comments_stay() -> None:
    thread = (
        '<ThreadedComments xmlns="http://schemas.microsoft.com/office/spreadsheetml/2018/threadedcomments">'
        '<threadedComment ref="A2" dT="2026-01-01T00:00:00.00" personId="{00000000-0000-0000-0000-000000000001}" '
        'id="{00000000-0000-0000-0000-000000000002}"><text>theirs</text></threadedComment></ThreadedComments>'
    )
    person = (
        '<personList xmlns="http://schemas.microsoft.com/office/spreadsheetml/2018/threadedcomments">'
        '<person displayName="R" id="{00000000-0000-0000-0000-000000000001}" userId="r" providerId="None"/>'
        "</personList>"
    )
    data = with_part(made(annotated), "xl/worksheets/sheet1.xml", THREADED_KIND,
                     "xl/threadedComments/threadedComment1.xml", THREADED, thread)  # fmt: skip
    data = with_part(data, "xl/workbook.xml", THREADED_KIND.replace("threadedComment", "person"),
                     "xl/persons/person.xml", "application/vnd.ms-excel.person+xml", person)  # fmt: skip
    package = open_package(data)
    edited = package.apply(block(package, "Log"))
    for part in ("xl/threadedComments/threadedComment1.xml", "xl/persons/person.xml"):
        assert parts(edited)[part] == parts(data)[part]
    assert parts(edited)["xl/worksheets/_rels/sheet1.xml.rels"].count(b"threadedComment1.xml") == 1
    assert notes(edited)["A2"] == ("Racer", "theirs")
    assert open_package(strip(open_package(edited))).members == package.members
