"""A workbook file's sheets as blocks of values, read in bulk."""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.workbook import Workbook
from openpyxl.worksheet._read_only import ReadOnlyWorksheet
from openpyxl.worksheet.worksheet import Worksheet

from engine_rules.logbook import LogbookError
from workbook_template.hosts.protocol import CellError, CellValue, SheetBlock

MOST_CELLS = 5_000_000
_ERROR_CODES = frozenset(
    ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#GETTING_DATA", "#SPILL!", "#CALC!")
)


def blocks_from_file(path: Path | str) -> tuple[SheetBlock, ...]:
    """Every sheet's used range, in the order of the book. Raises LogbookError for a file that cannot be read."""
    name = Path(path).name
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        try:
            return tuple(_block(sheet.title, _rows(sheet)) for sheet in book.worksheets)
        finally:
            book.close()
    except LogbookError:
        raise
    except FileNotFoundError:
        raise LogbookError(f"there is no file {name}; check the name and the folder") from None
    except PermissionError:
        raise LogbookError(f"{name} may not be read; close it elsewhere, or change who may read it") from None
    except (zipfile.BadZipFile, InvalidFileException):
        raise LogbookError(
            f"{name} is not an Excel workbook; open it in your spreadsheet and save it as .xlsx"
        ) from None
    except Exception as error:
        # Broken packages fail in any part of the library, with any exception.
        raise LogbookError(
            f"{name} cannot be read ({type(error).__name__}); open it in your spreadsheet and save it again as .xlsx"
        ) from error


def blocks_from_workbook(book: Workbook) -> tuple[SheetBlock, ...]:
    """The same of a workbook in memory; formulas count as their text."""
    return tuple(block_from_sheet(sheet) for sheet in book.worksheets)


def block_from_sheet(sheet: Worksheet, to_row: int | None = None) -> SheetBlock:
    """One sheet of a workbook in memory, down to a row where one is given."""
    return _block(sheet.title, sheet.iter_rows(max_row=to_row, values_only=True))


def _rows(sheet: ReadOnlyWorksheet) -> Iterable[Sequence[object]]:
    # The dimension that a file claims may be wrong or huge; without it rows are as long as they are.
    sheet.reset_dimensions()
    seen = 0
    for row in sheet.iter_rows(values_only=True):  # type: ignore[misc]
        seen += max(len(row), 1)
        if seen > MOST_CELLS:
            raise _too_large(sheet.title)
        yield row


def _block(name: str, rows: Iterable[Sequence[object]]) -> SheetBlock:
    values = [[_value(value) for value in row] for row in rows]
    while values and all(value is None for value in values[-1]):
        values.pop()
    width = max((_used(row) for row in values), default=0)
    if len(values) * width > MOST_CELLS:
        raise _too_large(name)
    return SheetBlock(name, 1, 1, tuple(tuple(row[:width] + [None] * (width - len(row))) for row in values))


def _too_large(name: str) -> LogbookError:
    return LogbookError(
        f"the sheet claims more than {MOST_CELLS:,} cells; delete what is empty past your data and save again", name
    )


def _used(row: Sequence[CellValue]) -> int:
    return next((at for at in range(len(row), 0, -1) if row[at - 1] is not None), 0)


def _value(value: object) -> CellValue:
    if value is None or isinstance(value, bool | datetime | date | time):
        return value
    if isinstance(value, str):
        return CellError(value) if value in _ERROR_CODES else value
    if isinstance(value, timedelta):
        within_a_day = timedelta() <= value < timedelta(days=1)
        return (datetime.min + value).time() if within_a_day else value / timedelta(days=1)
    if isinstance(value, int | float):
        return float(value)
    return str(value)
