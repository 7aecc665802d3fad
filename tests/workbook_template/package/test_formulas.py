"""Formulas that are overwritten, shared formulas, the calculation chain, recalculation on load."""

from __future__ import annotations

import io

import openpyxl
import pytest

from workbook_template.package import CellEdit, Edits, open_package
from workbook_template.package.formulas import reads, rename_sheets
from workbook_template.package.grid import Area

from .samples import log, made, parts, replaced, with_part

SHEET = "xl/worksheets/sheet1.xml"
CHAIN = "xl/calcChain.xml"
CHAIN_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.calcChain+xml"
CHAIN_KIND = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/calcChain"


def with_formulas(**cells: str) -> bytes:
    """The plain log with these cells' XML in place of their values, and a calculation chain."""
    data = made(log)
    for cell, inner in cells.items():
        text = parts(data)[SHEET].decode()
        start = text.index(f'<c r="{cell}"')
        end = text.index("</c>", start) + 4
        data = replaced(data, SHEET, text[start:end], f'<c r="{cell}">{inner}</c>')
    listed = "".join(f'<c r="{cell}" i="1"/>' for cell in cells)
    chain = f'<calcChain xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">{listed}</calcChain>'
    return with_part(data, "xl/workbook.xml", CHAIN_KIND, CHAIN, CHAIN_TYPE, chain)


def apply(data: bytes, *cells: CellEdit) -> bytes:
    once = open_package(data).apply(Edits(cells))
    assert open_package(once).apply(Edits(cells)) == once
    return once


def formulas(data: bytes) -> dict[str, object]:
    sheet = openpyxl.load_workbook(io.BytesIO(data))["Log"]
    return {cell.coordinate: cell.value for row in sheet.iter_rows() for cell in row if cell.data_type == "f"}


COLUMN = {
    "C2": '<f t="shared" ref="C2:C5" si="0">A2*B$1+$A2</f><v>1</v>',
    "C3": '<f t="shared" si="0"/><v>1</v>',
    "C4": '<f t="shared" si="0"/><v>1</v>',
    "C5": '<f t="shared" si="0"/><v>1</v>',
}
BLOCK = {
    "B2": '<f t="shared" ref="B2:C3" si="3">A2+1</f><v>1</v>',
    "C2": '<f t="shared" si="3"/><v>1</v>',
    "B3": '<f t="shared" si="3"/><v>1</v>',
    "C3": '<f t="shared" si="3"/><v>1</v>',
}


def test_the_next_one_leads_when_the_master_of_a_shared_formula_is_overwritten() -> None:
    edited = apply(with_formulas(**COLUMN), CellEdit("Log", 2, 3, 7))
    assert b'<f t="shared" si="0" ref="C3:C5">A3*B$1+$A3</f>' in parts(edited)[SHEET]
    before = formulas(with_formulas(**COLUMN))
    assert formulas(edited) == {cell: text for cell, text in before.items() if cell != "C2"}


def test_with_the_master_several_followers_may_go() -> None:
    edited = apply(with_formulas(**COLUMN), CellEdit("Log", 2, 3, 7), CellEdit("Log", 3, 3, 7))
    assert formulas(edited) == {"C4": "=A4*B$1+$A4", "C5": "=A5*B$1+$A5"}


def test_all_are_written_out_when_none_can_lead() -> None:
    edited = apply(with_formulas(**BLOCK), CellEdit("Log", 2, 2, 7))
    assert formulas(edited) == {"C2": "=B2+1", "B3": "=A3+1", "C3": "=B3+1"}
    assert b"shared" not in parts(edited)[SHEET]


def test_a_follower_alone_may_go() -> None:
    edited = apply(with_formulas(**COLUMN), CellEdit("Log", 3, 3, 7))
    assert sorted(formulas(edited)) == ["C2", "C4", "C5"]


def test_the_calculation_chain_goes_with_an_overwritten_formula_and_only_then() -> None:
    data = with_formulas(C2="<f>A2*2</f><v>2</v>")
    gone = parts(apply(data, CellEdit("Log", 2, 3, 7)))
    assert CHAIN not in gone
    assert b"calcChain" not in gone["xl/_rels/workbook.xml.rels"] + gone["[Content_Types].xml"]
    assert parts(apply(data, CellEdit("Log", 2, 5, 7)))[CHAIN] == parts(data)[CHAIN]


@pytest.mark.parametrize(
    ("formula", "cell", "recalculated"),
    [
        ("A2*2", (2, 1), True),
        ("A2*2", (3, 1), False),
        ("SUM(A:A)", (9, 1), True),
        ("SUM(2:3)", (3, 9), True),
        ("SUM($A$1:$B$4)", (2, 2), True),
        ("SUM('Other'!A2)", (2, 1), False),
        ('"A2"&amp;B9', (2, 1), False),
        ("INDIRECT(&quot;A2&quot;)", (2, 1), True),
        ("LOG10(5)", (10, 1), False),
    ],
)
def test_recalculation_on_load_only_where_a_formula_reads_what_was_written(
    formula: str, cell: tuple[int, int], recalculated: bool
) -> None:
    data = replaced(with_formulas(C5=f"<f>{formula}</f><v>2</v>"), "xl/workbook.xml", ' fullCalcOnLoad="1"', "")
    workbook = parts(apply(data, CellEdit("Log", *cell, 7)))["xl/workbook.xml"]
    assert (b"fullCalcOnLoad" in workbook) is recalculated


def test_a_book_calculated_by_hand_stays_so() -> None:
    data = with_formulas(C5="<f>A2*2</f><v>2</v>")
    data = replaced(data, "xl/workbook.xml", ' fullCalcOnLoad="1"', ' calcMode="manual"')
    assert b"fullCalcOnLoad" not in parts(apply(data, CellEdit("Log", 2, 1, 7)))["xl/workbook.xml"]


def test_names_of_sheets_in_formulas() -> None:
    renamed = {"why": "Why (2)"}
    assert rename_sheets("Why!A1+'Why'!B2+'Other'!A1", renamed) == "'Why (2)'!A1+'Why (2)'!B2+'Other'!A1"
    assert rename_sheets('"Why!A1"&[1]Why!A1', renamed) == '"Why!A1"&[1]Why!A1'


def test_a_shared_formula_reads_as_far_as_it_reaches() -> None:
    written = {"log": [Area(5, 1, 5, 1)]}
    assert reads("A2*2", "Log", written, (3, 0))
    assert not reads("A2*2", "Log", written, (2, 0))
