"""A worksheet read once from end to end: each row is let go after use, so no size exhausts memory."""

from __future__ import annotations

import io
from collections.abc import Iterator

from lxml import etree

from workbook_template.package import markup
from workbook_template.package.grid import parse_cell

_ROWS = (f"{{{markup.MAIN}}}row", f"{{{markup.STRICT_MAIN}}}row")


class SheetStream:
    """The rows of a worksheet part, then, once all were read, what else the part holds (`rest`)."""

    def __init__(self, content: bytes, part: str) -> None:
        self._content = content
        self._part = part
        self.rest: etree._Element | None = None

    def rows(self) -> Iterator[tuple[int, etree._Element]]:
        """Every row with its number (1-based), counted where the file does not say it."""
        number = 0
        try:
            events = etree.iterparse(
                io.BytesIO(self._content), events=("end",), tag=_ROWS,
                resolve_entities=False, no_network=True, load_dtd=False,
            )  # fmt: skip
            for _, row in events:
                given = row.get("r", "")
                number = int(given) if given.isdecimal() else number + 1
                yield number, row
                _let_go(row)
            self.rest = events.root
        except etree.XMLSyntaxError as error:
            raise markup.not_xml(self._part) from error

    def cells(self) -> Iterator[tuple[int, int, etree._Element]]:
        """Every cell with row and column (1-based)."""
        for number, row in self.rows():
            for column, cell in cells_of(row):
                yield number, column, cell


def cells_of(row: etree._Element) -> Iterator[tuple[int, etree._Element]]:
    """The cells of a row with their columns (1-based), counted where the file does not say them."""
    column = 0
    for cell in row.iterchildren(markup.own(row, "c")):
        place = parse_cell(cell.get("r", ""))
        column = place[1] if place else column + 1
        yield column, cell


def _let_go(row: etree._Element) -> None:
    row.clear()
    parent = row.getparent()
    while parent is not None and row.getprevious() is not None:
        del parent[0]
