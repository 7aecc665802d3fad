"""The sheet that says why."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest

from engine_rules.logbook import Cell
from tests.workbook_template.advised_cases import four_settled, single_jet, v8_all_change, v8_unreadable
from tests.workbook_template.filled_books import fill, v8_log
from tests.workbook_template.test_card import printed_pages
from workbook_template.charts import draw_charts
from workbook_template.why import draw_why

SHOWN = {2: [Cell("Readings", "S12:S19"), Cell("Next run", "A4")], 4: [Cell("Readings", "U12")]}


def test_each_firing_has_its_row_and_each_fact_its_own() -> None:
    advice = v8_all_change().advice
    why = draw_why("Why", advice, SHOWN)
    cells = why.sheet.cells
    assert [cells[row, 1].value for row in why.rows.values()] == ["1", "2", "3", "4"]
    top = why.rows[2]
    assert (cells[top, 2].value, cells[top, 3].value) == ("fuel.corner_lean", advice.firings[1].says)
    assert [cells[top + at, 3].value for at in (1, 2, 3, 4)] == [
        "· cylinder 1, ring: trace",
        "· cylinder 3, ring: none",
        "· LF feeds 1 and 3 most",
        "· what number 1 concluded",
    ]
    assert [cells[top + at, 4].link for at in (1, 2)] == ["Readings!D10", "Readings!D12"]
    assert (top + 3, 4) not in cells
    assert cells[top + 4, 4].link == f"Why!A{why.rows[1]}"
    assert [cells[top + at, 5].value for at in (0, 1)] == ["LF from 74 to 76", "mixture of 1 and 3 comes to target"]
    assert [cells[top + at, 6].link for at in (0, 1)] == ["Readings!S12:S19", "Next run!A4"]
    assert why.link(2) == f"Why!A{top}" and why.link(99) is None


def test_firings_do_not_run_into_each_other_however_many_cells_show_them() -> None:
    many = {1: [Cell("Readings", f"S{row}") for row in range(2, 30)]}
    why = draw_why("Why", v8_all_change().advice, many)
    assert why.rows[2] == why.rows[1] + 28
    assert why.sheet.cells[why.rows[2], 1].value == "2"


def test_what_was_set_aside_and_what_is_missing_stand_below() -> None:
    cells = draw_why("Why", v8_all_change().advice, {}).sheet.cells
    said = {str(cell.value): place for place, cell in cells.items() if cell.value is not None}
    row = said["EGT of cylinder 5 fits no state of the engine"][0]
    assert (cells[row, 2].value, cells[row, 4].link) == ("cylinder 5", "Readings!J14")
    row = said["Compare with the reference set."][0]
    assert (cells[row, 2].value, cells[row, 4].link) == ("reference.egt", "Readings!J16")
    assert cells[row, 5].value == "lacks only: EGT of cylinder 7"
    assert said["Readings set aside"] < said["What is missing"] < said["pressure of the air"]


def test_no_firing_is_said_to_be_none() -> None:
    why = draw_why("Why", replace(v8_unreadable().advice, firings=()), {})
    assert not why.rows
    assert any(cell.value == "No rule fired." for cell in why.sheet.cells.values())


def test_charts_draw_what_was_read_and_nothing_else() -> None:
    assert len(draw_charts("Charts", v8_all_change().advice).charts) == 2
    assert len(draw_charts("Charts", single_jet().advice).charts) == 1
    unread = draw_charts("Charts", v8_unreadable().advice)
    assert not unread.charts and unread.cells[5, 2].value is None


def test_a_charts_range_holds_every_error_bar_about_zero() -> None:
    advice = v8_all_change().advice
    mixture = draw_charts("Charts", advice).charts[0]
    reach = max(abs(one.mixture_pct or 0.0) + (one.mixture_sd or 0.0) for one in advice.cylinders)
    assert mixture.y_range is not None
    assert mixture.y_range[1] == -mixture.y_range[0] >= reach
    narrow = draw_charts("Charts", four_settled().advice).charts[1]
    assert narrow.y_range == (-1.0, 1.0)


@pytest.mark.libreoffice
def test_the_written_sheets_print_with_their_headings(tmp_path: Path) -> None:
    log = v8_log(tmp_path / "LOG.xlsx")
    advice = v8_all_change().advice
    many = replace(advice, firings=tuple(replace(advice.firings[1], number=n, from_firings=()) for n in range(1, 40)))
    fill(log, [many])
    book = openpyxl.load_workbook(log)
    before = book.sheetnames.index("Why")
    pages = printed_pages(log)
    why = [page for page in pages if "What it concluded" in page]
    assert len(why) > 1
    assert sum("NEXT RUN" in page for page in pages) == 1
    assert sum("where each cylinder stands" in page for page in pages) == 1
    assert before == len(book.sheetnames) - 4
