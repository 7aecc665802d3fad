"""The open document as a question: every sheet in bulk, the marks of what is ours, the selected cell."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

MARK_PREFIX = "_wt_"

# com.sun.star.sheet.CellFlags and FormulaResult
VALUE, DATETIME, STRING, FORMULA = 1, 2, 4, 16
WITH_FIELDS = 512
ERROR_RESULT = 4
# com.sun.star.util.NumberFormat
DATE, TIME, LOGICAL = 2, 4, 1024
# What Calc calls its errors, as a workbook's file writes them; any other is one of Calc's own.
ERROR_CODES = {
    32767: "#N/A", 502: "#VALUE!", 503: "#NUM!", 504: "#REF!", 519: "#VALUE!", 521: "#NULL!", 524: "#REF!",
    525: "#NAME?", 532: "#DIV/0!",
}  # fmt: skip


def sheets_of(doc: Any) -> Iterator[Any]:
    """Every sheet, in the order of the document."""
    for at in range(doc.Sheets.Count):
        yield doc.Sheets.getByIndex(at)


def blocks(doc: Any) -> list[dict[str, Any]]:
    """Every sheet's values from A1 to its last used cell."""
    null = doc.NullDate
    epoch = datetime(null.Year, null.Month, null.Day)
    kinds: dict[int, int] = {}
    return [
        {"name": sheet.Name, "first_row": 1, "first_column": 1, "rows": _rows(doc, sheet, epoch, kinds)}
        for sheet in sheets_of(doc)
    ]


def _rows(doc: Any, sheet: Any, epoch: datetime, kinds: dict[int, int]) -> list[list[Any]]:
    used = used_range(sheet)
    if used is None:
        return []
    rows = [[None if value == "" else value for value in row] for row in used.getDataArray()]
    for at, code in _errors(used):
        rows[at[0]][at[1]] = {"error": code}
    for group in alike(used):
        kind = _kind(doc, group.getByIndex(0).NumberFormat, kinds)
        if kind & (DATE | TIME | LOGICAL):
            for area in group.RangeAddresses:
                _tell(rows, area, kind, epoch)
    return rows


def used_range(sheet: Any) -> Any:
    """From A1 to the last cell that holds anything; None for an empty sheet."""
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    end = cursor.RangeAddress
    whole = sheet.getCellRangeByPosition(0, 0, end.EndColumn, end.EndRow)
    held = whole.queryContentCells(VALUE | DATETIME | STRING | FORMULA).RangeAddresses
    if not held:
        return None
    last_column, last_row = max(area.EndColumn for area in held), max(area.EndRow for area in held)
    return sheet.getCellRangeByPosition(0, 0, last_column, last_row)


def alike(cells: Any) -> Iterator[Any]:
    """The cells of a range in groups of one look each."""
    groups = cells.getUniqueCellFormatRanges()
    for at in range(groups.Count):
        yield groups.getByIndex(at)


def _kind(doc: Any, key: int, kinds: dict[int, int]) -> int:
    if key not in kinds:
        kinds[key] = doc.NumberFormats.getByKey(key).Type
    return kinds[key]


def _tell(rows: list[list[Any]], area: Any, kind: int, epoch: datetime) -> None:
    """Say of numbers that they are dates, times or truth values."""
    for row in rows[area.StartRow : area.EndRow + 1]:
        for column in range(area.StartColumn, area.EndColumn + 1):
            value = row[column]
            if isinstance(value, float):
                row[column] = bool(value) if kind & LOGICAL else _moment(value, kind, epoch)


def _moment(serial: float, kind: int, epoch: datetime) -> Any:
    moment = epoch + timedelta(days=int(serial // 1), milliseconds=round((serial % 1) * 86_400_000))
    if 0 <= serial < 1:
        return {"time": moment.time().isoformat()}
    return {"datetime": moment.isoformat()} if kind & DATE else serial


def _errors(used: Any) -> Iterator[tuple[tuple[int, int], str]]:
    for area in used.queryFormulaCells(ERROR_RESULT).RangeAddresses:
        for row in range(area.StartRow, area.EndRow + 1):
            for column in range(area.StartColumn, area.EndColumn + 1):
                code = used.getCellByPosition(column, row).getError()
                yield (row, column), ERROR_CODES.get(code, f"Err:{code}")


def marks(doc: Any) -> list[dict[str, Any]]:
    """The names that mark what is ours, each with the area that it stands for now."""
    found = []
    for at in range(doc.NamedRanges.Count):
        named = doc.NamedRanges.getByIndex(at)
        cells = named.getReferredCells() if named.Name.startswith(MARK_PREFIX) else None
        if cells is not None:
            area = cells.RangeAddress
            corners = [area.StartRow + 1, area.StartColumn + 1, area.EndRow + 1, area.EndColumn + 1]
            found.append({"name": named.Name, "sheet": doc.Sheets.getByIndex(area.Sheet).Name, "area": corners})
    return found


def selected(doc: Any) -> dict[str, Any] | None:
    """The selected cell and its link; None where no single cell is selected."""
    chosen = doc.CurrentSelection
    if chosen is None or not chosen.supportsService("com.sun.star.sheet.SheetCellRange"):
        return None
    cell, area = chosen.getCellByPosition(0, 0), chosen.RangeAddress
    if (area.StartRow, area.StartColumn) != (area.EndRow, area.EndColumn) and not cell.IsMerged:
        return None
    sheet = doc.Sheets.getByIndex(area.Sheet)
    place = {"sheet": sheet.Name, "row": area.StartRow + 1, "column": area.StartColumn + 1}
    return {**place, "link": place_of_link(link_of(cell))}


def link_of(cell: Any) -> str:
    """The address that a cell is linked to; '' for none."""
    if cell.Type.value == "TEXT":
        fields = cell.getTextFields()
        links = [fields.getByIndex(at) for at in range(fields.Count)]
        return next((field.URL for field in links if hasattr(field, "URL")), "")
    return cell.Hyperlink or ""


def place_of_link(address: str) -> str | None:
    """'#'Next run'.A5' or '#Why!A5' as 'Next run!A5'; None for an address outside the document."""
    if not address.startswith("#"):
        return None
    sheet, _, cell = address[1:].replace("$", "").replace("!", ".").rpartition(".")
    return f"{sheet[1:-1].replace(chr(39) * 2, chr(39)) if sheet.startswith(chr(39)) else sheet}!{cell}"
