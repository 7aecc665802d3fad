"""Odd corners of racers' sheets: newest on top, units in a row of their own, titles, days as sheets, other writers."""

from __future__ import annotations

import io
import subprocess
from collections.abc import Callable
from datetime import date, time
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import xlsxwriter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from engine_rules import advise
from engine_rules.logbook import LogbookError
from tests.workbook_template.racers_books import LAYOUTS
from tests.workbook_template.racers_season import advice_of, blank_parts, ordinary_advice, without_cells
from workbook_template.fill import plan
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.hosts.file import FileHost
from workbook_template.read import ReadBook, read_logbook

BLOCKS = "a row for each run, a block for each cylinder"


def read(book: Workbook) -> ReadBook:
    return read_logbook(blocks_from_workbook(book))


def season_in_blocks(change: Callable[[Worksheet], None]) -> ReadBook:
    book = LAYOUTS[BLOCKS]()
    change(book["Runs 2026"])
    return read(book)


def rows_of(page: Worksheet) -> list[list[Any]]:
    return [[cell.value for cell in row] for row in page.iter_rows()]


def rewrite(page: Worksheet, rows: list[list[Any]]) -> None:
    page.delete_rows(1, page.max_row)
    for row in rows:
        page.append(row)


def test_the_newest_may_stand_on_top() -> None:
    def turn(page: Worksheet) -> None:
        heads, *runs = rows_of(page)
        rewrite(page, [heads, *reversed(runs)])

    book = season_in_blocks(turn)
    assert [run.name for run in book.logbook.runs] == ["11", "12", "13", "14"]
    assert advice_of(book.logbook) == ordinary_advice()


def test_units_may_stand_in_a_row_of_their_own() -> None:
    def add_units(page: Worksheet) -> None:
        heads, *runs = rows_of(page)
        units = {"Temp F": "°F", "Elevation (ft)": "ft", "Weight lbs": "lb", "Baro": "inHg"}
        bare = {"Temp F": "Temp", "Elevation (ft)": "Elevation", "Weight lbs": "Weight"}
        rewrite(page, [[bare.get(head, head) for head in heads], [units.get(head) for head in heads], *runs])

    assert advice_of(season_in_blocks(add_units).logbook) == ordinary_advice()


def test_a_title_and_averages_are_passed_over() -> None:
    def dress_up(page: Worksheet) -> None:
        rows = rows_of(page)
        average: list[Any] = ["Average", None, None, None, None, 72.25]
        rewrite(page, [["Our season 2026"], [], *rows, [], average])

    assert advice_of(season_in_blocks(dress_up).logbook) == ordinary_advice()


def test_what_stands_above_a_list_counts_for_all_its_runs() -> None:
    def lift(page: Worksheet) -> None:
        heads, *runs = rows_of(page)
        at = heads.index("Track")
        rest = [[*row[:at], *row[at + 1 :]] for row in (heads, *runs)]
        rewrite(page, [["Track", "home strip"], [], *rest])

    assert advice_of(season_in_blocks(lift).logbook) == ordinary_advice()


def small_log(page: Worksheet, rows: list[list[Any]]) -> None:
    page.append(["Run", "Date", "ET", *(f"Cyl {number} ring" for number in range(1, 9))])
    for row in rows:
        page.append([*row, *["thin line"] * 8])


def test_a_run_number_that_comes_again_another_day_is_a_run_of_that_day() -> None:
    book = blank_parts()
    page = book.create_sheet("Log", 0)
    days = [date(2026, 4, 4), date(2026, 4, 4), date(2026, 4, 18), date(2026, 4, 18)]
    small_log(page, [[1 + at % 2, day, 10.5] for at, day in enumerate(days)])
    found = read(book).logbook
    names = [f"{day:%Y-%m-%d}/{1 + at % 2}" for at, day in enumerate(days)]
    assert [run.name for run in found.runs] == names
    assert any("comes on several days" in finding.text for finding in found.findings)


def test_runs_without_a_name_are_named_by_their_day() -> None:
    book = blank_parts()
    small_log(book.create_sheet("Log", 0), [[None, date(2026, 4, 4), 10.5], [None, date(2026, 4, 5), 10.4]])
    assert [run.name for run in read(book).logbook.runs] == ["2026-04-04", "2026-04-05"]


def test_runs_across_may_be_named_in_the_heading_alone() -> None:
    book = blank_parts()
    page = book.create_sheet("Log", 0)
    page.append([None, "Run 1", "Run 2"])
    page.append(["Date", date(2026, 4, 4), date(2026, 4, 5)])
    page.append(["ET", 10.5, 10.4])
    for number in range(1, 9):
        page.append([f"Ring {number}", "thin line", "trace"])
    found = read(book).logbook
    assert [run.name for run in found.runs] == ["1", "2"]
    assert len(found.runs[1].readings) == 8


def test_weather_goes_to_the_nearest_run_within_the_hour_and_is_said() -> None:
    book = blank_parts()
    page = book.create_sheet("Log", 0)
    page.append(["Run", "Date", "Time", *(f"Cyl {number} ring" for number in range(1, 9))])
    for name, hour in ((1, time(10, 30)), (2, time(14, 0))):
        page.append([name, date(2026, 4, 4), hour, *["thin line"] * 8])
    weather = book.create_sheet("Weather", 1)
    weather.append(["Date", "Time", "Temp F", "RH %"])
    for hour, temp in ((time(10, 0), 66), (time(10, 25), 68), (time(12, 0), 74)):
        weather.append([date(2026, 4, 4), hour, temp, 40])
    found = read(book).logbook
    assert [run.air.temp_c and run.air.temp_c.written for run in found.runs] == ["68", None]
    said = [str(finding.cell) for finding in found.findings if "nearest in time" in finding.text]
    assert said == ["Weather!A3"]


def test_a_row_that_says_nothing_of_which_cylinder_is_refused_by_its_cell() -> None:
    book = LAYOUTS["a row for each cylinder, the run in each"]()
    cell = next(cell for cell in book["Log"][3] if cell.value == "Cyl").offset(2, 0)
    cell.value = "rear"
    with pytest.raises(LogbookError, match=rf"Log!{cell.coordinate}: 'rear' is not a number of a cylinder"):
        read(book).run("11")


def test_two_sheets_that_contradict_each_other_are_said() -> None:
    book = LAYOUTS["sheets joined by the run"]()
    book["Slips"]["Z1"], book["Slips"]["Z2"] = "Temp F", 99
    found = read(book).logbook
    assert any("says '68' here and '99' at Slips!Z2" in finding.text for finding in found.findings)


def test_a_column_of_the_racers_own_for_the_same_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    book = LAYOUTS["a row for each cylinder, the run in each"]()
    book["Log"]["AK3"] = "Jet change"
    book["Log"]["AK4"] = "mine"
    book.save(path)
    host = FileHost(path)
    found = read_logbook(host.read())
    host.apply(plan(found, [advise(found.logbook, "11")]))
    assert found.place("11", 1, "jet_change") is None
    page = openpyxl.load_workbook(path)["Log"]
    assert page["AK4"].value == "mine"
    place = found.place("11", 1, "plug_change")
    assert place is not None and page.cell(*place[1:]).value


def by_xlsxwriter(book: Workbook) -> bytes:
    """The same cells, written by another library."""
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"default_date_format": "yyyy-mm-dd"}) as made:
        for page in book.worksheets:
            sheet = made.add_worksheet(page.title)
            hours = made.add_format({"num_format": "hh:mm"})
            for row in page.iter_rows():
                for cell in row:
                    if isinstance(cell.value, time):
                        sheet.write_datetime(cell.row - 1, cell.column - 1, cell.value, hours)
                    elif cell.value is not None:
                        sheet.write(cell.row - 1, cell.column - 1, cell.value)
    return content.getvalue()


def check_filled(path: Path) -> None:
    """Reads like the ordinary one, and fills twice to the same bytes."""
    for _ in range(2):
        host = FileHost(path)
        book = read_logbook(host.read())
        advice = advise(book.logbook)
        assert without_cells(advice.as_json()) == ordinary_advice()["14"]
        before = path.read_bytes()
        host.apply(plan(book, [advice]))
    assert path.read_bytes() == before


@pytest.mark.parametrize("layout", [BLOCKS, "runs across", "a sheet for each day, forms with small tables"])
def test_a_book_that_another_library_wrote(layout: str, tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    path.write_bytes(by_xlsxwriter(LAYOUTS[layout]()))
    check_filled(path)


@pytest.mark.libreoffice
@pytest.mark.parametrize(
    "layout", ["two heading rows, cylinders above", "a form for each run, a box for each cylinder"]
)
def test_a_book_that_libreoffice_wrote(layout: str, tmp_path: Path) -> None:
    source = tmp_path / "source" / "LOG.xlsx"
    source.parent.mkdir()
    LAYOUTS[layout]().save(source)
    profile = f"-env:UserInstallation=file://{tmp_path / 'profile'}"
    command = ["soffice", profile, "--headless", "--convert-to", "xlsx", "--outdir", str(tmp_path), str(source)]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    check_filled(tmp_path / "LOG.xlsx")
