"""Features that the corpus lacks, made by hand: slicers, timelines, the newest charts, and what else stays as it is."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
import xlsxwriter
from openxml_audit import FileFormat, OpenXmlValidator, ValidationSeverity
from xlsxwriter.worksheet import Worksheet

from workbook_template.package import open_package, strip

from .samples import block, log, made, parts, replaced, with_part
from .test_tables import tabled

SHEET, WORKBOOK = "xl/worksheets/sheet1.xml", "xl/workbook.xml"
MICROSOFT = "http://schemas.microsoft.com/office"
X14 = f"{MICROSOFT}/spreadsheetml/2009/9/main"
X15 = f"{MICROSOFT}/spreadsheetml/2010/11/main"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATED = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"


def extended(data: bytes, part: str, end: str, extension: str) -> bytes:
    """The package with an extension list before the end tag of a part's root."""
    return replaced(data, part, end, f"<extLst>{extension}</extLst>{end}")


def _last_id(data: bytes, source: str) -> str:
    folder, _, name = source.rpartition("/")
    return parts(data)[f"{folder}/_rels/{name}.rels"].decode().rsplit('Id="', 1)[1].split('"', 1)[0]


def slicer() -> bytes:
    """A table with a slicer on its second column."""
    data = with_part(
        made(tabled), SHEET, f"{MICROSOFT}/2007/relationships/slicer", "xl/slicers/slicer1.xml",
        "application/vnd.ms-excel.slicer+xml",
        f'<slicers xmlns="{X14}"><slicer name="Air" cache="Slicer_Air" caption="Air" rowHeight="225425"/></slicers>',
    )  # fmt: skip
    data = with_part(
        data, WORKBOOK, f"{MICROSOFT}/2007/relationships/slicerCache", "xl/slicerCaches/slicerCache1.xml",
        "application/vnd.ms-excel.slicerCache+xml",
        f'<slicerCacheDefinition xmlns="{X14}" name="Slicer_Air" sourceName="Air"><extLst>'
        f'<ext xmlns:x15="{X15}" uri="{{2F2917AC-EB37-4324-AD4E-5DD8C200BD13}}">'
        '<x15:tableSlicerCache tableId="1" column="2"/></ext></extLst></slicerCacheDefinition>',
    )  # fmt: skip
    sheet_extension = (
        f'<ext xmlns:x15="{X15}" uri="{{3A4CF648-6AED-40f4-86FF-DC5316D8AED3}}"><x14:slicerList xmlns:x14="{X14}">'
        f'<x14:slicer xmlns:r="{RELATED}" r:id="{_last_id(data, SHEET)}"/></x14:slicerList></ext>'
    )
    book_extension = (
        f'<ext xmlns:x15="{X15}" uri="{{46BE6895-7355-4a93-B00E-2C351335B9C9}}"><x15:slicerCaches '
        f'xmlns:x14="{X14}"><x14:slicerCache xmlns:r="{RELATED}" r:id="{_last_id(data, WORKBOOK)}"/>'
        "</x15:slicerCaches></ext>"
    )
    data = extended(data, SHEET, "</worksheet>", sheet_extension)
    return extended(data, WORKBOOK, "</workbook>", book_extension)


def timeline() -> bytes:
    """A sheet with a timeline."""
    data = with_part(
        made(log), SHEET, f"{MICROSOFT}/2011/relationships/timeline", "xl/timelines/timeline1.xml",
        "application/vnd.ms-excel.timeline+xml",
        f'<timelines xmlns="{X15}"><timeline name="Date" cache="Timeline_Date" caption="Date" level="2" '
        'selectionLevel="2"/></timelines>',
    )  # fmt: skip
    data = with_part(
        data, WORKBOOK, f"{MICROSOFT}/2011/relationships/timelineCache", "xl/timelineCaches/timelineCache1.xml",
        "application/vnd.ms-excel.timelineCache+xml",
        f'<timelineCacheDefinition xmlns="{X15}" name="Timeline_Date" sourceName="Date"><pivotTables/>'
        '<state minimalRefreshVersion="6" lastRefreshVersion="6" pivotCacheId="1" filterType="unknown"/>'
        "</timelineCacheDefinition>",
    )  # fmt: skip
    sheet_extension = (
        f'<ext xmlns:x15="{X15}" uri="{{7E03D99C-DC04-49d9-9315-930204A7B6E9}}"><x15:timelineRefs>'
        f'<x15:timelineRef xmlns:r="{RELATED}" r:id="{_last_id(data, SHEET)}"/></x15:timelineRefs></ext>'
    )
    book_extension = (
        f'<ext xmlns:x15="{X15}" uri="{{D0CA8CA8-9F24-4464-BF8E-62219DCF47F9}}"><x15:timelineCacheRefs>'
        f'<x15:timelineCacheRef xmlns:r="{RELATED}" r:id="{_last_id(data, WORKBOOK)}"/></x15:timelineCacheRefs></ext>'
    )
    data = extended(data, SHEET, "</worksheet>", sheet_extension)
    return extended(data, WORKBOOK, "</workbook>", book_extension)


def newest_chart() -> bytes:
    """A box-and-whisker chart, of the kind that stands in a part of its own with a fallback picture."""

    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        log(book, sheet)
        sheet.insert_textbox("E8", "beside")

    drawing = "xl/drawings/drawing1.xml"
    space = "http://schemas.microsoft.com/office/drawing/2014/chartex"
    chart = (
        f'<cx:chartSpace xmlns:cx="{space}" xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main">'
        '<cx:chartData><cx:data id="0"><cx:numDim type="val"><cx:f>Log!$C$2:$C$5</cx:f></cx:numDim></cx:data>'
        '</cx:chartData><cx:chart><cx:plotArea><cx:plotAreaRegion><cx:series layoutId="boxWhisker">'
        '<cx:dataId val="0"/></cx:series></cx:plotAreaRegion></cx:plotArea></cx:chart></cx:chartSpace>'
    )
    data = with_part(
        made(fill), drawing, f"{MICROSOFT}/2014/relationships/chartEx", "xl/charts/chartEx1.xml",
        "application/vnd.ms-office.chartex+xml", chart,
    )  # fmt: skip
    frame = (
        "<xdr:twoCellAnchor><xdr:from><xdr:col>4</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>1</xdr:row>"
        "<xdr:rowOff>0</xdr:rowOff></xdr:from><xdr:to><xdr:col>9</xdr:col><xdr:colOff>0</xdr:colOff>"
        "<xdr:row>9</xdr:row><xdr:rowOff>0</xdr:rowOff></xdr:to>"
        '<mc:AlternateContent xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006">'
        f'<mc:Choice xmlns:cx1="{MICROSOFT}/drawing/2015/9/8/chartex" Requires="cx1"><xdr:graphicFrame macro="">'
        '<xdr:nvGraphicFramePr><xdr:cNvPr id="9" name="Box"/><xdr:cNvGraphicFramePr/></xdr:nvGraphicFramePr>'
        '<xdr:xfrm><a:off x="0" y="0"/><a:ext cx="0" cy="0"/></xdr:xfrm><a:graphic><a:graphicData '
        f'uri="{space}"><cx:chart xmlns:cx="{space}" xmlns:r="{RELATED}" r:id="{_last_id(data, drawing)}"/>'
        "</a:graphicData></a:graphic></xdr:graphicFrame></mc:Choice><mc:Fallback/></mc:AlternateContent>"
        "<xdr:clientData/></xdr:twoCellAnchor></xdr:wsDr>"
    )
    return replaced(data, drawing, "</xdr:wsDr>", frame)


def drawn_rules() -> bytes:
    """Sparklines, data bars of the newer kind, a picture in the header, an outline and a 1904 calendar."""

    def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        log(book, sheet)
        sheet.add_sparkline("D2", {"range": "Log!A2:C2"})
        sheet.conditional_format("B2:B5", {"type": "data_bar", "data_bar_2010": True})
        sheet.data_validation("A2:A9", {"validate": "list", "source": [1, 2]})
        sheet.ignore_errors({"number_stored_as_text": "A1:A9"})
        sheet.set_row(3, None, None, {"level": 1, "hidden": True})

    return made(fill, date_1904=True)


BOOKS = {
    "slicer": slicer(),
    "timeline": timeline(),
    "newest chart": newest_chart(),
    "drawn rules": drawn_rules(),
    "dynamic array": made(lambda _, sheet: sheet.write_dynamic_array_formula("A1:A3", "=_xlfn.SEQUENCE(3)")),
}


@pytest.mark.parametrize("book", BOOKS)
def test_nothing_of_it_is_touched_and_all_of_it_comes_back(book: str, tmp_path: Path) -> None:
    package = open_package(BOOKS[book])
    edits = block(package, "Log")
    data = package.apply(edits)
    edited = open_package(data)
    assert edited.apply(edits) == data
    assert open_package(strip(edited)).members == package.members
    before = {member.name: member for member in package.members}
    after = {member.name: member for member in edited.members}
    changed = {name for name in before if after.get(name) != before[name]}
    expected = {
        "[Content_Types].xml", WORKBOOK, "xl/_rels/workbook.xml.rels", "xl/styles.xml", SHEET,
        "xl/worksheets/_rels/sheet1.xml.rels", "xl/tables/table1.xml",
    }  # fmt: skip
    assert changed <= expected
    assert not _errors(tmp_path / "after.xlsx", data) - _errors(tmp_path / "before.xlsx", BOOKS[book])


@pytest.mark.parametrize("book", ["slicer", "timeline", "drawn rules"])
def test_extension_lists_stay_last_and_unchanged(book: str) -> None:
    package = open_package(BOOKS[book])
    data = package.apply(block(package, "Log"))
    for part, end in ((SHEET, "</worksheet>"), (WORKBOOK, "</workbook>")):
        text = parts(BOOKS[book])[part].decode()
        if "<extLst>" in text:
            assert parts(data)[part].decode().endswith(text[text.rindex("<extLst>") :])
            assert parts(data)[part].decode().rstrip().endswith(f"</extLst>{end}")


def test_a_slicers_table_grows_and_keeps_its_id() -> None:
    data = open_package(BOOKS["slicer"]).apply(block(open_package(BOOKS["slicer"]), "Log"))
    table = parts(data)["xl/tables/table1.xml"]
    assert b'id="1"' in table and b'ref="A1:F5"' in table
    assert b'tableId="1"' in parts(data)["xl/slicerCaches/slicerCache1.xml"]


def _errors(path: Path, data: bytes) -> Counter[tuple[str, str]]:
    path.write_bytes(data)
    result = OpenXmlValidator(file_format=FileFormat.MICROSOFT_365, max_errors=0).validate(path)
    errors = (error for error in result.errors if error.severity is ValidationSeverity.ERROR)
    return Counter((error.part_uri, error.description) for error in errors)
