"""The racer's own workbook: twelve layouts of one season, all read and filled like the ordinary one."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest
from openpyxl.styles import Border, Font, PatternFill, Side

from engine_rules import advise
from tests.workbook_template.racers_books import LAYOUTS
from tests.workbook_template.racers_season import advice_of, ordinary_advice, season
from workbook_template.fill import plan
from workbook_template.headings import OURS
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.hosts.file import FileHost
from workbook_template.read import ReadBook, read_logbook
from workbook_template.wording import ERROR_FORMAT

layouts = pytest.mark.parametrize("layout", LAYOUTS)


def filled(path: Path) -> ReadBook:
    """Fill the newest run of the workbook, as the command does it."""
    host = FileHost(path)
    book = read_logbook(host.read())
    host.apply(plan(book, [advise(book.logbook)]))
    return read_logbook(host.read())


def test_the_season_says_something() -> None:
    stages = {run: advice["stage"] for run, advice in ordinary_advice().items()}
    assert set(stages) == {run["name"] for run in season()}
    assert len(set(stages.values())) > 1 and any(advice["jets"] for advice in ordinary_advice().values())


@layouts
def test_each_layout_gives_the_advice_of_the_ordinary_one(layout: str) -> None:
    book = read_logbook(blocks_from_workbook(LAYOUTS[layout]()))
    assert advice_of(book.logbook) == ordinary_advice()
    assert book.how_read is not None and not book.how_read.questions
    assert all(not line.question for line in book.how_read.headings)


@layouts
def test_every_value_keeps_its_own_cell(layout: str) -> None:
    pages = LAYOUTS[layout]()
    for run in read_logbook(blocks_from_workbook(pages)).logbook.runs:
        assert run.air.temp_c is not None and run.air.temp_c.cell is not None
        shown = pages[run.air.temp_c.cell.sheet][run.air.temp_c.cell.ref].value
        assert str(shown) == run.air.temp_c.written
        for reading in run.readings:
            ring = reading.sign("ring")
            assert ring is not None and ring.cell is not None
            assert pages[ring.cell.sheet][ring.cell.ref].value == ring.written


@layouts
def test_filling_adds_and_moves_nothing_and_a_second_fill_changes_no_byte(layout: str, tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    LAYOUTS[layout]().save(path)
    pages = openpyxl.load_workbook(path)
    book = filled(path)
    once = path.read_bytes()
    after = openpyxl.load_workbook(path)
    for page in pages.worksheets:
        for row in page.iter_rows():
            for cell in row:
                if cell.value is not None:
                    assert after[page.title][cell.coordinate].value == cell.value
    newest = book.logbook.run()
    for cylinder in book.logbook.engine.numbers:
        place = book.place(newest.name, cylinder, "why")
        assert place is not None
        cell = after[place[0]].cell(*place[1:])
        assert cell.value and cell.hyperlink is not None
        assert pages[place[0]].cell(*place[1:]).value is None
    ours = [cell for page in after.worksheets for row in page.iter_rows() for cell in row if _is_ours(cell.value)]
    assert ours and all(cell.comment is not None for cell in ours)
    filled(path)
    assert path.read_bytes() == once


def _is_ours(value: object) -> bool:
    return isinstance(value, str) and value.endswith(OURS)


def test_what_is_added_looks_like_the_racers_own_cells(tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    pages = LAYOUTS["a row for each cylinder, the run in each"]()
    for row in pages["Log"].iter_rows(min_row=3):
        for cell in row:
            cell.font = Font(name="Courier New", size=9, bold=cell.row == 3)
            cell.fill = PatternFill("solid", fgColor="FFFFF2CC")
            cell.border = Border(bottom=Side("thin"))
            cell.number_format = cell.number_format if cell.is_date else "0.000"
    pages.save(path)
    book = filled(path)
    page = openpyxl.load_workbook(path)["Log"]
    place = book.place("14", 3, "mixture_pct")
    assert place is not None
    value, heading = page.cell(*place[1:]), page.cell(3, place[2])
    for cell in (value, heading):
        assert (cell.font.name, cell.font.size) == ("Courier New", 9)
        assert cell.fill.fgColor.rgb == "FFFFF2CC" and cell.border.bottom.style == "thin"
    assert heading.font.bold and not value.font.bold
    assert value.number_format == ERROR_FORMAT and heading.number_format == "General"
