"""Charts as the spreadsheet's own: looks, bands, legends and places, read back after a save."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import openpyxl
import pytest

from workbook_template.hosts.protocol import Band, CellOut, ChartOut, Look, Series, SheetOut
from workbook_template.hosts.scratch import scratch_workbook

NAMES, ONES, TWOS = ((2, column, 4, column) for column in (1, 2, 3))
CELLS = {
    (row, column): CellOut(f"r{row}" if column == 1 else float(row)) for row in range(2, 5) for column in (1, 2, 3)
}
LINE = Look(color="1F4E79", width_pt=1.5, dash="dot", mark="square", mark_pt=4, hollow=True)
CHART = ChartOut(
    "line", "Ring", NAMES, (Series("a", ONES, look=LINE), Series("b", TWOS, look=Look(mark="diamond", drop=True))),
    "", "", (3, 2), 20.0, 5.0, (0.0, 5.0),
)  # fmt: skip


def again(chart: ChartOut) -> Any:
    saved = io.BytesIO()
    scratch_workbook([SheetOut("One", CELLS, charts=(chart,))]).save(saved)
    (read,) = openpyxl.load_workbook(saved)["One"]._charts  # type: ignore[attr-defined]
    return read


def test_a_line_has_its_ink_dash_and_mark() -> None:
    one, other = again(CHART).series
    line = one.graphicalProperties.line
    assert (line.solidFill.srgbClr, line.w, line.prstDash) == ("1F4E79", 19050, "sysDot")
    assert (one.marker.symbol, one.marker.size, one.marker.spPr.noFill) == ("square", 4, True)
    assert other.graphicalProperties.line.noFill and other.marker.spPr.solidFill.srgbClr == "000000"


def test_a_drop_goes_down_from_the_point_and_not_up() -> None:
    bars = again(CHART).series[1].errBars
    assert (bars.errBarType, bars.errValType, bars.val) == ("minus", "percentage", 100)


def test_a_band_lies_behind_the_lines_and_its_lower_part_is_unseen() -> None:
    chart = again(replace(CHART, band=Band("goal", ONES, TWOS), to_edges=True))
    band, lines = chart._charts
    assert (band.tagname, band.grouping, lines.tagname) == ("areaChart", "stacked", "lineChart")
    unseen, seen = band.series
    assert unseen.graphicalProperties.noFill and seen.graphicalProperties.solidFill is not None
    assert [entry.idx for entry in chart.legend.legendEntry if entry.delete] == [0]
    assert seen.cat.strRef.f == lines.series[0].cat.strRef.f == "'One'!$A$2:$A$4"
    assert lines.y_axis.crossBetween == "midCat"


def test_what_explains_itself_is_not_in_the_legend() -> None:
    series = (CHART.series[0], replace(CHART.series[1], in_legend=False))
    assert [one.idx for one in again(replace(CHART, series=series)).legend.legendEntry] == [1]
    assert again(replace(CHART, legend="")).legend is None
    assert again(replace(CHART, series=series[:1])).legend is None
    top = again(replace(CHART, legend="top")).legend
    assert top.legendPos == "t" and top.layout.manualLayout.y == 0.0


def test_a_chart_may_go_with_its_cells() -> None:
    anchor = again(replace(CHART, until=(4, 9), drop_pt=20.0)).anchor
    assert (anchor._from.row, anchor._from.col, anchor._from.rowOff) == (2, 1, 254_000)
    assert (anchor.to.row, anchor.to.col) == (3, 8)
    fixed = again(CHART).anchor
    assert (fixed._from.row, fixed._from.col, fixed.ext.width) == (2, 1, pytest.approx(7_200_000, rel=1e-3))


@pytest.mark.parametrize(
    ("names", "turned", "gone"),
    [("level", 1, (False, False)), ("upright", -5_400_000, (False, True)), ("none", None, (True, False))],
)
def test_names_stand_below_level_or_upright(names: str, turned: int | None, gone: tuple[bool, bool]) -> None:
    chart = again(replace(CHART, names=names, text_pt=8.0, every=3, y_step=2.5))
    assert (chart.x_axis.delete, chart.y_axis.delete) == gone
    assert chart.x_axis.txPr.bodyPr.rot == turned and chart.x_axis.tickLblPos == "low"
    assert (chart.x_axis.tickLblSkip, chart.y_axis.majorUnit) == (3, 2.5)


def test_a_title_may_stand_in_a_cell() -> None:
    titled = replace(CHART.series[0], title_at=(1, 2))
    band = Band("goal", ONES, TWOS, (1, 3))
    area, lines = again(replace(CHART, series=(titled, CHART.series[1]), band=band))._charts
    assert lines.series[0].tx.strRef.f == "'One'!$B$1" and lines.series[1].tx.v == "b"
    assert area.series[1].tx.strRef.f == "'One'!$C$1"


def test_the_plot_stands_where_it_is_told() -> None:
    place = again(replace(CHART, plot=(0.05, 0.2, 0.9, 0.7))).layout.manualLayout
    assert (place.layoutTarget, place.x, place.y, place.w, place.h) == ("inner", 0.05, 0.2, 0.9, 0.7)
