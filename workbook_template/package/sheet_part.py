"""One worksheet part: finding and making rows and cells without disturbing their neighbours."""

from __future__ import annotations

import bisect
from collections.abc import Iterator

from lxml import etree

from workbook_template.package import markup
from workbook_template.package.draft import Draft
from workbook_template.package.errors import EditRefused
from workbook_template.package.grid import Area, cell_name, parse_area
from workbook_template.package.sheet_stream import cells_of
from workbook_template.package.workbook_part import Sheet

ORDER = (
    "sheetPr", "dimension", "sheetViews", "sheetFormatPr", "cols", "sheetData", "sheetCalcPr",
    "sheetProtection", "protectedRanges", "scenarios", "autoFilter", "sortState", "dataConsolidate",
    "customSheetViews", "mergeCells", "phoneticPr", "conditionalFormatting", "dataValidations", "hyperlinks",
    "printOptions", "pageMargins", "pageSetup", "headerFooter", "rowBreaks", "colBreaks", "customProperties",
    "cellWatches", "ignoredErrors", "smartTags", "drawing", "drawingHF", "legacyDrawing", "legacyDrawingHF",
    "picture", "oleObjects", "controls", "webPublishItems", "tableParts", "extLst",
)  # fmt: skip
_TRUE = ("1", "true", "on")


class SheetPart:
    """A worksheet of a draft, its cells by row and column (1-based)."""

    def __init__(self, draft: Draft, sheet: Sheet) -> None:
        self.draft = draft
        self.name = sheet.name
        self.part = sheet.part
        self.root = draft.root(sheet.part)
        data = self.root.find(markup.own(self.root, "sheetData"))
        if sheet.kind != "worksheet" or markup.local(self.root) != "worksheet" or data is None:
            raise EditRefused(sheet.name, "", "it is not a worksheet with cells; choose another sheet")
        self._data = data
        self._columns = self.root.findall(f"{markup.own(self.root, 'cols')}/{markup.own(self.root, 'col')}")
        self._rows: dict[int, etree._Element] = {}
        self._numbers: list[int] = []
        self._cells: dict[int, dict[int, etree._Element]] = {}
        self._rows_named = False
        self._cells_named: set[int] = set()
        self._index_rows()

    def child(self, name: str) -> etree._Element | None:
        return self.root.find(markup.own(self.root, name))

    def child_made(self, name: str) -> etree._Element:
        """The sheet's child of that name, made in its place where it is missing."""
        return markup.child_in_order(self.root, name, ORDER)

    def cell(self, row: int, column: int) -> etree._Element | None:
        return self._row_cells(row).get(column) if row in self._rows else None

    def rows(self) -> Iterator[tuple[int, etree._Element]]:
        """All rows with their numbers, in the file's order."""
        for number in self._numbers:
            yield number, self._rows[number]

    def cells(self) -> Iterator[tuple[int, int, etree._Element]]:
        """All cells with row and column, in the file's order."""
        for row in self._numbers:
            found = self._cells[row].items() if row in self._cells else cells_of(self._rows[row])
            for column, element in found:
                yield row, column, element

    def made_cell(self, row: int, column: int) -> etree._Element:
        """The cell, made in its place where it is missing, with the row's style or the column's."""
        found = self.cell(row, column)
        if found is not None:
            self._name_cells(row)
            return found
        style = self.style_at(row, column)
        parent = self._made_row(row)
        self._name_cells(row)
        cells = self._cells[row]
        element = markup.made(parent, "c", r=cell_name(row, column))
        if style:
            element.set("s", str(style))
        after = min((other for other in cells if other > column), default=None)
        if after is None:
            last = max(cells, default=None)
            parent.insert(0 if last is None else parent.index(cells[last]) + 1, element)
        else:
            parent.insert(parent.index(cells[after]), element)
        cells[column] = element
        return element

    def drop_cell(self, row: int, column: int) -> None:
        """Take a cell out altogether, value and style."""
        element = self.cell(row, column)
        if element is not None:
            self._name_cells(row)
            self._rows[row].remove(element)
            del self._cells[row][column]

    def style_at(self, row: int, column: int) -> int:
        """The style that shows at a place: the cell's, else the row's, else the column's, else 0."""
        element = self.cell(row, column)
        if element is not None:
            return _number(element.get("s"))
        line = self._rows.get(row)
        if line is not None and line.get("customFormat", "0").lower() in _TRUE:
            return _number(line.get("s"))
        for span in self._columns:
            if _number(span.get("min")) <= column <= _number(span.get("max")):
                return _number(span.get("style"))
        return 0

    def hidden(self, column: int) -> bool:
        return any(
            span.get("hidden", "0").lower() in _TRUE and _number(span.get("min")) <= column <= _number(span.get("max"))
            for span in self._columns
        )

    def widen(self, row: int, column: int) -> None:
        """Let the sheet's dimension and the row's spans reach the cell, where they are given."""
        dimension = self.child("dimension")
        if dimension is not None:
            area = parse_area(dimension.get("ref", ""))
            here = Area(row, column, row, column)
            if area is None:
                self.root.remove(dimension)
            elif not area.holds(row, column):
                dimension.set("ref", str(area.joined(here)))
        line = self._rows[row]
        spans = line.get("spans")
        if spans is not None:
            first, _, last = spans.partition(":")
            if not (first.isdecimal() and last.isdecimal()):
                del line.attrib["spans"]
            elif not int(first) <= column <= int(last):
                line.set("spans", f"{min(int(first), column)}:{max(int(last), column)}")

    def _index_rows(self) -> None:
        number = 0
        for line in self._data.iterchildren(markup.own(self._data, "row")):
            given = line.get("r")
            following = _number(given) if given else number + 1
            if following <= number:
                raise EditRefused(self.name, "", f"its rows are out of order near row {following}; open the "
                                  "workbook in the program that made it and save it again")  # fmt: skip
            number = following
            self._rows[number] = line
            self._numbers.append(number)

    def _row_cells(self, row: int) -> dict[int, etree._Element]:
        if row not in self._cells:
            self._cells[row] = dict(cells_of(self._rows[row]))
        return self._cells[row]

    def _made_row(self, row: int) -> etree._Element:
        self._name_rows()
        if row not in self._rows:
            line = markup.made(self._data, "row", r=str(row))
            at = bisect.bisect(self._numbers, row)
            if at == len(self._numbers):
                previous = self._rows[self._numbers[-1]] if self._numbers else None
                self._data.insert(0 if previous is None else self._data.index(previous) + 1, line)
            else:
                self._data.insert(self._data.index(self._rows[self._numbers[at]]), line)
            self._numbers.insert(at, row)
            self._rows[row] = line
        self._row_cells(row)
        return self._rows[row]

    def _name_rows(self) -> None:
        """Give every row its number, once: rows made later are born with theirs."""
        if self._rows_named:
            return
        self._rows_named = True
        for number, line in self._rows.items():
            if line.get("r") is None:
                line.set("r", str(number))

    def _name_cells(self, row: int) -> None:
        """Give every cell of a row its place, once: cells made later are born with theirs."""
        self._name_rows()
        if row in self._cells_named:
            return
        self._cells_named.add(row)
        for column, element in self._row_cells(row).items():
            if element.get("r") is None:
                element.set("r", cell_name(row, column))


def _number(text: str | None) -> int:
    return int(text) if text and text.isdecimal() else 0
