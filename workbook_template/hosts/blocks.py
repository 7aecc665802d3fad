"""A workbook file's sheets as blocks of values, read in bulk."""

from __future__ import annotations

import gc
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path

import openpyxl
from openpyxl.utils import column_index_from_string
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.workbook import Workbook
from openpyxl.worksheet._read_only import ReadOnlyWorksheet
from openpyxl.worksheet.worksheet import Worksheet
from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum

from engine_rules.logbook import LogbookError
from workbook_template.hosts.protocol import CellError, CellValue, SheetBlock
from workbook_template.hosts.stray_cells import rows_near
from workbook_template.package import Package, PackageRefused, open_package

MOST_CELLS = 5_000_000
MOST_BLANK_ROWS = 5000  # in a row, before the sheet is read cell by cell instead
MOST_FAST_BYTES = 2**28
MOST_LIST_BYTES = 2**20
_ERROR_CODES = frozenset(
    ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#GETTING_DATA", "#SPILL!", "#CALC!")
)


def blocks_from_file(path: Path | str) -> tuple[SheetBlock, ...]:
    """Every sheet's used range, in the order of the book. Raises LogbookError for a file that cannot be read."""
    name = Path(path).name
    try:
        return _read_file(Path(path))
    except LogbookError:
        raise
    except PackageRefused as refused:
        raise LogbookError(f"{name}: {refused.reason}") from refused
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


def _read_file(path: Path) -> tuple[SheetBlock, ...]:
    if _has_escaped_names(path):
        package = open_package(path)
        return tuple(_near_block(package, name) for name in package.worksheet_names)
    if may_read_fast(path):
        try:
            return _read_fast(path)
        except CalamineError:
            pass  # such as an encoding that it does not know
    return _read_careful(path)


def _read_careful(path: Path) -> tuple[SheetBlock, ...]:
    book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    try:
        return tuple(_careful_block(path, sheet) for sheet in book.worksheets)
    finally:
        book.close()


def _careful_block(path: Path, sheet: ReadOnlyWorksheet) -> SheetBlock:
    try:
        return block_of_rows(sheet.title, _rows(sheet))
    except _TooLarge:
        return _near_block(open_package(path), sheet.title)


def _near_block(package: Package, name: str) -> SheetBlock:
    rows = rows_near(package, name)
    if rows is None:
        raise _TooLarge(name)
    return block_of_rows(name, rows)


def _has_escaped_names(path: Path) -> bool:
    """True where a part is led to by a name with a percent sign in it, which the libraries do not undo."""
    with zipfile.ZipFile(path) as package:
        lists = [member for member in package.infolist() if _BOOK_LIST.search(member.filename)]
        return any(b"%" in package.read(member) for member in lists if member.file_size < MOST_LIST_BYTES)


def _read_fast(path: Path) -> tuple[SheetBlock, ...]:
    """The same through calamine, ten times as fast; for what `may_read_fast` lets through."""
    with _collector_paused(), CalamineWorkbook.from_path(str(path)) as book:
        sheets = [sheet.name for sheet in book.sheets_metadata if sheet.typ == SheetTypeEnum.WorkSheet]
        return tuple(
            block_of_rows(name, book.get_sheet_by_name(name).to_python(skip_empty_area=False)) for name in sheets
        )


@contextmanager
def _collector_paused() -> Iterator[None]:
    """Without the search for garbage: rows of cells make none, and to look through all of them again is dear."""
    paused = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if paused:
            gc.enable()


def may_read_fast(path: Path) -> bool:
    """Whether calamine reads this file as openpyxl would, and safely.

    It takes the room of a sheet's whole rectangle at once, however far off one cell is, and shows an error value as an
    empty cell. So the cells must say where they are, in plain letters, not far off, and none may be an error.
    """
    with zipfile.ZipFile(path) as package:
        sheets = [member for member in package.infolist() if _SHEET_PART.search(member.filename)]
        if not sheets or sum(member.file_size for member in sheets) > MOST_FAST_BYTES:
            return False
        return all(_is_plain(package.read(member)) for member in sheets)


_BOOK_LIST = re.compile(r"_rels/workbook[^/]*[.]rels$", re.IGNORECASE)
_SHEET_PART = re.compile(r"worksheets/[^/]*[.]xml$", re.IGNORECASE)
_ROW = re.compile(rb"<row\b[^>]*?\br=\"(\d+)\"")
_FAR_COLUMN = re.compile(rb"r=\"([A-Z]{2,})\d")


def _is_plain(sheet: bytes) -> bool:
    rows = _ROW.findall(sheet)
    count = sheet.count(b"<row") - sheet.count(b"<rowBreaks")
    if not rows or len(rows) != count or b't="e"' in sheet:
        return False
    letters = set(_FAR_COLUMN.findall(sheet))
    width = max((column_index_from_string(letter.decode()) for letter in letters), default=26)
    return max(map(int, rows)) * width <= MOST_CELLS


def blocks_from_workbook(book: Workbook) -> tuple[SheetBlock, ...]:
    """The same of a workbook in memory; formulas count as their text."""
    return tuple(block_from_sheet(sheet) for sheet in book.worksheets)


def block_from_sheet(sheet: Worksheet, to_row: int | None = None) -> SheetBlock:
    """One sheet of a workbook in memory, down to a row where one is given."""
    return block_of_rows(sheet.title, sheet.iter_rows(max_row=to_row, values_only=True))


def _rows(sheet: ReadOnlyWorksheet) -> Iterable[Sequence[object]]:
    # The dimension that a file claims may be wrong or huge; without it rows are as long as they are.
    sheet.reset_dimensions()
    seen = blank = 0
    for row in sheet.iter_rows(values_only=True):  # type: ignore[misc]
        seen += max(len(row), 1)
        blank = 0 if row else blank + 1
        if seen > MOST_CELLS or blank > MOST_BLANK_ROWS:
            raise _TooLarge(sheet.title)
        yield row


def block_of_rows(name: str, rows: Iterable[Sequence[object]]) -> SheetBlock:
    """A sheet from A1 on, without the blank rows and columns at its ends. Raises LogbookError for too many cells."""
    # Most cells are numbers already; a call for each would cost more than all else here.
    values = [[value if type(value) is float else _value(value) for value in row] for row in rows]
    while values and all(value is None for value in values[-1]):
        values.pop()
    width = max((_used(row) for row in values), default=0)
    if len(values) * width > MOST_CELLS:
        raise _TooLarge(name)
    return SheetBlock(name, 1, 1, tuple(tuple(row[:width] + [None] * (width - len(row))) for row in values))


class _TooLarge(LogbookError):
    def __init__(self, sheet: str) -> None:
        text = f"the sheet claims more than {MOST_CELLS:,} cells; delete what is empty past your data and save again"
        super().__init__(text, sheet)


def _used(row: Sequence[CellValue]) -> int:
    at = len(row)
    while at and row[at - 1] is None:
        at -= 1
    return at


def _value(value: object) -> CellValue:
    if isinstance(value, str):
        return CellError(value) if value in _ERROR_CODES else value or None
    if value is None or isinstance(value, bool | datetime | time | CellError):
        return value
    if isinstance(value, date):
        return datetime.combine(value, time())
    if isinstance(value, timedelta):
        within_a_day = timedelta() <= value < timedelta(days=1)
        return (datetime.min + value).time() if within_a_day else value / timedelta(days=1)
    if isinstance(value, int | float):
        return float(value)
    return str(value)
