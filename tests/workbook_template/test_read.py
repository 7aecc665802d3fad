"""Whole workbooks, read: what is understood, what is found odd, what is refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, time
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.workbook import Workbook

from engine_rules.logbook import LogbookError
from tests.workbook_template.logged_books import column_of, logged_book, put, read, setting
from workbook_template.build import BlankOptions, append_run, build_blank
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.hosts.protocol import CellError, SheetBlock
from workbook_template.read import read_logbook

Change = Callable[[Workbook], str]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda b: put(b, "Runs", "Air temp (°F)", 1, "warm"), "'warm' is not a number; write Air temp as a number"),
        (lambda b: put(b, "Runs", "Humidity (%)", 1, 140), "Humidity of 140 % is not possible"),
        (lambda b: put(b, "Runs", "Total timing (°)", 1, 80), "between -20 and 70"),
        (lambda b: put(b, "Runs", "Pressure (inHg)", 1, 1013), "write '1013 hPa'"),
        (lambda b: put(b, "Runs", "Jet LF", 1, 999), "jet 999 is not on the ladder"),
        (lambda b: put(b, "Runs", "Pull", 1, "pas"), "did you mean 'pass'?"),
        (lambda b: put(b, "Runs", "New plugs", 1, "perhaps"), "neither yes nor no"),
        (lambda b: put(b, "Runs", "Run", 2, 17.0), "run 17 stands in the list twice"),
        (lambda b: put(b, "Runs", "Lambda left", 1, 12.9), "between 0.5 and 2"),
        (lambda b: put(b, "Runs", "ET (s)", 1, "#DIV/0!"), "shows #DIV/0!"),
        (lambda b: put(b, "Readings", "Plug", 1, "Z"), "plug Z is not on the shelf"),
        (lambda b: put(b, "Readings", "Run", 1, "99"), "there is no run 99 on the sheet Runs"),
        (lambda b: put(b, "Readings", "Cylinder", 1, 9), "the engine has no cylinder 9"),
        (lambda b: put(b, "Readings", "Cylinder", 2, 1), "cylinder 1 of run 17 stands in the list twice"),
        (lambda b: put(b, "Readings", "Cylinder", 2, None), "this row has no cylinder"),
        (lambda b: put(b, "Readings", "Ring", 1, "thn line"), "did you mean 'thin line'?"),
        (lambda b: put(b, "Readings", "Ring (mm)", 1, -0.5), "Ring of -0.5 mm is not possible"),
        (lambda b: put(b, "Readings", "Strap mark", 1, 140), "not possible"),
        (lambda b: put(b, "Readings", "EGT (°F)", 1, 5), "EGT of 5 °F is not possible"),
        (lambda b: put(b, "Readings", "Also seen", 1, "strap meltd"), "did you mean 'strap melted'?"),
        (lambda b: put(b, "Jets", "Bore (in)", 1, None), "jet 60 has no bore"),
        (lambda b: put(b, "Jets", "Bore (in)", 1, 60), "Bore of 60 in is not possible"),
        (lambda b: put(b, "Jets", "Jet", 2, 60), "jet 60 stands in the list twice"),
        (lambda b: put(b, "Jets", "Jet", 1, None), "this row has no jet"),
        (lambda b: put(b, "Plugs", "Plug", 2, "a"), "plug a stands in the list twice"),
        (lambda b: put(b, "Plugs", "Heat order", 2, None), "plug B has no heat order"),
        (lambda b: put(b, "Plugs", "Tip", 2, "pointed"), "not a word for Tip"),
        (lambda b: put(b, "Targets", "Yours", 1, 99), "must lie between 2 and 30"),
        (lambda b: put(b, "Targets", "Yours", 1, "many"), "'many' is not a number"),
        (lambda b: setting(b, "Firing order", "1-8-4-3-6-5-7-7"), "must name each cylinder once"),
        (lambda b: setting(b, "Firing order", datetime(2025, 3, 2)), "made a date of the firing order"),
        (lambda b: setting(b, "Fuel", "diesel"), "'diesel' is not a word for Fuel"),
        (lambda b: setting(b, "Fuel", None), "Fuel is needed; write one of: leaded gasoline"),
        (lambda b: setting(b, "Firing order", None), "Firing order is needed"),
        (lambda b: setting(b, "Tab radius", "#REF!"), "shows #REF!"),
    ],
)
def test_what_cannot_be_used_is_refused_by_its_cell(change: Change, says: str) -> None:
    book = logged_book()
    place = change(book)
    with pytest.raises(LogbookError) as refused:
        read(book).run("17")
    assert says in str(refused.value)
    assert str(refused.value).startswith(place + ": ")
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("name", ["Runs", "Readings", "Engine", "Jets", "Plugs"])
def test_a_missing_sheet_is_named(name: str) -> None:
    book = logged_book()
    del book[name]
    with pytest.raises(LogbookError, match=f"no sheet named {name}"):
        read(book)


def test_a_missing_sheet_of_targets_leaves_the_defaults() -> None:
    book = logged_book()
    del book["Targets"]
    assert read(book).logbook.targets["fit.laps"] == 2.0


@pytest.mark.parametrize(
    ("sheet", "heading"),
    [
        ("Runs", "Run"),
        ("Readings", "Run"),
        ("Readings", "Cylinder"),
        ("Jets", "Bore (in)"),
        ("Plugs", "Plug"),
        ("Targets", "Yours"),
    ],
)
def test_a_missing_heading_is_named(sheet: str, heading: str) -> None:
    book = logged_book()
    book[sheet].cell(3, column_of(book[sheet], heading)).value = "something else"
    with pytest.raises(LogbookError, match=f"{sheet}: the heading {heading.split(' (')[0]} was not found"):
        read(book)


def test_an_unknown_unit_in_a_heading_is_refused() -> None:
    book = logged_book()
    book["Runs"].cell(3, column_of(book["Runs"], "Pressure (inHg)")).value = "Pressure (furlongs)"
    with pytest.raises(LogbookError, match=r"Runs!G3: the unit furlongs of the heading Pressure is not known"):
        read(book)


def test_an_unknown_target_is_refused_with_the_nearest() -> None:
    book = logged_book()
    put(book, "Targets", "Yours", 1, 5)
    put(book, "Targets", "Target", 1, "fit.ful_load")
    with pytest.raises(LogbookError, match=r"did you mean fit.full_load_s\?"):
        read(book)


def test_own_targets_count() -> None:
    book = logged_book()
    put(book, "Targets", "Yours", 1, 5)
    assert read(book).logbook.targets["fit.full_load_s"] == 5.0


@pytest.mark.parametrize("book", [Workbook(), Workbook(iso_dates=True)])
def test_an_empty_workbook_is_refused(book: Workbook) -> None:
    with pytest.raises(LogbookError, match="the workbook is empty"):
        read(book)
    with pytest.raises(LogbookError, match="the workbook is empty"):
        read_logbook(())


def test_shares_must_add_up() -> None:
    book = logged_book()
    page = book["Engine"]
    row = next(cell.row for cell in page["E"] if cell.value == "From LF") + 1
    page.cell(row, 5).value = 0.9
    with pytest.raises(LogbookError, match=rf"Engine!A{row}: the shares of this cylinder add up to 1.45"):
        read(book)
    for column, percent in enumerate((40, 20, 20, 20), start=5):
        page.cell(row, column).value = percent
    assert read(book).logbook.engine.cylinders[0].shares == pytest.approx({"LF": 0.4, "RF": 0.2, "LR": 0.2, "RR": 0.2})


def test_without_shares_the_usual_ones_are_taken_and_said() -> None:
    book = logged_book()
    page = book["Engine"]
    row = next(cell.row for cell in page["E"] if cell.value == "From LF")
    page.delete_cols(5, 4)
    log = read(book).logbook
    assert log.engine.cylinders[0].shares["LF"] == pytest.approx(0.45)
    assert any("no share of each station" in finding.text for finding in log.findings)
    assert page.cell(row, 5).value is None


def test_stations_of_the_racers_own_are_kept() -> None:
    book = build_blank()
    page = book["Engine"]
    row = next(cell.row for cell in page["E"] if cell.value == "From LF")
    page.cell(row, 5).value = "From Nozzle A"
    book["Runs"].cell(3, column_of(book["Runs"], "Jet LF")).value = "Jet nozzle a"
    put(book, "Runs", "Jet nozzle a", 1, 70)
    log = read(book).logbook
    assert [station.name for station in log.engine.stations] == ["Nozzle A", "RF", "LR", "RR"]
    assert log.runs[0].tuneup.jets["Nozzle A"].value == "70"
    assert any("Nozzle A is no usual station" in finding.text for finding in log.findings)


def test_columns_are_found_in_any_order_below_a_title_beside_columns_of_the_racers() -> None:
    book = logged_book()
    page = book["Runs"]
    rows = [[cell.value for cell in row] for row in page.iter_rows(min_row=3)]
    del book["Runs"]
    page = book.create_sheet(" runs ")
    for blank in range(6):
        page.cell(blank + 1, 2, "our log" if blank == 0 else None)
    for offset, row in enumerate(rows):
        for index, value in enumerate([f"own {offset}", *reversed(row)], start=2):
            page.cell(7 + offset, index, value)
    assert [run.name for run in read(book).logbook.runs] == ["17", "18"]
    moved = read(book).logbook.runs[0].air.temp_c
    assert moved is not None and moved.value == pytest.approx(25.0)
    assert moved.cell is not None and moved.cell.sheet == " runs "


def test_units_of_the_two_systems_may_be_mixed() -> None:
    book = logged_book()
    page = book["Runs"]
    page.cell(3, column_of(page, "Air temp (°F)")).value = "AIR TEMP  [c]"
    page.cell(3, column_of(page, "Pressure (inHg)")).value = "Pressure (mbar)"
    put(book, "Runs", "AIR TEMP  [c]", 1, 30)
    put(book, "Runs", "Pressure (mbar)", 1, "29.92 inHg")
    air = read(book).logbook.runs[0].air
    assert air.temp_c is not None and air.temp_c.value == 30.0
    assert air.pressure_pa is not None and air.pressure_pa.value == pytest.approx(101_320.8, rel=1e-6)


def test_headings_without_units_follow_the_rest_of_the_workbook_and_are_said() -> None:
    book = logged_book(BlankOptions(units="si"))
    page = book["Runs"]
    page.cell(3, column_of(page, "Air temp (°C)")).value = "Air temp"
    log = read(book).logbook
    assert log.runs[0].air.temp_c is not None and log.runs[0].air.temp_c.value == pytest.approx(25.0)
    assert "Runs: the heading Air temp names no unit; °C was taken" in [finding.text for finding in log.findings]


def test_a_heading_that_is_a_unit_is_that_unit() -> None:
    book = logged_book(BlankOptions(units="si"))
    page = book["Runs"]
    page.cell(3, column_of(page, "Speed (km/h)")).value = "mph"
    put(book, "Runs", "mph", 1, 100)
    speed = read(book).logbook.runs[0].result.speed_m_s
    assert speed is not None and speed.value == pytest.approx(44.704)


def test_the_ring_of_the_porcelain_and_of_the_shell_are_kept_apart() -> None:
    book = logged_book()
    page = book["Readings"]
    page.cell(3, column_of(page, "Shell ring")).value = "Base ring"
    put(book, "Readings", "Base ring", 1, "half")
    reading = read(book).logbook.runs[0].readings[0]
    assert reading.sign("shell_ring") is not None and reading.sign("shell_ring").word == "half"  # type: ignore[union-attr]
    assert reading.sign("ring").word == "thin line"  # type: ignore[union-attr]


def test_a_measured_ring_counts_before_its_word_and_a_contradiction_is_said() -> None:
    book = logged_book()
    put(book, "Readings", "Ring (mm)", 1, 1.0)
    put(book, "Readings", "Ring (mm)", 2, 3.9)
    log = read(book).logbook
    first, second = log.runs[0].readings[:2]
    assert [sign.amount for sign in first.signs if sign.kind == "ring"] == [1.0]
    assert first.sign("ring").word is None  # type: ignore[union-attr]
    assert second.sign("ring").amount == pytest.approx(3.9)  # type: ignore[union-attr]
    assert [str(finding.cell) for finding in log.findings] == ["Readings!E5"]


def test_same_copies_the_row_above_and_the_cylinders_last_run() -> None:
    book = logged_book()
    for heading in ("Place", "Air temp (°F)", "Jet LF", "Pull", "New plugs"):
        put(book, "Runs", heading, 2, "same")
    put(book, "Readings", "Ring", 9, '"')
    put(book, "Readings", "Plug", 9, "Ditto")
    log = read(book).logbook
    first, second = log.runs
    assert second.place is not None and (second.place.value, second.place.written) == ("home strip", "same")
    assert second.air.temp_c is not None and second.air.temp_c.value == first.air.temp_c.value  # type: ignore[union-attr]
    assert str(second.air.temp_c.cell) == "Runs!F5"
    assert second.tuneup.jets["LF"].value == first.tuneup.jets["LF"].value
    assert second.conduct.pull is not None and second.conduct.pull.value == "pass"
    plug = second.readings[0].plug
    assert plug is not None and (plug.value, str(plug.cell)) == ("B", "Readings!C12")
    assert second.readings[0].sign("ring").word == "thin line"  # type: ignore[union-attr]


def test_same_of_readings_goes_by_time_not_by_row() -> None:
    book = build_blank()
    append_run(book, {"name": "2", "when": datetime(2025, 6, 15)}, {1: {"ring": "same"}})
    append_run(book, {"name": "1", "when": datetime(2025, 6, 14)}, {1: {"ring": "heavy"}})
    log = read(book).logbook
    assert [run.name for run in log.runs] == ["1", "2"]
    assert log.runs[1].readings[0].sign("ring").word == "heavy"  # type: ignore[union-attr]


def test_same_with_nothing_above_is_unknown_and_said() -> None:
    book = logged_book()
    put(book, "Runs", "Place", 1, "same")
    log = read(book).logbook
    assert log.runs[0].place is None
    assert "nothing to copy" in log.findings[0].text


def test_blank_is_unknown() -> None:
    log = read(logged_book()).logbook
    second = log.runs[1]
    assert second.air.temp_c is None and second.tuneup.total_timing_deg is None and second.tuneup.jets == {}
    assert second.conduct.new_plugs is None and not second.reference
    assert second.readings[0].sign("specks") is None
    assert str(second.places["temp_c"]) == "Runs!F5"
    assert str(second.readings[0].places["egt_c"]) == "Readings!M12"


def test_a_sea_level_pressure_without_altitude_is_unknown_and_said() -> None:
    book = logged_book()
    put(book, "Runs", "Pressure kind", 1, "altimeter")
    put(book, "Runs", "Altitude (ft)", 1, None)
    log = read(book).logbook
    assert log.runs[0].air.pressure_pa is None
    assert [str(finding.cell) for finding in log.findings] == ["Runs!G4"]


def test_humidity_as_a_share_is_said() -> None:
    book = logged_book()
    put(book, "Runs", "Humidity (%)", 1, 0.45)
    log = read(book).logbook
    assert log.runs[0].air.humidity_pct is not None and log.runs[0].air.humidity_pct.value == pytest.approx(45.0)
    assert "read as 45 %" in log.findings[0].text


def test_rows_of_the_racers_below_the_list_stop_nothing() -> None:
    book = logged_book()
    put(book, "Runs", "ET (s)", 5, 10.5)
    put(book, "Runs", "Place", 5, "average")
    log = read(book).logbook
    assert [run.name for run in log.runs] == ["17", "18"]
    assert "no run name" in log.findings[0].text


def test_a_run_named_once_holds_for_the_rows_below_it() -> None:
    book = logged_book()
    for row in range(2, 9):
        put(book, "Readings", "Run", row, None)
    log = read(book).logbook
    assert len(log.runs[0].readings) == 8
    assert [str(finding.cell) for finding in log.findings] == ["Readings!A5"]


def test_runs_stand_oldest_first_where_dates_say_so() -> None:
    book = build_blank()
    days = [(3, None), (1, time(15)), (1, time(9)), (None, None), (2, None)]
    for name, (day, hour) in zip("abcde", days, strict=True):
        line: dict[str, Any] = {"name": name}
        line |= {"date": datetime(2025, 6, day)} if day else {}
        line |= {"time": hour} if hour else {}
        append_run(book, line)
    assert [run.name for run in read(book).logbook.runs] == ["c", "d", "b", "e", "a"]


def test_an_error_in_a_column_of_the_racers_or_of_ours_stops_nothing() -> None:
    book = logged_book()
    page = book["Runs"]
    page.cell(3, 40, "own sum")
    page.cell(4, 40, "#DIV/0!")
    put(book, "Readings", "Why", 1, "#REF!")
    assert read(book).logbook.findings == ()


def test_where_things_stand_is_told() -> None:
    book = read(logged_book())
    assert book.sheet_names["readings"] == "Readings"
    assert book.reading_rows["17", 3] == 6
    assert book.run_rows["18"] == 5
    assert book.columns["readings"]["why"] == 24
    assert str(book.engine_cells["fuel"]).startswith("Engine!B")


def test_renaming_and_reordering_change_nothing_but_the_places() -> None:
    book = logged_book()
    page = book["Readings"]
    top, bottom = [[cell.value for cell in page[row]] for row in (4, 11)]
    for index, (one, other) in enumerate(zip(top, bottom, strict=True), start=1):
        page.cell(4, index).value, page.cell(11, index).value = other, one
    moved, still = read(book).logbook.runs[0].readings, read(logged_book()).logbook.runs[0].readings
    assert [reading.cylinder for reading in moved] == [reading.cylinder for reading in still]
    assert [[sign.word for sign in reading.signs] for reading in moved] == [
        [sign.word for sign in reading.signs] for reading in still
    ]


BLOCKS = blocks_from_workbook(logged_book())
CELLS = [
    (at, row, column)
    for at, block in enumerate(BLOCKS)
    for row in range(1, min(block.last_row, 16) + 1)
    for column in range(1, block.last_column + 1)
]
VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.floats(),
    st.integers(-5, 40).map(float),
    st.text(max_size=20),
    st.datetimes(),
    st.times(),
    st.sampled_from(["same", '"', "1/2", "40 %", "0.8 mm", "yes", "LF", "1-2-3", "From XX", "Jet LF", "Ring (mm)"]),
    st.sampled_from(["#DIV/0!", "#N/A"]).map(CellError),
)


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.sampled_from(CELLS), VALUES), min_size=1, max_size=4))
def test_no_value_in_any_cell_leads_to_anything_but_a_sentence(changes: list[tuple[tuple[int, int, int], Any]]) -> None:
    rows = [[list(row) for row in block.rows] for block in BLOCKS]
    for (at, row, column), value in changes:
        rows[at][row - 1][column - 1] = value
    blocks = [SheetBlock(block.name, 1, 1, tuple(map(tuple, new))) for block, new in zip(BLOCKS, rows, strict=True)]
    try:
        read_logbook(blocks)
    except LogbookError as refused:
        assert "\n" not in str(refused).strip()
