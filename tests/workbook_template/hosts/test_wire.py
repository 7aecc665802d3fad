"""Blocks and cells survive the way through JSON; sheets of ours travel as a workbook."""

from __future__ import annotations

import base64
import io
import json
from datetime import datetime, time

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbook_template.hosts import wire
from workbook_template.hosts.marks import Mark, Settled
from workbook_template.hosts.protocol import CellError, CellOut, Changes, SheetBlock, SheetOut, Style

texts = st.text(st.characters(codec="utf-8"), min_size=1, max_size=20)
numbers = st.floats(allow_nan=False, allow_infinity=False)
moments = st.datetimes(min_value=datetime(1900, 1, 1), max_value=datetime(2200, 1, 1))
values = st.one_of(
    st.none(), st.booleans(), numbers, texts, moments, st.times(), st.builds(CellError, st.just("#DIV/0!"))
)


def through_json(data: object) -> object:
    return json.loads(json.dumps(data, allow_nan=False))


@given(st.lists(st.lists(values, min_size=3, max_size=3), max_size=4))
def test_a_block_comes_back(rows: list[list[object]]) -> None:
    rows = [[*row[:2], "end"] for row in rows]  # blank ends are left off on purpose
    block = SheetBlock("Läufe", 1, 1, tuple(map(tuple, rows)))  # type: ignore[arg-type]
    again = wire.block_from_json(through_json(wire.block_to_json(block)))  # type: ignore[arg-type]
    assert again == block


@given(
    st.one_of(st.none(), st.booleans(), numbers, texts, moments),
    st.one_of(st.none(), st.builds(Style, bold=st.booleans(), wrap=st.booleans(), number_format=st.just("0.0"))),
    st.one_of(st.none(), st.just("Next run!A5")),
    st.one_of(st.none(), texts),
    st.one_of(st.none(), st.tuples(st.integers(1, 9), st.integers(1, 9))),
)
def test_a_cell_comes_back(
    value: str | float | bool | datetime | None,
    style: Style | None,
    link: str | None,
    note: str | None,
    like: tuple[int, int] | None,
) -> None:
    cell = CellOut(value, style, link, note, like)
    cells = {"Readings": {(4, 17): cell}}
    assert wire.cells_from_json(through_json(wire.cells_to_json(cells))) == cells  # type: ignore[arg-type]


def test_integers_are_numbers_and_truth_values_are_not() -> None:
    assert wire.value_from_json(3) == 3.0 and isinstance(wire.value_from_json(3), float)
    assert wire.value_from_json(True) is True


@pytest.mark.parametrize("data", [[1], {"date": "2026-03-14", "time": "10:00"}, {"sheet": "x"}, {"datetime": "noon"}])
def test_what_is_no_value_is_refused(data: object) -> None:
    with pytest.raises(ValueError):
        wire.value_from_json(data)


def test_blank_ends_are_left_off() -> None:
    block = wire.block_from_json({"name": "S", "rows": [[None, None], ["a", None], [None, None]]})
    assert block == SheetBlock("S", 1, 1, ((None,), ("a",)))


def test_sheets_travel_as_a_workbook() -> None:
    sheet = SheetOut("Why", {(1, 1): CellOut("=no formula", note="n", link="Runs!A1")}, freeze=(5, 1))
    settled = Settled(Changes(sheets=(sheet,), removed=("Today",)), (Mark("_wt_sheet_Why", "Why", (1, 1, 1, 1)),))
    data = through_json(wire.settled_to_json(settled))
    assert isinstance(data, dict)
    book = openpyxl.load_workbook(io.BytesIO(base64.b64decode(data["workbook"])))
    assert book.sheetnames == ["Why"] and book["Why"]["A1"].value == "=no formula"
    assert data["sheets"] == [{"name": "Why", "freeze": [5, 1], "gridlines": False}]
    assert data["removed"] == ["Today"]
    assert wire.mark_from_json(data["marks"][0]) == settled.marks[0]


def test_a_time_keeps_its_seconds() -> None:
    assert wire.value_from_json(through_json(wire.value_to_json(time(9, 30, 15)))) == time(9, 30, 15)
