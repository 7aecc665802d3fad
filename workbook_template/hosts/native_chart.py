"""A chart that the spreadsheet draws itself, from `ChartOut`."""

from __future__ import annotations

from openpyxl.chart import BarChart, LineChart, Reference
from openpyxl.chart.axis import ChartLines
from openpyxl.chart.data_source import NumDataSource, NumRef
from openpyxl.chart.error_bar import ErrorBars
from openpyxl.chart.marker import Marker
from openpyxl.chart.series import Series as NativeSeries
from openpyxl.chart.series import SeriesLabel
from openpyxl.chart.series_factory import SeriesFactory
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.title import Title, title_maker
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.text import CharacterProperties, ParagraphProperties
from openpyxl.worksheet.worksheet import Worksheet

from workbook_template.hosts.protocol import ChartOut, Series

_INK, _GREY = "000000", "BFBFBF"
_EMU_PER_PT = 12_700


def native_chart(sheet: Worksheet, out: ChartOut) -> BarChart | LineChart:
    """The chart of that sheet's cells; 'points' is a line chart that shows its marks alone."""
    chart: BarChart | LineChart = BarChart() if out.kind == "bar" else LineChart()
    for series in out.series:
        chart.series.append(_native_series(sheet, out.kind, series))
    chart.set_categories(_reference(sheet, out.categories))
    chart.title = _title(out.title, 13, bold=True)
    chart.width = out.width_cm  # type: ignore[assignment]  # its stub says int; centimetres may be broken
    chart.height = out.height_cm
    chart.x_axis.title, chart.y_axis.title = _title(out.x_title, 10, bold=False), _title(out.y_title, 10, bold=False)
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.x_axis.tickLblPos = "low"  # the axis itself crosses at zero, which is the target
    chart.x_axis.graphicalProperties = GraphicalProperties(ln=LineProperties(solidFill=_INK, w=2 * _EMU_PER_PT))
    chart.y_axis.majorGridlines = ChartLines(spPr=GraphicalProperties(ln=LineProperties(solidFill=_GREY)))
    if out.y_range is not None:
        chart.y_axis.scaling.min, chart.y_axis.scaling.max = out.y_range
    if len(out.series) == 1:
        chart.legend = None
    return chart


def _title(text: str, size_pt: int, bold: bool) -> Title:
    made: Title = title_maker(text)
    made.overlay = False  # else the plot runs under it
    paragraphs = made.tx.rich.paragraphs if made.tx is not None and made.tx.rich is not None else ()
    for paragraph in paragraphs:
        paragraph.pPr = ParagraphProperties(defRPr=CharacterProperties(sz=size_pt * 100, b=bold))
        for run in paragraph.r:
            run.rPr = CharacterProperties(sz=size_pt * 100, b=bold)
    return made


def _native_series(sheet: Worksheet, kind: str, out: Series) -> NativeSeries:
    series: NativeSeries = SeriesFactory(_reference(sheet, out.values))
    series.tx = SeriesLabel(v=out.title)
    if kind == "points":
        series.marker = Marker(symbol="diamond", size=11)
        series.marker.spPr = GraphicalProperties(solidFill=_INK, ln=LineProperties(solidFill=_INK))
        series.graphicalProperties = GraphicalProperties(ln=LineProperties(noFill=True))
    if kind != "bar":
        series.smooth = False
    if out.error_values is not None:
        half_width = NumDataSource(numRef=NumRef(f=str(_reference(sheet, out.error_values))))
        series.errBars = _error_bars(half_width)
    return series


def _reference(sheet: Worksheet, area: tuple[int, int, int, int]) -> Reference:
    top, left, bottom, right = area
    return Reference(sheet, min_row=top, min_col=left, max_row=bottom, max_col=right)


def _error_bars(half_width: NumDataSource) -> ErrorBars:
    bars = ErrorBars(
        errDir="y",
        errBarType="both",
        errValType="cust",
        plus=half_width,
        minus=half_width,
        spPr=GraphicalProperties(ln=LineProperties(solidFill=_INK, w=_EMU_PER_PT)),
    )
    # The library writes minus before plus, which the schema (ECMA-376, CT_ErrBars) does not allow.
    bars.__elements__ = ("errDir", "errBarType", "errValType", "noEndCap", "plus", "minus", "val", "spPr")  # type: ignore[misc]
    return bars
