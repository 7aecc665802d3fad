"""Advice into cells and sheets, read back from real files with openpyxl."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from openpyxl.utils import range_boundaries
from openpyxl.workbook import Workbook

from engine_rules import advise
from engine_rules.advice import Advice, JetChange
from tests.workbook_template.advised_cases import six_efi, v8_all_change, v8_stop, v8_unreadable
from tests.workbook_template.filled_books import efi_log, fill, filled_row, read, v8_log
from workbook_template.fill import CHARTS, LEDGER, NEXT_RUN, SEASON, WHY, plan, stretches, tab_unit


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return v8_log(tmp_path / "LOG.xlsx")


def links(book: Workbook) -> list[tuple[str, str, str]]:
    """(sheet, cell, location) of every link in the book."""
    return [
        (sheet.title, cell.coordinate, cell.hyperlink.location)
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.hyperlink is not None
    ]


def target(book: Workbook, location: str) -> object:
    """The value that a link leads to; KeyError for a sheet that is not there."""
    name, _, ref = location.rpartition("!")
    left, top, _, _ = range_boundaries(ref)
    return book[name.strip("'")].cell(top, left).value


def test_the_filled_columns_say_what_was_advised(log: Path) -> None:
    fill(log, [v8_all_change().advice])
    row = filled_row(log, "17", 3)
    assert row["mixture_pct"].value == pytest.approx(-1.1)
    assert row["timing_deg"].value == pytest.approx(0.3)
    assert row["jet_change"].value == "LF 74 → 76"
    assert row["timing_change_deg"].value == -1.0
    assert row["timing_change_deg"].number_format == '+0;"−"0;0'
    assert row["plug_change"].value == "B → C"
    assert row["tip_change"].value == "projected → regular"
    assert row["sure"].value == "sure"
    assert row["why"].value == "Ring and strap of cylinder 3 agree."
    assert filled_row(log, "17", 5)["jet_change"].value == "LR 80 → 82 (83 fits best, not on hand)"
    assert filled_row(log, "17", 5)["plug_change"].value == "C → D (not on hand)"
    assert filled_row(log, "17", 2)["tip_change"].value == "keep"


def test_each_recommendation_leads_to_its_firing(log: Path) -> None:
    fill(log, [v8_all_change().advice])
    book = openpyxl.load_workbook(log)
    row = filled_row(log, "17", 3)
    for key, firing in (("jet_change", "2"), ("timing_change_deg", "3"), ("plug_change", "4"), ("why", "4")):
        assert target(book, row[key].hyperlink.location) == firing


def test_every_link_leads_to_a_cell_that_holds_something_or_asks_for_it(log: Path) -> None:
    fill(log, [v8_all_change().advice])
    book = openpyxl.load_workbook(log)
    found = links(book)
    assert {sheet for sheet, _, _ in found} == {"Readings", NEXT_RUN, WHY}
    for sheet, ref, location in found:
        value = target(book, location)
        if location.rpartition("!")[0].strip("'") in (WHY, NEXT_RUN):
            assert value is not None, f"{sheet}!{ref} leads to the empty {location}"


def test_why_and_the_card_lead_back_to_each_other(log: Path) -> None:
    fill(log, [v8_all_change().advice])
    book = openpyxl.load_workbook(log)
    why = book[WHY]
    shown = [cell.value for (cell,) in why.iter_rows(min_col=6, max_col=6) if cell.hyperlink]
    first = read(log).reading_rows["17", 1]
    assert any(str(value).startswith("Readings!") and str(first) in str(value) for value in shown)
    assert any(str(value).startswith(f"{NEXT_RUN}!") for value in shown)
    card = [location for sheet, _, location in links(book) if sheet == NEXT_RUN]
    assert card and all(location.startswith(f"'{WHY}'!A") for location in card)


def test_an_unfit_set_leaves_cells_empty_and_says_why(log: Path) -> None:
    fill(log, [v8_unreadable().advice])
    row = filled_row(log, "17", 3)
    assert {key for key, cell in row.items() if cell.value is not None} == {"why"}
    assert row["why"].value == "Idled after the cut."


def test_what_an_earlier_fill_said_goes_when_it_no_longer_holds(log: Path) -> None:
    fill(log, [v8_all_change().advice])
    fill(log, [v8_unreadable().advice])
    row = filled_row(log, "17", 3)
    assert {key for key, cell in row.items() if cell.value is not None} == {"why"}
    assert row["jet_change"].hyperlink is None


def test_safety_changes_stand_even_where_nothing_could_be_read(log: Path) -> None:
    advice = replace(v8_unreadable().advice, jets=(JetChange("LF", "74", "76", 5.2),))
    fill(log, [advice])
    assert filled_row(log, "17", 1)["jet_change"].value == "LF 74 → 76"
    assert filled_row(log, "17", 1)["plug_change"].value is None
    assert filled_row(log, "17", 2)["jet_change"].value is None


def test_links_of_an_older_fill_do_not_lead_into_another_runs_reasons(log: Path) -> None:
    fill(log, [replace(v8_all_change().advice, run="16")])
    assert filled_row(log, "16", 3)["jet_change"].hyperlink is not None
    fill(log, [v8_stop().advice])
    older = filled_row(log, "16", 3)
    assert older["jet_change"].value == "LF 74 → 76"
    assert older["why"].value == "Ring and strap of cylinder 3 agree."
    assert all(cell.hyperlink is None for cell in older.values())
    assert filled_row(log, "17", 3)["jet_change"].hyperlink is not None


def test_several_runs_are_filled_and_the_sheets_speak_of_the_newest(log: Path) -> None:
    advice = v8_all_change().advice
    fill(log, [advice, replace(advice, run="16")])
    assert filled_row(log, "16", 3)["jet_change"].value == "LF 74 → 76"
    assert filled_row(log, "16", 3)["jet_change"].hyperlink is None
    book = openpyxl.load_workbook(log)
    assert book[WHY]["A1"].value == "Why: run 17"
    assert book.sheetnames[-5:] == [NEXT_RUN, WHY, LEDGER, CHARTS, SEASON]


def test_nothing_advised_changes_nothing(log: Path) -> None:
    before = log.read_bytes()
    host = fill(log, [])
    assert log.read_bytes() == before and host.backup is None


def test_injection_gets_fuel_trims_and_no_jets(tmp_path: Path) -> None:
    log = efi_log(tmp_path / "efi.xlsx")
    fill(log, [six_efi().advice])
    row = filled_row(log, "17", 2)
    assert "jet_change" not in row
    assert row["fuel_trim_change_pct"].value == 3.0
    assert filled_row(log, "17", 6)["fuel_trim_change_pct"].value == -2.0
    assert filled_row(log, "17", 1)["fuel_trim_change_pct"].value == "keep"


def test_a_cylinder_without_a_row_is_left_out(log: Path) -> None:
    book = openpyxl.load_workbook(log)
    row = read(log).reading_rows["17", 8]
    for column in range(1, book["Readings"].max_column + 1):
        book["Readings"].cell(row, column).value = None
    book.save(log)
    fill(log, [v8_all_change().advice])
    assert filled_row(log, "17", 7)["jet_change"].value == "LR 80 → 82 (83 fits best, not on hand)"
    assert ("17", 8) not in read(log).reading_rows


def test_a_second_fill_changes_no_byte(log: Path) -> None:
    advice = v8_all_change().advice
    fill(log, [advice])
    once = log.read_bytes()
    host = fill(log, [advice])
    assert log.read_bytes() == once and host.backup is None


def test_two_copies_filled_alike_are_alike(tmp_path: Path) -> None:
    log = v8_log(tmp_path / "LOG.xlsx")
    copy = tmp_path / "COPY.xlsx"
    copy.write_bytes(log.read_bytes())
    for path in (log, copy):
        fill(path, [v8_all_change().advice])
    assert log.read_bytes() == copy.read_bytes()


def test_no_other_cell_and_no_other_sheet_changes(log: Path) -> None:
    before = openpyxl.load_workbook(log)
    ours = {one.index for one in read(log).tables["readings"].placed.values() if one.column.filled}
    fill(log, [v8_all_change().advice])
    after = openpyxl.load_workbook(log)
    assert after.sheetnames == [*before.sheetnames, NEXT_RUN, WHY, LEDGER, CHARTS, SEASON]
    rows = {read(log).reading_rows["17", number] for number in range(1, 9)}
    for sheet in before.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if sheet.title == "Readings" and cell.column in ours and cell.row in rows:
                    continue
                other = after[sheet.title][cell.coordinate]
                assert other.value == cell.value
                assert other.number_format == cell.number_format
                assert repr(other.font) == repr(cell.font) and repr(other.fill) == repr(cell.fill)


def test_the_rules_own_advice_fills_and_fills_again(log: Path) -> None:
    def advised() -> Advice:
        return advise(read(log).logbook)

    fill(log, [advised()])
    once = log.read_bytes()
    assert filled_row(log, "17", 3)["why"].value
    book = openpyxl.load_workbook(log)
    assert all(target(book, location) is not None for sheet, _, location in links(book) if sheet != WHY)
    fill(log, [advised()])
    assert log.read_bytes() == once


def test_tabs_are_bent_in_the_unit_of_the_engine_sheet(log: Path) -> None:
    assert tab_unit(read(log)) == "mm"
    book = openpyxl.load_workbook(log)
    cell = next(cell for (cell,) in book["Engine"].iter_rows(max_col=1) if str(cell.value).startswith("Tab radius"))
    cell.value = "Tab radius (in)"
    book.save(log)
    assert tab_unit(read(log)) == "in"
    card = plan(read(log), [v8_all_change().advice]).sheets[0]
    assert any("Tab 0.017 in\nlater" in str(cell.value) for cell in card.cells.values())


def test_stretches_join_cells_down_a_column() -> None:
    assert stretches([(4, 3), (6, 3), (5, 3), (9, 3), (4, 5)]) == ["C4:C6", "C9", "E4"]
