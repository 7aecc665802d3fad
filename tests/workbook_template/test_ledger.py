"""The sheet Ledger and the column Learned, in real files read back with openpyxl."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from engine_rules import advise
from tests.workbook_template.filled_books import fill, read, v8_log
from workbook_template.build import BlankOptions, append_run, build_blank
from workbook_template.fill import LEDGER
from workbook_template.ledger import HEADING_ROW, HEADINGS

SPEEDS = (58.00, 58.03, 58.01, 57.99, 58.60, 57.20)
JETS = ("76", "76", "76", "76", "74", "74")
TIMING = (34.0, 34.0, 34.0, 34.0, 34.0, 37.0)
RINGS = ("wide", "wide", "wide", "wide", "thin line", "thin line")
MARKS = ("at bend", "at bend", "at bend", "at bend", "at bend", "past bend")


@pytest.fixture
def log(tmp_path: Path) -> Path:
    book = build_blank(BlankOptions(timing_hardware="tabs"))
    for at, speed in enumerate(SPEEDS):
        run = {
            "name": str(at + 1),
            "when": datetime(2026, 4, 1, 10) + timedelta(hours=at),
            "temp_c": 20.0,
            "pressure_pa": 100_000.0,
            "pressure_kind": "station",
            "humidity_pct": 40.0,
            "total_timing_deg": TIMING[at],
            "timing_known_safe": True,
            "new_plugs": True,
            "clean_cut": True,
            "full_load_s": 9.0,
            "speed_m_s": speed,
            "weight_kg": 1400.0,
        }
        jets = {f"jets.{corner}": JETS[at] for corner in ("LF", "RF", "LR", "RR")}
        plugs = {n: {"plug": "B", "ring": RINGS[at], "strap_mark": MARKS[at]} for n in range(1, 9)}
        append_run(book, run | jets, plugs)
    path = tmp_path / "LOG.xlsx"
    book.save(path)
    return path


def rows(page: Worksheet) -> list[list[str]]:
    return [[str(cell.value or "") for cell in row] for row in page.iter_rows(min_row=HEADING_ROW + 1)]


def test_each_change_is_a_row_the_newest_on_top(log: Path) -> None:
    fill(log, [advise(read(log).logbook)])
    page = openpyxl.load_workbook(log)[LEDGER]
    assert tuple(cell.value for cell in page[HEADING_ROW]) == HEADINGS
    newest, older, *_ = rows(page)
    assert newest[:3] == ["5", "6", "total timing 34 to 37°"] and newest[6] == "hurt"
    assert older[:3] == ["4", "5", "all jets 76 to 74"] and older[6] == "helped"
    assert "rings −0.69 mm" in older[3] and "rings −0.8 ±" in older[4]
    assert "in standard air and at equal weight +3" in older[5]


def test_runs_are_linked_to_their_rows(log: Path) -> None:
    fill(log, [advise(read(log).logbook)])
    book = openpyxl.load_workbook(log)
    location = book[LEDGER].cell(HEADING_ROW + 1, 2).hyperlink.location
    name, _, ref = location.rpartition("!")
    assert name.strip("'") == "Runs" and str(book["Runs"][ref].value) == "6"


def test_what_the_log_taught_stands_beside_the_default(log: Path) -> None:
    fill(log, [advise(read(log).logbook)])
    table = read(log).tables["targets"]
    taught = {str(row.raw("key")): row.raw("learned") for row in table.rows() if row.raw("learned") is not None}
    assert set(taught) == {"ring.mm_per_pct", "strap.share_per_pct"}
    assert str(taught["ring.mm_per_pct"]).startswith("learned from 1 change: 0.1")
    assert str(taught["ring.mm_per_pct"]).endswith("mm per % fuel, usual 0.13")
    assert any("learned from 2 changes" not in row[3] and "learned from" in row[3] for row in rows(
        openpyxl.load_workbook(log)[LEDGER]
    ))  # fmt: skip


def test_what_was_taught_goes_when_an_older_run_is_advised(log: Path) -> None:
    fill(log, [advise(read(log).logbook)])
    fill(log, [advise(read(log).logbook, "2")])
    assert all(row.raw("learned") is None for row in read(log).tables["targets"].rows())


def test_filling_twice_is_filling_once(log: Path) -> None:
    fill(log, [advise(read(log).logbook)])
    once = rows(openpyxl.load_workbook(log)[LEDGER])
    fill(log, [advise(read(log).logbook)])
    assert rows(openpyxl.load_workbook(log)[LEDGER]) == once


def test_a_hurt_change_stands_on_the_card(log: Path) -> None:
    fill(log, [advise(read(log).logbook)])
    card = openpyxl.load_workbook(log)["Next run"]
    said = " ".join(str(cell.value) for row in card.iter_rows() for cell in row if cell.value)
    assert "going back to the setting of run 5 is advised" in said


def test_a_log_without_a_change_says_so(tmp_path: Path) -> None:
    path = v8_log(tmp_path / "LOG.xlsx")
    fill(path, [advise(read(path).logbook)])
    assert rows(openpyxl.load_workbook(path)[LEDGER])[0][2] == "Nothing was changed between two runs yet."
