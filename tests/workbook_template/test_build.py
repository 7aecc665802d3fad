"""The blank workbook: complete, valid, and read back as it was filled."""

from __future__ import annotations

from datetime import datetime
from itertools import product
from pathlib import Path

import openpyxl
import pytest

from engine_rules.logbook import LogbookError, Reading, Run
from engine_rules.targets import default_targets
from tests.workbook_template.logged_books import AIR, CONDUCT, READING, RESULT, RUN, logged_book, read
from workbook_template.build import BlankOptions, append_run, build_blank
from workbook_template.hosts.blocks import blocks_from_file
from workbook_template.layout import layout
from workbook_template.read import read_logbook

COMBINATIONS = [
    pytest.param(BlankOptions(count, arrangement, units, carburetion), id=f"{arrangement}{count}-{carburetion}-{units}")
    for count, arrangement, carburetion, units in product(
        range(1, 13), layout().lists["arrangement"].words, layout().lists["carburetion"].words, ("us", "si")
    )
    # A V or a flat engine has at least two cylinders.
    if arrangement == "inline" or count > 1
]
WORDS = ("ring", "shell_ring", "strap_mark", "specks", "porcelain", "centre_wire", "threads")
CAUTIONS = ("Burns", "Fuel vapour", "Methanol", "coil", "straight line", "rules", "promises no power", "experienced")


def close(entry: object, value: float) -> bool:
    return entry is not None and entry.value == pytest.approx(value, rel=1e-6)  # type: ignore[attr-defined]


def check_run(run: Run, stations: int) -> None:
    assert (run.name, run.when, run.reference) == ("17", datetime(2025, 6, 14, 14, 30), True)
    air = {name: getattr(run.air, name) for name in AIR}
    assert air.pop("pressure_kind").value == AIR["pressure_kind"]
    assert all(close(entry, AIR[name]) for name, entry in air.items())  # type: ignore[arg-type]
    assert {name: getattr(run.conduct, name).value for name in CONDUCT} == CONDUCT
    assert all(close(getattr(run.result, name), value) for name, value in RESULT.items())
    assert close(run.conduct.full_load_s, RUN["full_load_s"])  # type: ignore[arg-type]
    assert close(run.tuneup.total_timing_deg, RUN["total_timing_deg"])  # type: ignore[arg-type]
    assert len(run.tuneup.jets) == stations
    assert all(close(entry, 0.88) for entry in run.bank_lambda.values())
    assert run.place is not None and run.place.value == RUN["place"]


def check_reading(reading: Reading) -> None:
    assert [sign.word for sign in reading.signs] == [*(READING[kind] for kind in WORDS), "anti-seize", "loose"]
    assert close(reading.egt_c, READING["egt_c"])  # type: ignore[arg-type]
    assert close(reading.lambda_ratio, 0.87) and close(reading.timing_trim_deg, -1.0)
    assert reading.plug is not None and reading.plug.value == "B"


@pytest.mark.parametrize("options", COMBINATIONS)
def test_what_was_filled_in_is_read_back(options: BlankOptions) -> None:
    book = read(logged_book(options))
    log = book.logbook
    assert log.findings == ()
    assert log.engine.numbers == tuple(range(1, options.cylinders + 1))
    assert log.engine.carburetion == options.carburetion
    assert sorted(log.engine.firing_order) == list(log.engine.numbers)
    for cylinder in log.engine.cylinders:
        assert sum(cylinder.shares.values()) == pytest.approx(0.0 if options.carburetion == "EFI" else 1.0)
        assert (cylinder.bank == "") == (options.arrangement == "inline")
    first, second = log.runs
    check_run(first, len(log.engine.stations))
    assert [reading.cylinder for reading in first.readings] == list(log.engine.numbers)
    for reading in first.readings:
        check_reading(reading)
        assert (reading.fuel_trim_pct is not None) == (options.carburetion == "EFI")
    assert [reading.cylinder for reading in second.readings] == [1]
    assert set(book.reading_rows) == {("17", number) for number in log.engine.numbers} | {("18", 1)}


@pytest.mark.parametrize("options", [BlankOptions(), BlankOptions(4, "inline", "si", "EFI"), BlankOptions(12, "flat")])
def test_a_saved_file_reads_the_same_as_the_workbook(options: BlankOptions, tmp_path: Path) -> None:
    book = logged_book(options)
    book.save(tmp_path / "log.xlsx")
    from_file = read_logbook(blocks_from_file(tmp_path / "log.xlsx"))
    assert from_file.logbook.runs == read(book).logbook.runs
    assert from_file.logbook.engine == read(book).logbook.engine


def test_a_blank_workbook_reads_without_a_finding() -> None:
    log = read(build_blank()).logbook
    assert [run.name for run in log.runs] == ["1"]
    assert log.runs[0].readings == ()
    assert log.findings == ()
    assert dict(log.targets) == dict(default_targets())


def test_sheets_tables_names_and_lists_are_in_place(tmp_path: Path) -> None:
    build_blank().save(tmp_path / "blank.xlsx")
    book = openpyxl.load_workbook(tmp_path / "blank.xlsx")
    assert book.sheetnames == ["Start here", "Runs", "Readings", "Engine", "Jets", "Plugs", "Targets"]
    tables = [name for sheet in book.worksheets for name in sheet.tables]
    assert len(tables) == len(set(tables)) == 6
    assert set(book.defined_names) == {"JetLabels", "PlugLabels"}
    for sheet in book.worksheets[1:]:
        for table in sheet.tables.values():
            top, *rows = sheet[table.ref]
            assert [cell.value for cell in top] == [column.name for column in table.tableColumns]
            assert all(cell.comment is not None for cell in top)
            assert rows
    for name in ("Runs", "Readings", "Jets", "Plugs", "Targets"):
        assert book[name].print_title_rows == "$3:$3"
        assert book[name].freeze_panes


def test_every_word_column_has_its_drop_down() -> None:
    book = build_blank()
    for key in ("runs", "readings", "plugs", "jets"):
        sheet = layout().sheets[key]
        page = book[sheet.name]
        ranges = [str(offer.sqref) for offer in page.data_validations.dataValidation]
        listed = [
            cell.column_letter
            for cell in page[3]
            for column in sheet.columns
            if not column.filled and (column.list or column.kind == "yes_no") and cell.value == column.heading
        ]
        for letter in listed:
            assert f"{letter}4:{letter}2000" in ranges


def test_columns_follow_the_engine() -> None:
    efi = [cell.value for cell in build_blank(BlankOptions(4, "inline", carburetion="EFI"))["Readings"][3]]
    assert "Fuel trim (%)" in efi and "Fuel trim change (%)" in efi and "Jet change" not in efi
    runners = [cell.value for cell in build_blank(BlankOptions(4, "inline", carburetion="side-draughts"))["Runs"][3]]
    assert [heading for heading in runners if str(heading).startswith("Jet")] == ["Jet 1", "Jet 2", "Jet 3", "Jet 4"]
    four = [cell.value for cell in build_blank()["Runs"][3]]
    assert [heading for heading in four if str(heading).startswith("Jet")] == ["Jet LF", "Jet RF", "Jet LR", "Jet RR"]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (BlankOptions(cylinders=13), "1 to 12"),
        (BlankOptions(units="metric"), "us or si"),
        (BlankOptions(arrangement="W"), "arrangement 'W' is not known"),
        (BlankOptions(firing_order=(1, 2, 3)), "each cylinder from 1 to 8 once"),
        (BlankOptions(firing_order=(1, 1, 2, 3, 4, 5, 6, 7)), "twice"),
        (BlankOptions(manifold="individual runner"), "needs a barrel for each cylinder"),
    ],
)
def test_options_that_cannot_be_are_refused(options: BlankOptions, says: str) -> None:
    with pytest.raises(LogbookError, match=says):
        build_blank(options)


def test_runs_are_appended_below_and_tables_grow() -> None:
    book = logged_book()
    append_run(book, {"name": "19", "notes": "same"}, {8: {"ring_mm": 0.9}})
    assert book["Runs"].tables["RunLog"].ref.endswith("6")
    assert book["Readings"].tables["ReadingLog"].ref.endswith("13")
    log = read(book).logbook
    assert [run.name for run in log.runs] == ["17", "18", "19"]
    assert log.runs[2].reading(8) is not None


def test_a_key_without_a_column_is_refused() -> None:
    with pytest.raises(LogbookError, match="no column for colour"):
        append_run(build_blank(), {"name": "1", "colour": "red"})


def test_the_newcomer_is_warned() -> None:
    text = " ".join(str(cell.value) for row in build_blank()["Start here"].iter_rows() for cell in row if cell.value)
    for caution in CAUTIONS:
        assert caution in text
