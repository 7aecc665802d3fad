"""The sheet of the season: what its charts draw, as the file holds it, and how it prints."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from pathlib import Path
from statistics import fmean
from typing import Any

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.styles import Font
from openpyxl.utils import range_boundaries
from openpyxl.worksheet.worksheet import Worksheet
from openxml_audit import OpenXmlValidator, ValidationSeverity

from engine_rules.response import responses
from engine_rules.session import advise
from tests.workbook_template.racers_lists import two_cars
from tests.workbook_template.season_books import UNREAD, USED_PLUGS, ring_mm, season_log
from tests.workbook_template.test_card import A4, LETTER, printed_pages
from workbook_template.build import BlankOptions
from workbook_template.clear import clear_log
from workbook_template.fill import SEASON, plan_cars
from workbook_template.hosts.protocol import ChartOut, SheetOut
from workbook_template.hosts.scratch import scratch_workbook
from workbook_template.log_file import fill_in, open_log
from workbook_template.season_charts import NEWEST_BY_CYLINDER, draw_season
from workbook_template.season_learned import HALF_OF_90
from workbook_template.season_numbers import MOST_STEPS, spaced
from workbook_template.season_words import MOST_LETTERS, change_label

V12 = BlankOptions(cylinders=12, carburetion="individual runners", manifold="individual runner", units="si")
SINGLE = BlankOptions(cylinders=1, arrangement="inline", carburetion="single", units="si")
GAPS = (USED_PLUGS, UNREAD)


def filled(log: Path) -> Path:
    opened = open_log(log)
    fill_in(opened, [advise(opened.book.logbook)])
    return log


def drawn(log: Path) -> SheetOut:
    return draw_season(SEASON, open_log(log).book)


def titled(sheet: SheetOut, begins: str) -> ChartOut:
    return next(chart for chart in sheet.charts if chart.title.startswith(begins))


def values(sheet: SheetOut, area: tuple[int, int, int, int]) -> list[Any]:
    top, left, bottom, right = area
    assert left == right
    cells = [sheet.cells.get((row, left)) for row in range(top, bottom + 1)]
    return [None if cell is None else cell.value for cell in cells]


def line(sheet: SheetOut, chart: ChartOut, title: str) -> list[Any]:
    return values(sheet, next(series.values for series in chart.series if series.title == title))


def said(sheet: SheetOut) -> str:
    """The sentences on the sheet, those over the numbers left out."""
    return "\n".join(str(cell.value) for (row, column), cell in sheet.cells.items() if column == 1 and row < 60)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> SheetOut:
    return drawn(season_log(tmp_path_factory.mktemp("season") / "LOG.xlsx"))


def test_a_chart_of_each_reading_and_of_the_result_in_line_with_what_was_changed(season: SheetOut) -> None:
    across = [chart for chart in season.charts if chart.width_cm > 25.0][:5]
    assert [chart.title.split(" (")[0] for chart in across] == [
        "What was changed", "Ring", "Strap mark", "EGT", "Elapsed time",
    ]  # fmt: skip
    assert len({(chart.plot or ())[::2] for chart in across}) == 1  # left and width of the plot
    assert all(values(season, chart.categories) == [str(run) for run in range(1, 10)] for chart in across[1:])
    assert across[-1].title == "Elapsed time (s) in standard air (J1349) at 3086 lb"


def test_the_mean_between_lowest_and_highest_with_gaps_where_nothing_can_be_read(season: SheetOut) -> None:
    chart = titled(season, "Ring (mm) · run 9: lowest cylinder 1, highest cylinder 8")
    read = [None if str(run) in GAPS else [ring_mm(run, at) for at in range(1, 9)] for run in range(1, 10)]
    assert line(season, chart, "mean") == [one and pytest.approx(fmean(one), rel=1e-4) for one in read]
    assert line(season, chart, "lowest, highest") == [one and pytest.approx(max(one)) for one in read]
    assert line(season, chart, "lowest") == [one and pytest.approx(min(one)) for one in read]
    assert f"Not fit to tune from: run {USED_PLUGS}." in said(season)


def test_the_goal_lies_behind_each_reading_and_exhaust_has_one_from_a_reference_alone(tmp_path: Path) -> None:
    log = season_log(tmp_path / "LOG.xlsx", runs=5, more={4: {"reference": True}})
    sheet = drawn(log)
    for name, within in (("Ring", 0.8), ("Strap mark", 50.0), ("EGT", 709.0 * 1.8 + 32.0)):
        band = titled(sheet, name).band
        assert band is not None
        ((low, *_), (width, *_)) = (values(sheet, area) for area in (band.lowest, band.widths))
        assert width > 0 and low - width < within < low + 2 * width
    assert "by run 4, the reference in use" in said(sheet)
    (tmp_path / "two").mkdir()
    usual = drawn(season_log(tmp_path / "two" / "LOG.xlsx", runs=5))
    assert titled(usual, "EGT").band is None and "EGT has a goal only where" in said(usual)


def test_what_was_changed_stands_at_its_run_with_a_mark_in_every_chart(season: SheetOut) -> None:
    strip = titled(season, "What was changed")
    labels = values(season, strip.categories)
    assert labels == [None, "LF 74→76", None, "timing 34→33°", None, None, "LF RF 76→78, LR 80→82", None, None]
    at = [label is not None for label in labels]
    assert [one is not None for one in line(season, strip, "change")] == at
    for name in ("Ring (mm) · run", "EGT", "Elapsed time"):
        assert [one is not None for one in line(season, titled(season, name), "change")] == at


@pytest.mark.parametrize(("options", "cylinders"), [(V12, 12), (BlankOptions(cylinders=6, arrangement="inline"), 6)])
def test_a_line_for_each_cylinder_none_like_another_in_its_chart(
    tmp_path: Path, options: BlankOptions, cylinders: int
) -> None:
    sheet = drawn(season_log(tmp_path / "LOG.xlsx", options=options))
    charts = [chart for chart in sheet.charts if any(series.title.startswith("cyl ") for series in chart.series)]
    rings = [series for chart in charts if chart.title.startswith("Ring") for series in chart.series]
    assert sorted(series.title for series in rings) == sorted(f"cyl {at}" for at in range(1, cylinders + 1))
    for chart in charts:
        looks = {(one.look.dash, one.look.mark) for one in chart.series if one.look is not None}
        assert len(looks) == len(chart.series) <= 6  # without its colour too
        assert len({one.look.dash for one in chart.series if one.look}) >= min(5, len(chart.series))
    tenth = next(series for series in rings if series.title == f"cyl {cylinders}")
    seen = [None if str(run) in GAPS else ring_mm(run, cylinders) for run in range(1, 10)]
    assert values(sheet, tenth.values) == [one and pytest.approx(one) for one in seen]


def test_one_cylinder_has_no_others_to_stand_among(tmp_path: Path) -> None:
    sheet = drawn(season_log(tmp_path / "LOG.xlsx", options=SINGLE))
    assert [series.title for series in titled(sheet, "EGT (°C)").series] == ["cylinder read", "change"]
    assert "Cylinder by cylinder" not in said(sheet)


def test_learned_answers_with_their_spread_against_the_usual_ones(season: SheetOut, tmp_path: Path) -> None:
    book = open_log(season_log(tmp_path / "LOG.xlsx")).book
    taught = responses(book.logbook).values
    chart = titled(season, "In percent of what is usual")
    names = values(season, chart.categories)
    assert len(names) == len(taught) >= 4 and names[0] == "Ring, mm per % fuel (2 changes)"
    learned, usual = chart.series
    percent = [100.0 * one.value / one.usual for one in taught]
    assert values(season, learned.values) == pytest.approx(percent, rel=1e-3)
    assert learned.error_values is not None
    halves = [HALF_OF_90 * 100.0 * one.sd / abs(one.usual) for one in taught]
    assert values(season, learned.error_values) == pytest.approx(halves, rel=1e-3)
    assert set(values(season, usual.values)) == {100.0}

    course = titled(season, "EGT, °F per % fuel")
    last = next(one for one in taught if one.key == "egt.k_per_pct")
    assert line(season, course, "learned")[-1] == pytest.approx(1.8 * last.value, rel=1e-3)
    assert line(season, course, "usual")[0] == pytest.approx(1.8 * last.usual, rel=1e-3)
    assert course.band is not None
    widths = values(season, course.band.widths)
    assert widths[-1] == pytest.approx(2 * HALF_OF_90 * 1.8 * last.sd, rel=1e-3) and widths[-1] < widths[0]
    assert values(season, course.band.lowest)[-1] + widths[-1] / 2 == pytest.approx(1.8 * last.value, rel=1e-3)


def test_a_log_that_taught_nothing_says_so(tmp_path: Path) -> None:
    sheet = drawn(season_log(tmp_path / "LOG.xlsx", options=V12))
    assert "Nothing yet: no change stands between two sets that can be learned from." in said(sheet)
    assert not any("usual" in chart.title for chart in sheet.charts)


@pytest.mark.parametrize("runs", [1, 2])
def test_too_few_runs_get_a_sentence_and_no_chart(tmp_path: Path, runs: int) -> None:
    sheet = drawn(season_log(tmp_path / "LOG.xlsx", runs=runs))
    assert sheet.charts == () and "Fewer than 3 runs are logged, so there is no course to draw yet." in said(sheet)


def test_what_was_read_too_seldom_is_named_and_not_drawn(tmp_path: Path) -> None:
    sheet = drawn(season_log(tmp_path / "LOG.xlsx", runs=3))  # the third has used plugs
    assert "Read on fewer than 3 runs that are fit, so not drawn: Ring, Shell ring, Strap mark, EGT." in said(sheet)
    assert [chart.title.split(" (")[0] for chart in sheet.charts][:2] == ["What was changed", "Elapsed time"]


def test_why_a_result_is_left_out_is_said(tmp_path: Path) -> None:
    some = {at: {"weight_kg": None} for at in (2, 5)}
    sheet = drawn(season_log(tmp_path / "LOG.xlsx", more=some))
    assert "Elapsed time of runs 2, 5 left out: the weight was not logged." in said(sheet)
    assert [one is None for one in line(sheet, titled(sheet, "Elapsed time"), "elapsed time")][:5] == [
        False, True, False, False, True,
    ]  # fmt: skip
    (tmp_path / "none").mkdir()
    none = drawn(season_log(tmp_path / "none" / "LOG.xlsx", more={at: {"weight_kg": None} for at in range(10)}))
    assert titled(none, "Elapsed time").title == "Elapsed time (s) in standard air (J1349)"
    assert "not at equal weight: the weight was not logged and is taken as kept." in said(none)


def test_of_a_long_log_the_newest_and_it_is_said(tmp_path: Path) -> None:
    sheet = drawn(season_log(tmp_path / "LOG.xlsx", runs=103))
    assert "The newest 100 of 103 runs." in said(sheet)
    chart = titled(sheet, "Ring (mm) · run 103")
    assert values(sheet, chart.categories)[::99] == ["4", "103"]
    (left, *_) = (chart for chart in sheet.charts if chart.title == "Ring (mm) · left bank")
    assert values(sheet, left.categories) == [str(run) for run in range(104 - NEWEST_BY_CYLINDER, 104)]
    assert f"Cylinder by cylinder, the newest {NEWEST_BY_CYLINDER} runs" in said(sheet)
    inches = sum(sheet.row_heights_pt[row] for row in range(1, titled_row(sheet, "Elapsed time") + 1)) / 72.0
    assert inches < 7.2  # the first page holds the set, on A4 and on Letter


def titled_row(sheet: SheetOut, begins: str) -> int:
    return titled(sheet, begins).anchor[0]


# -- in the file


def references(sheet: Worksheet) -> list[str]:
    """Every area that a chart of the sheet reads."""
    found = []
    for chart in sheet._charts:  # type: ignore[attr-defined]
        for series in (one for part in chart._charts for one in part.series):
            found += [series.cat.strRef.f, series.val.numRef.f]
    return found


def test_every_series_in_a_legend_is_named_by_its_column(tmp_path: Path) -> None:
    page = openpyxl.load_workbook(filled(season_log(tmp_path / "LOG.xlsx")))[SEASON]
    named = set()
    for chart in page._charts:
        hidden = {entry.idx for entry in chart.legend.legendEntry} if chart.legend is not None else set()
        for at, series in enumerate(one for part in chart._charts for one in part.series):
            if chart.legend is not None and at not in hidden:
                sheet, _, ref = series.tx.strRef.f.rpartition("!")
                assert sheet == f"'{SEASON}'"
                named.add(page[ref.replace("$", "")].value)
    cylinders = {f"cyl {at}" for at in range(1, 9)}
    assert named == cylinders | {"mean", "lowest, highest", "goal", "elapsed time", "learned, 90 % sure", "usual"}


def test_charts_read_the_cells_of_their_own_sheet_and_every_blank_is_a_gap(tmp_path: Path) -> None:
    page = openpyxl.load_workbook(filled(season_log(tmp_path / "LOG.xlsx")))[SEASON]
    assert len(page._charts) > 10
    assert {area.rpartition("!")[0] for area in references(page)} == {f"'{SEASON}'"}
    for area in references(page):
        left, top, right, bottom = range_boundaries(area.rpartition("!")[2])
        cells = [page.cell(row, left).value for row in range(top, bottom + 1)]
        assert left == right and any(value is not None for value in cells)
    assert {chart.display_blanks for chart in page._charts} == {"gap"}


def test_a_second_fill_changes_no_byte_and_clear_takes_all_of_it_out(tmp_path: Path) -> None:
    log = season_log(tmp_path / "LOG.xlsx")
    before = log.read_bytes()
    first = filled(log).read_bytes()
    assert filled(log).read_bytes() == first
    cleared = clear_log(log)
    assert cleared.exact and SEASON in cleared.owned.sheets
    with zipfile.ZipFile(log) as archive, zipfile.ZipFile(tmp_path / "LOG.backup-1.xlsx") as original:
        assert original.fp is not None and (tmp_path / "LOG.backup-1.xlsx").read_bytes() == before
        assert {name: archive.read(name) for name in archive.namelist()} == {
            name: original.read(name) for name in original.namelist()
        }


def test_the_file_keeps_to_the_schema(tmp_path: Path) -> None:
    path = filled(season_log(tmp_path / "LOG.xlsx", more={4: {"reference": True}}))
    errors = [error for error in OpenXmlValidator().validate(path).errors if error.severity == ValidationSeverity.ERROR]
    # The library that made the log writes fonts in an order of its own, which every program reads.
    assert [error for error in errors if "/fonts" not in str(error.path)] == []


def test_each_car_of_a_book_has_its_own(tmp_path: Path) -> None:
    log = tmp_path / "LOG.xlsx"
    two_cars().save(log)
    opened = open_log(log)
    changes = plan_cars([(book, [advise(book.logbook)]) for book in opened.books])
    sheets = {sheet.name: sheet for sheet in changes.sheets if sheet.name.startswith(SEASON)}
    assert list(sheets) == [f"{SEASON} Blue", f"{SEASON} Red"]
    assert "Fewer than 3 runs" in said(sheets[f"{SEASON} Red"])
    runs: Sequence[Any] = values(sheets[f"{SEASON} Blue"], titled(sheets[f"{SEASON} Blue"], "Ring").categories)
    assert runs[:2] == ["11", "12"] and len(runs) > 2


@pytest.mark.libreoffice
@pytest.mark.parametrize("paper", [A4, LETTER], ids=["A4", "Letter"])
def test_it_prints_whole_on_a4_and_letter(tmp_path: Path, paper: int) -> None:
    book = scratch_workbook([drawn(season_log(tmp_path / "LOG.xlsx"))])
    # The width of a column follows the book's own font; this one is at hand on every system.
    book._named_styles["Normal"].font = Font(name="Arial", size=10)  # type: ignore[attr-defined]
    book[SEASON].page_setup.paperSize = str(paper)
    book.save(tmp_path / "SEASON.xlsx")
    pages = [" ".join(page.split()) for page in printed_pages(tmp_path / "SEASON.xlsx")]
    assert len(pages) in (2, 3)
    for text in (
        "What was changed",
        "LF RF 76→78, LR 80→82",
        "Ring (mm) · run 9",
        "Elapsed time",
        "EGT has a goal",
    ):
        assert text in pages[0]
    later = " ".join(pages[1:])
    assert "Cylinder by cylinder" in later and "right bank" in later and "cyl 8" in later
    assert "In percent of what is usual" in later and "EGT, °F per degree of timing" in later


def test_no_page_break_can_cut_a_chart(season: SheetOut) -> None:
    for chart in season.charts:
        assert chart.until is not None and chart.until[0] == chart.anchor[0] + 1
        row_pt = season.row_heights_pt[chart.anchor[0]]
        assert row_pt - chart.drop_pt == pytest.approx(chart.height_cm / 2.54 * 72.0, abs=1.0)
        assert row_pt <= 409.0  # no row may be higher


@pytest.mark.parametrize(
    ("changed", "label"),
    [
        ((), ""),
        (("all jets 76 to 78",), "all jets 76→78"),
        (("jet LF 74 to 73", "jet RF 74 to 73", "total timing 34 to 33.5°"), "LF RF 74→73 +1 more"),
        (("jet LF 74 to 73", "plugs B to C"), "LF 74→73, plugs B→C"),
        (("jet LF 74 to 73", "jet LR 80 to 81", "jet RR 80 to 82"), "LF 74→73, LR 80→81 +1 more"),
        (("cylinder 5 timing trim +0 to -1°",), "cyl 5 timing −1°"),
        (("cylinder 5 fuel trim +0 to +2 %", "cylinder 6 fuel trim +0 to +2 %"), "trims of 2 cyl"),
        (("plugs a very long name of a plug to another",), "plugs a very long name of "),
    ],
)
def test_a_change_in_a_few_letters(changed: tuple[str, ...], label: str) -> None:
    assert change_label(changed) == label
    assert len(label) <= MOST_LETTERS


@given(st.lists(st.floats(-2000.0, 2000.0), min_size=1, max_size=30))
def test_an_axis_holds_all_of_its_values_in_a_few_round_steps(numbers: list[float]) -> None:
    (low, high), step = spaced(numbers)
    assert low <= min(numbers) + 1e-5 and high >= max(numbers) - 1e-5 and high > low
    assert (low >= 0.0) == (min(numbers) >= 0.0)
    assert 1 <= round((high - low) / step) <= MOST_STEPS + 2
