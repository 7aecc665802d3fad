"""A file's sheets as blocks: the fast reader and the careful one read alike; the fast one stays clear of traps."""

from __future__ import annotations

import zipfile
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest

from engine_rules.logbook import LogbookError
from workbook_template.hosts import blocks
from workbook_template.hosts.blocks import blocks_from_file, may_read_fast
from workbook_template.hosts.protocol import CellError

CORPUS = Path(__file__).parents[4] / "shared" / "corpus"
BOOKS = sorted((CORPUS / "workbooks").glob("*.xls[xm]"))
# openpyxl shows a date format's number as a number where the format is its own default for elapsed days.
READ_APART = {"umya_aaa.xlsx"}


def _careful(path: Path) -> tuple[blocks.SheetBlock, ...] | None:
    try:
        return blocks._read_careful(path)
    except Exception:
        return None


def test_the_corpus_is_there() -> None:
    assert len(BOOKS) >= 55


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.name)
def test_both_readers_read_alike(path: Path) -> None:
    if not may_read_fast(path) or path.name in READ_APART:
        assert path.name  # the careful reader takes it, or refuses it
        return
    slow = _careful(path)
    if slow:  # openpyxl refuses some, and sees no sheet in others
        assert blocks._read_file(path) == slow


@pytest.mark.filterwarnings("ignore")
def test_many_books_go_the_fast_way() -> None:
    assert sum(may_read_fast(path) for path in BOOKS) >= 20


def test_a_far_off_cell_an_error_and_rows_without_places_go_the_careful_way(tmp_path: Path) -> None:
    assert not may_read_fast(CORPUS / "bad" / "huge_dimension.xlsx")
    book = openpyxl.Workbook()
    book.active["A1"] = "#N/A"  # type: ignore[index]
    book.save(tmp_path / "error.xlsx")
    assert not may_read_fast(tmp_path / "error.xlsx")
    assert blocks_from_file(tmp_path / "error.xlsx")[0].at(1, 1) == CellError("#N/A")
    assert not may_read_fast(CORPUS / "workbooks" / "poi_59746_NoRowNums.xlsx")


def test_values_come_as_the_protocol_says(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.append([1, True, "text", datetime(2026, 4, 11), None, 2.5])
    page.append([])
    page["C4"] = "far"
    book.save(tmp_path / "plain.xlsx")
    assert may_read_fast(tmp_path / "plain.xlsx")
    (block,) = blocks_from_file(tmp_path / "plain.xlsx")
    assert block.rows[0] == (1.0, True, "text", datetime(2026, 4, 11), None, 2.5)
    assert block.at(4, 3) == "far" and block.at(2, 1) is None and block.at(99, 99) is None
    assert (block.last_row, block.last_column) == (4, 6)


def test_what_is_no_workbook_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "not.xlsx").write_text("no zip")
    with zipfile.ZipFile(tmp_path / "empty.xlsx", "w"):
        pass
    for name in ("not.xlsx", "empty.xlsx", "missing.xlsx"):
        with pytest.raises(LogbookError) as refused:
            blocks_from_file(tmp_path / name)
        assert name in str(refused.value) and "\n" not in str(refused.value)
