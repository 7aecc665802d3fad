"""Several lists on one sheet: below each other they are told apart, side by side they are refused; nothing is mixed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from openpyxl.workbook import Workbook

from engine_rules.logbook import LogbookError
from workbook_template.book import ReadBook
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.log_file import advise_each, fill_cars, open_log
from workbook_template.read import read_logbooks

HEADS = [
    "Run",
    "New plugs",
    "Clean cut",
    "Jets",
    "Timing",
    *(f"Cyl {n} {what}" for n in (1, 2) for what in ("ring", "EGT (F)")),
]


def _runs(first: int, ring: str = "thin line", count: int = 2) -> list[list[object]]:
    return [[first + at, "yes", "yes", "72/80", 34, ring, 1300 + at, "trace", 1310 + at] for at in range(count)]


def _book(*parts: tuple[str, Sequence[Sequence[object]]], across: int = 0) -> Workbook:
    """Lists below each other, or so many columns apart side by side, each with its title above."""
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Log"
    top = left = 1
    for title, runs in parts:
        sheet.cell(top, left, title or None)
        for down, row in enumerate([HEADS, *runs], start=1):
            for column, value in enumerate(row):
                sheet.cell(top + down, left + column, value)
        if across:
            left += across
        else:
            top += len(runs) + 4
    return book


def _read(book: Workbook) -> tuple[ReadBook, ...]:
    return read_logbooks(blocks_from_workbook(book))


def _names(book: ReadBook) -> list[str]:
    return [run.name for run in book.logbook.runs]


def test_two_cars_below_each_other_are_two_cars(tmp_path: Path) -> None:
    book = _book(("The blue one", _runs(1)), ("The red one", _runs(1, "wide")))
    read = _read(book)
    assert [one.car for one in read] == ["The blue one", "The red one"]
    rings = [one.logbook.runs[0].readings[0].sign("ring") for one in read]
    assert [ring.word for ring in rings if ring is not None] == ["thin line", "wide"]
    book.save(tmp_path / "log.xlsx")
    log = open_log(tmp_path / "log.xlsx")
    advised = [(one.book, list(advise_each(one, ["1", "2"]))) for one in log.cars()]
    fill_cars(log, advised)
    places = {place for one, _ in advised for place in one.headings({"1", "2"})}
    assert len({row for _, row, _ in places}) == 2 and len(places) == 2 * len(advised[0][0].headings({"1", "2"}))
    again = open_log(tmp_path / "log.xlsx")
    assert [_names(one) for one in again.books] == [["1", "2"]] * 2


def test_the_headings_may_be_repeated_within_one_log() -> None:
    (read,) = _read(_book(("", _runs(1)), ("", _runs(3)), ("after the rebuild", _runs(5, count=3))))
    assert _names(read) == ["1", "2", "3", "4", "5", "6", "7"]


def test_days_above_the_lists_tell_runs_apart_that_are_numbered_anew() -> None:
    (read,) = _read(_book(("Saturday 4 Apr 2026", _runs(1)), ("Sunday, 5 Apr 2026", _runs(1, "wide"))))
    assert _names(read) == ["2026-04-04/1", "2026-04-04/2", "2026-04-05/1", "2026-04-05/2"]


def test_the_same_runs_again_without_a_word_whose_they_are_are_refused() -> None:
    with pytest.raises(LogbookError, match=r"Log!A8: this list tells of run 1 again.*above each list"):
        _read(_book(("", _runs(1)), ("", _runs(1, "wide"))))


@pytest.mark.parametrize("apart", [len(HEADS), len(HEADS) + 2])
def test_lists_side_by_side_are_refused_by_the_second(apart: int) -> None:
    book = _book(("Blue", _runs(1)), ("Red", _runs(3, "wide")), across=apart)
    place = book["Log"].cell(2, 1 + apart).coordinate
    with pytest.raises(LogbookError, match=f"Log!{place}: a second list stands beside the first"):
        _read(book)
