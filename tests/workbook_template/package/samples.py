"""What the tests of the package editor share: the corpus, a scratch workbook, a block of cells, hand-made packages."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
import xlsxwriter
from openpyxl import Workbook
from openpyxl.chart import Reference, ScatterChart, Series
from openpyxl.comments import Comment
from openpyxl.formatting.rule import CellIsRule
from openpyxl.styles import Font, PatternFill
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.table import Table
from xlsxwriter.worksheet import Worksheet

from workbook_template.package import CellEdit, CellStyle, Edits, Package

CORPUS = Path(__file__).resolve().parents[4] / "shared" / "corpus"
FIRST, SECOND = "Card", "Reasons"


def corpus(folder: str) -> list[Path]:
    """The workbooks of a corpus folder; empty where the corpus is not beside the repository."""
    return sorted(path for path in (CORPUS / folder).glob("*") if path.suffix != ".md")


needs_corpus = pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus is not beside the repository")


def scratch() -> Workbook:
    """Two sheets with a table, a chart, a drop-down, links, a note, a rule, print set-up and a formula."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = FIRST
    sheet.append(["Corner", "Jet"])
    for number in range(4):
        sheet.append([number, 70 + 2 * number])
    sheet["A1"].font = Font(bold=True, color="FFFF0000")
    sheet["D1"] = "=SUM(B2:B5)"
    sheet["D2"] = "why"
    sheet["D2"].hyperlink = f"#{SECOND}!A1"
    sheet["D3"].hyperlink = "https://example.org/"
    sheet["D4"].comment = Comment("changed", "tester")
    sheet.add_table(Table(displayName="Jets", ref="A1:B5"))
    chart = ScatterChart()
    xs, ys = Reference(sheet, min_col=1, min_row=2, max_row=5), Reference(sheet, min_col=2, min_row=2, max_row=5)
    chart.series.append(Series(ys, xs, title="Jets"))
    sheet.add_chart(chart, "F2")
    choices = DataValidation(type="list", formula1=f"{SECOND}!$A$1:$A$3")
    choices.add("C1:C9")
    sheet.add_data_validation(choices)
    rule = CellIsRule(operator="lessThan", formula=["3"], fill=PatternFill(bgColor="FFFF00FF"))
    sheet.conditional_formatting.add("A2:A5", rule)
    sheet.print_title_rows = "1:1"
    sheet.print_area = "A1:D20"
    sheet.freeze_panes = "A2"
    reasons = book.create_sheet(SECOND)
    reasons["A1"] = "because"
    reasons.auto_filter.ref = "A1:B3"
    return book


def block(package: Package, sheet: str, *, column: int | None = None, sheets: bool = True) -> Edits:
    """A block of 3 x 5 cells with looks, links and notes right of the used range, and the two scratch sheets."""
    at = column or package.free_column(sheet, 3)
    cells = [
        CellEdit(sheet, 1, at, "Mixture (%)", CellStyle(bold=True, fill="FFFF00")),
        CellEdit(sheet, 1, at + 1, "Why"),
        CellEdit(sheet, 1, at + 2, "Sure"),
    ]
    for row in range(2, 6):
        cells += [
            CellEdit(sheet, row, at, 1.5 * row, CellStyle(fill="FFEEEE"), number_format="0.0"),
            CellEdit(sheet, row, at + 1, "=not a formula", CellStyle(underline=True), link=f"#{SECOND}!A{row}"),
            CellEdit(sheet, row, at + 2, row % 2 == 0, note="two lines\nof note" if row < 4 else None),
        ]
    if not sheets:
        return Edits(tuple(cells))
    return Edits(tuple(cells), scratch=scratch(), sheets=(FIRST, SECOND))


def made(fill: Callable[[xlsxwriter.Workbook, Worksheet], object], **options: object) -> bytes:
    """A workbook from XlsxWriter with one sheet "Log", filled by the caller."""
    stream = io.BytesIO()
    with xlsxwriter.Workbook(stream, {"in_memory": True, **options}) as book:
        fill(book, book.add_worksheet("Log"))
    return stream.getvalue()


def log(_book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
    """A plain log: a heading row and four rows in columns A to C."""
    for row, values in enumerate([("Run", "Air", "ET"), (1, 70, 9.1), (2, 72, 9.2), (3, 75, 9.2), (4, 71, 9.1)]):
        sheet.write_row(row, 0, values)


def parts(data: bytes) -> dict[str, bytes]:
    """The content of every member by name, in the file's order."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(contents: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in contents.items():
            archive.writestr(zipfile.ZipInfo(name, (2020, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
    return stream.getvalue()


def replaced(data: bytes, part: str, old: str, new: str) -> bytes:
    """The package with a piece of one part's text exchanged; the piece must be there."""
    contents = parts(data)
    text = contents[part].decode()
    assert old in text
    contents[part] = text.replace(old, new, 1).encode()
    return zipped(contents)


def with_part(data: bytes, source: str, kind: str, part: str, content_type: str, content: str) -> bytes:
    """The package with one more part that `source` leads to by a relationship rIdX of type `kind`."""
    contents = parts(data)
    contents[part] = content.encode()
    override = f'<Override PartName="/{part}" ContentType="{content_type}"/></Types>'
    types = contents["[Content_Types].xml"].decode()
    contents["[Content_Types].xml"] = types.replace("</Types>", override).encode()
    folder, _, name = source.rpartition("/")
    rels = f"{folder}/_rels/{name}.rels"
    empty = '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"></Relationships>'
    text = contents.get(rels, empty.encode()).decode()
    identifier = f"rIdX{len(re.findall('<Relationship ', text))}"
    entry = f'<Relationship Id="{identifier}" Type="{kind}" Target="/{part}"/></Relationships>'
    contents[rels] = text.replace("</Relationships>", entry).encode()
    return zipped(contents)
