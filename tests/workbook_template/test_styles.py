"""Blank workbooks in the styles wide and form: what is written there is read as in the ordinary one, and filled."""

from __future__ import annotations

from typing import Any

import pytest

from engine_rules import advise
from engine_rules.logbook import Cell, Logbook, LogbookError
from tests.workbook_template.racers_season import without_cells
from tests.workbook_template.styled_books import runs_of, styled
from workbook_template.build import BlankOptions, build_blank
from workbook_template.build_form import COPIES, LEAST_MM, LEAST_WIDE_MM, MM_PT, UNITS
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.read import read_logbook
from workbook_template.recognise import is_ordinary

ENGINES = {
    "V8": BlankOptions(timing_hardware="tabs"),
    "V8 on two carburetors": BlankOptions(carburetion="two four-barrels"),
    "inline four on a two-barrel": BlankOptions(cylinders=4, arrangement="inline", carburetion="one two-barrel"),
    "V6 on a two-barrel": BlankOptions(cylinders=6, carburetion="one two-barrel"),
    "inline six, injected, SI": BlankOptions(cylinders=6, arrangement="inline", carburetion="EFI", units="si"),
    "V12, a barrel each, SI": BlankOptions(cylinders=12, carburetion="individual runners", units="si"),
    "inline eight": BlankOptions(cylinders=8, arrangement="inline", firing_order=(1, 6, 2, 5, 8, 3, 7, 4)),
    "inline twelve": BlankOptions(cylinders=12, arrangement="inline", firing_order=tuple(range(1, 13))),
    "single": BlankOptions(cylinders=1, arrangement="inline", carburetion="single", fuel="methanol"),
    "flat four, side-draughts": BlankOptions(cylinders=4, arrangement="flat", carburetion="side-draughts"),
}
STYLES = ("wide", "form")


def plain(value: Any) -> Any:
    """A log as plain data without the cells, and without what the ways of reading say of themselves."""
    if isinstance(value, Cell):
        return None
    if isinstance(value, dict):
        return {key: plain(one) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    fields = getattr(value, "__dataclass_fields__", None)
    if fields is None:
        return value
    left = {"places", "findings", "cell"}
    return {name: plain(getattr(value, name)) for name in fields if name not in left}


def read(options: BlankOptions, style: str) -> Logbook:
    return read_logbook(blocks_from_workbook(styled(options, style))).logbook


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("options", ENGINES.values(), ids=ENGINES.keys())
def test_the_same_log_is_read_in_every_style(options: BlankOptions, style: str) -> None:
    ordinary, other = read(options, "rows"), read(options, style)
    assert len(ordinary.runs) == len(runs_of(options)) and all(run.readings for run in ordinary.runs)
    assert plain(other.engine) == plain(ordinary.engine)
    assert plain(other.runs) == plain(ordinary.runs)
    assert plain(other) == plain(ordinary)
    assert [finding.text for finding in other.findings] == [finding.text for finding in ordinary.findings]


@pytest.mark.parametrize("style", STYLES)
def test_the_same_advice_comes_of_it(style: str) -> None:
    options = ENGINES["V8"]
    assert without_cells(advise(read(options, style)).as_json()) == without_cells(
        advise(read(options, "rows")).as_json()
    )


@pytest.mark.parametrize("style", STYLES)
def test_every_heading_of_the_style_is_sure(style: str) -> None:
    book = read_logbook(blocks_from_workbook(styled(ENGINES["V8"], style)))
    assert book.how_read is not None and not book.how_read.questions and not book.how_read.engine
    assert {(line.sure, line.question) for line in book.how_read.headings} == {("sure", "")}


@pytest.mark.parametrize("style", STYLES)
def test_a_blank_one_says_that_no_reading_is_there(style: str) -> None:
    blocks = blocks_from_workbook(build_blank(BlankOptions(style=style)))
    assert not is_ordinary(blocks)
    with pytest.raises(LogbookError, match="there is no plug reading yet; the sheet Start here says how to begin"):
        read_logbook(blocks)


@pytest.mark.parametrize("options", ENGINES.values(), ids=ENGINES.keys())
def test_a_form_is_one_page_with_room_for_a_pen(options: BlankOptions) -> None:
    book = build_blank(BlankOptions(**{**_fields(options), "style": "form"}))
    pages = [page for page in book if page.title.startswith("Run ")]
    assert len(pages) == COPIES
    page = pages[0]
    heights = {row: page.row_dimensions[row].height / MM_PT for row in range(1, page.max_row + 1)}
    assert sum(heights.values()) <= 259.0
    written = [height for height in heights.values() if height > 6.0]
    assert min(written) >= LEAST_WIDE_MM - 0.1 and len(written) >= 8
    inline, unit_mm = options.arrangement == "inline", 190.0 / UNITS
    areas = {str(area).partition(":")[0]: area.size["columns"] * unit_mm for area in page.merged_cells.ranges}
    labels = [cell for row in page.iter_rows() for cell in row if cell.value in ("Ring", "Strap mark", "Porcelain")]
    assert labels and all(areas[cell.coordinate] >= (19.0 if inline else 15.5) for cell in labels)
    assert inline or min(written) >= LEAST_MM - 0.1
    assert (page.page_setup.fitToWidth, page.page_setup.fitToHeight) == (1, 1)


def _fields(options: BlankOptions) -> dict[str, Any]:
    return {name: getattr(options, name) for name in options.__dataclass_fields__}


def test_another_style_is_refused() -> None:
    with pytest.raises(LogbookError, match="style 'tall' is not known; use one of rows, wide, form"):
        build_blank(BlankOptions(style="tall"))
