"""What racers write around and into their lists: sums, days, remarks, units, ticks and dashes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

import pytest
from openpyxl.workbook import Workbook

from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.read import read_logbook

CYLINDERS = (1, 2, 3, 4)
RUN = ["Run", "Date", "Air temp", "Baro", "Jets", "Timing", "New plugs", "Clean cut", "ET"]
SEEN = ("ring", "strap", "EGT")
HEADS = [*RUN, *(f"Cyl {n} {what}" for n in CYLINDERS for what in SEEN)]
Row = list[Any]


def _row(number: int, seen: Sequence[Any] = ("thin line", "at bend", 1340), **changed: Any) -> Row:
    cells = dict(zip(RUN, [number, date(2026, 4, 12 + number), 70, 29.4, "72/80", 34, "yes", "yes", 10.4], strict=True))
    return [*(cells | changed).values(), *(4 * list(seen))]


def _rows(**changed: Any) -> list[Row]:
    return [_row(number, **changed) for number in (1, 2, 3)]


def _summary(label: str, column: int = 0) -> Row:
    row: Row = [None] * len(HEADS)
    row[column], row[2], row[8], row[-1] = label, 70, 10.4, 1340
    return row


def _headed(named: Callable[[int, str], str]) -> list[Row]:
    return [[*RUN, *(named(n, what) for n in CYLINDERS for what in SEEN)], *_rows()]


UNITS: Row = [None, None, "°F", "inHg", None, "°", None, None, "s", *(4 * [None, None, "°F"])]
SAID = {"Baro": '29.4"', "Timing": "34°", "ET": "10.4 s"}
DAYS = ("Mon 13", "Tuesday, 14", "Wed. 15")
ROWS: dict[str, list[Row]] = {
    "as it is": [HEADS, *_rows()],
    "a title": [["Our season"], [], HEADS, *_rows()],
    "a row of units": [HEADS, UNITS, *_rows()],
    "blank columns between": [[cell for one in row for cell in (one, None)] for row in (HEADS, *_rows())],
    "averages below": [HEADS, *_rows(), _summary("Average"), _summary("Best")],
    "averages named in the second column": [HEADS, *_rows(), _summary("Avg", column=1)],
    "averages in another language": [HEADS, *_rows(), _summary("Mittelwert")],
    "remarks below": [HEADS, *_rows(), [], ["all with the old carburetor, pressure from the tower"]],
    "days between": [HEADS, ["Saturday"], *_rows()[:2], ["Sunday"], _rows()[2]],
    "headings again each day": [HEADS, *_rows()[:2], [], HEADS, _rows()[2]],
    "units in the cells": [HEADS, *_rows(seen=("thin line", "at bend", "1340 °F"), **SAID)],
    "decimal commas": [HEADS, *_rows(Baro="29,4", ET="10,4")],
    "ticks": [HEADS, *_rows(**{"New plugs": "✔", "Clean cut": "x"})],
    "days as text": [HEADS, *(_row(n, Date=f"{day} April 2026") for n, day in enumerate(DAYS, start=1))],
    "days as numbers": [HEADS, *(_row(n, Date=f"04/{12 + n}/26") for n in (1, 2, 3))],
    "lines in the headings": [[head.replace(" ", "\n") for head in HEADS], *_rows()],
    "colons": [[f"{head}:" for head in HEADS], *_rows()],
    "#1": _headed(lambda n, what: f"{what.capitalize()} #{n}"),
    "(1)": _headed(lambda n, what: f"{what.capitalize()} ({n})"),
    "P1": _headed(lambda n, what: f"P{n} {what}"),
    "c1_": _headed(lambda n, what: f"c{n}_{what.lower()}"),
}  # fmt: skip


def _book(rows: Sequence[Row]) -> Workbook:
    book = Workbook()
    for row in rows:
        book.worksheets[0].append(row)
    return book


@pytest.mark.parametrize("rows", ROWS.values(), ids=ROWS.keys())
def test_the_same_three_runs_are_read(rows: list[Row]) -> None:
    log = read_logbook(blocks_from_workbook(_book(rows))).logbook
    plain = read_logbook(blocks_from_workbook(_book(ROWS["as it is"]))).logbook
    assert [run.name for run in log.runs] == ["1", "2", "3"]
    assert [(run.when, run.result.et_s and run.result.et_s.value) for run in log.runs] == [
        (run.when, run.result.et_s and run.result.et_s.value) for run in plain.runs
    ]
    for run, known in zip(log.runs, plain.runs, strict=True):
        assert run.air.pressure_pa is not None and known.air.pressure_pa is not None
        assert run.air.pressure_pa.value == pytest.approx(known.air.pressure_pa.value)
        assert run.conduct.new_plugs is not None and run.conduct.new_plugs.value
        for reading, other in zip(run.readings, known.readings, strict=True):
            assert [(one.kind, one.word) for one in reading.signs] == [(one.kind, one.word) for one in other.signs]
            assert reading.egt_c is not None and other.egt_c is not None
            assert reading.egt_c.value == pytest.approx(other.egt_c.value)


def test_a_remark_that_begins_like_an_average_is_a_runs_own() -> None:
    rows = [["Remark", *HEADS], *(["best one so far", *row] for row in _rows())]
    assert len(read_logbook(blocks_from_workbook(_book(rows))).logbook.runs) == 3


def test_a_dash_or_a_word_for_nothing_is_unknown() -> None:
    log = read_logbook(blocks_from_workbook(_book([HEADS, *_rows(seen=("thin line", "-", "n/a"), ET="DNF")]))).logbook
    assert all(run.result.et_s is None and len(run.readings[0].signs) == 1 for run in log.runs)
    assert all(run.readings[0].egt_c is None for run in log.runs)
