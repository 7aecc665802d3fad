"""The gate: any change that no edit asked for stops the save."""

from __future__ import annotations

import re

import pytest

from workbook_template.package import GateFailed, open_package
from workbook_template.package.container import read_members
from workbook_template.package.draft import Draft
from workbook_template.package.gate import Intended, check

from .samples import block, made, parts, replaced, zipped
from .test_links_and_notes import annotated

BEFORE = zipped(parts(made(annotated)))
AFTER = open_package(BEFORE).apply(block(open_package(BEFORE), "Log"))
SHEET = "xl/worksheets/sheet1.xml"


def gate(after: bytes) -> None:
    cells = {(row, column) for row in range(1, 6) for column in range(4, 7)}
    check(Draft(read_members(BEFORE)), Draft(read_members(after)), Intended(cells={"Log": cells}))


def test_the_intended_change_passes() -> None:
    gate(AFTER)


@pytest.mark.parametrize(
    ("part", "old", "new", "reason"),
    [
        (SHEET, "<v>9.1</v>", "<v>9.10</v>", "cell C2 would have been changed"),
        (SHEET, '<c r="A3">', '<c r="A3" s="1">', "cell A3 would have been changed"),
        (SHEET, '<row r="4"', '<row r="4" hidden="1"', "sheet 'Log', row 4 would have been changed"),
        (
            SHEET,
            "</sheetData>",
            '<row r="9"><c r="A9"/></row></sheetData>',
            "sheet 'Log', row 9 would have been changed",
        ),
        (SHEET, 'left="0.7"', 'left="0.8"', "sheet 'Log' would have been changed"),
        (SHEET, 'ref="B2" r:id="rId1"', 'ref="B3" r:id="rId1"', "the links of sheet 'Log'"),
        ("xl/workbook.xml", 'sheetId="1"', 'sheetId="9"', "the list of sheets"),
        ("xl/workbook.xml", "<workbookPr ", '<workbookPr date1904="1" ', "the workbook's own settings"),
        ("xl/styles.xml", '<sz val="11"/>', '<sz val="12"/>', "the styles"),
        ("xl/comments1.xml", "theirs", "changed", "the notes"),
        ("xl/drawings/vmlDrawing1.vml", "<x:Row>1</x:Row>", "<x:Row>2</x:Row>", "a shape of"),
        ("xl/theme/theme1.xml", "Office Theme", "Other Theme", "part 'xl/theme/theme1.xml' would have been changed"),
        ("[Content_Types].xml", "/xl/theme/theme1.xml", "/xl/theme/theme9.xml", "an entry of"),
        ("xl/worksheets/_rels/sheet1.xml.rels", "https://example.org/", "https://example.com/", "an entry of"),
    ],
)
def test_any_other_change_is_stopped(part: str, old: str, new: str, reason: str) -> None:
    with pytest.raises(GateFailed, match=re.escape(reason)):
        gate(replaced(AFTER, part, old, new))


def test_a_lost_part_is_stopped() -> None:
    contents = parts(AFTER)
    del contents["docProps/app.xml"]
    with pytest.raises(GateFailed, match=r"part 'docProps/app\.xml' would have been lost"):
        gate(zipped(contents))


def test_another_order_of_parts_is_stopped() -> None:
    contents = parts(AFTER)
    contents["[Content_Types].xml"] = contents.pop("[Content_Types].xml")
    with pytest.raises(GateFailed, match="the order of the parts"):
        gate(zipped(contents))
