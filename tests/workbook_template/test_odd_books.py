"""Whatever stands in a racer's own workbook: it is read, or refused in one sentence; never a fault of ours."""

from __future__ import annotations

import re
from datetime import date, time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.workbook import Workbook

from engine_rules.logbook import LogbookError
from tests.workbook_template.racers_books import LAYOUTS
from workbook_template.hosts.blocks import blocks_from_file, blocks_from_workbook
from workbook_template.hosts.protocol import CellError, CellValue, SheetBlock
from workbook_template.read import read_logbooks

CORPUS = Path(__file__).parents[3] / "shared" / "corpus" / "workbooks"
ODD: tuple[CellValue, ...] = (
    None, "", " ", "same", '"', "Run", "Cyl 3", "#3", "Left bank", "72/80", "+2 rear", "-2 #7", "10.42@127", "°F",
    "1/0", "Total", "mph", "Jets", "Car", "0", "²", "=1+1", 0.0, -1.0, 1e300, 3.0, 17.0, True, date(2026, 4, 4),
    time(10, 30), CellError("#DIV/0!"), "x" * 500, "Mixture, % (strapline)", "Cylinder (strapline)",
)  # fmt: skip


def blocks_of(layout: str) -> tuple[SheetBlock, ...]:
    return blocks_from_workbook(LAYOUTS[layout]())


def check(blocks: tuple[SheetBlock, ...]) -> None:
    try:
        for book in read_logbooks(blocks):
            assert book.logbook.runs and book.logbook.engine.cylinders
    except LogbookError as refused:
        assert "\n" not in str(refused) and len(str(refused)) < 600


@pytest.mark.parametrize("layout", LAYOUTS)
def test_odd_cells_anywhere(layout: str) -> None:
    blocks = blocks_of(layout)
    known = {block.name: block for block in blocks}

    @settings(max_examples=25, deadline=None)
    @given(st.data())
    def one(data: st.DataObject) -> None:
        name = data.draw(st.sampled_from(sorted(known)))
        rows = [list(row) for row in known[name].rows]
        for _ in range(data.draw(st.integers(1, 3))):
            row = data.draw(st.integers(0, len(rows) - 1))
            rows[row][data.draw(st.integers(0, len(rows[row]) - 1))] = data.draw(st.sampled_from(ODD))
        changed = SheetBlock(name, 1, 1, tuple(map(tuple, rows)))
        check(tuple(changed if block.name == name else block for block in blocks))

    one()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(st.sampled_from(ODD), min_size=6, max_size=6), min_size=1, max_size=8))
def test_sheets_of_odd_cells(rows: list[list[CellValue]]) -> None:
    check((SheetBlock("Log", 1, 1, tuple(map(tuple, rows))),))


@pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus of workbooks is not beside the repository")
def test_workbooks_that_are_no_logs() -> None:
    paths = [path for path in sorted(CORPUS.rglob("*")) if re.fullmatch(r"\.xls[xm]", path.suffix)]
    assert paths
    for path in paths:
        try:
            blocks = blocks_from_file(path)
        except LogbookError:
            continue
        with pytest.raises(LogbookError, match=r"no log of runs|is empty|no plug reading"):
            read_logbooks(blocks)


def test_a_book_with_a_title_only_is_refused() -> None:
    book = Workbook()
    book.worksheets[0]["A1"] = "Our season"
    with pytest.raises(LogbookError, match="no log of runs was found"):
        read_logbooks(blocks_from_workbook(book))
