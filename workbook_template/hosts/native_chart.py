"""A chart that the spreadsheet draws itself, from `ChartOut`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from openpyxl.chart import AreaChart, BarChart, LineChart, Reference
from openpyxl.chart.axis import ChartLines, NumericAxis, TextAxis
from openpyxl.chart.data_source import AxDataSource, NumDataSource, NumRef, StrRef
from openpyxl.chart.error_bar import ErrorBars
from openpyxl.chart.layout import Layout, ManualLayout
from openpyxl.chart.legend import Legend, LegendEntry
from openpyxl.chart.marker import Marker
from openpyxl.chart.series import Series as NativeSeries
from openpyxl.chart.series import SeriesLabel
from openpyxl.chart.series_factory import SeriesFactory
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.text import RichText
from openpyxl.chart.title import Title, title_maker
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, TwoCellAnchor
from openpyxl.drawing.text import CharacterProperties, Paragraph, ParagraphProperties, RichTextProperties
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from workbook_template.hosts.protocol import Area, Band, ChartOut, Look, Series

_INK, _GREY, _SHADE = "000000", "BFBFBF", "DDDDDD"
_EMU_PER_PT = 12_700
# In sixtieths of a thousandth of a degree. Told to be wholly level, some programs write all names over each other; told
# a hair's breadth less, they leave some out.
_TURNS = {"level": 1, "upright": -5_400_000}
_DASHES: Mapping[str, Any] = {"dot": "sysDot", "dash dot": "dashDot", "long dash": "lgDash"}
_MARKS: Mapping[str, Any] = {"": "none", "bar": "dash"}
_LEGEND_CM = 0.6
_OF_KIND = {"points": Look(mark="diamond", mark_pt=11)}


def add_native_chart(sheet: Worksheet, out: ChartOut) -> None:
    """Put the chart of that sheet's cells where it belongs."""
    chart = native_chart(sheet, out)
    row, column = out.anchor
    if out.until is None:
        sheet.add_chart(chart, f"{get_column_letter(column)}{row}")
        return
    last_row, last_column = out.until
    begins = AnchorMarker(col=column - 1, row=row - 1, rowOff=round(out.drop_pt * _EMU_PER_PT))
    ends = AnchorMarker(col=last_column - 1, row=last_row - 1)
    chart.anchor = TwoCellAnchor(_from=begins, to=ends)  # type: ignore[assignment]  # its stub knows names alone
    sheet.add_chart(chart)


def native_chart(sheet: Worksheet, out: ChartOut) -> AreaChart | BarChart | LineChart:
    """The chart of that sheet's cells; 'points' is a line chart that shows its marks alone."""
    lines: BarChart | LineChart = BarChart() if out.kind == "bar" else LineChart()
    for series in out.series:
        lines.series.append(_native_series(sheet, out.kind, series))
    band = None if out.band is None else _banded(sheet, out.band)
    names = AxDataSource(strRef=StrRef(f=str(_reference(sheet, out.categories))))
    for one in [*([] if band is None else band.series), *lines.series]:
        one.cat = names
    chart: AreaChart | BarChart | LineChart = lines
    if band is not None:
        band += lines
        chart = band
    _dress(chart, out)
    chart.legend = _legend(out)
    return chart


def _legend(out: ChartOut) -> Legend | None:
    """The legend without what explains itself; none where one series stands alone."""
    shown = [series.in_legend for series in out.series]
    if out.band is not None:
        shown = [False, True, *shown]
    if not out.legend or len(shown) == 1:
        return None
    hidden = [LegendEntry(idx=at, delete=True) for at, one in enumerate(shown) if not one]
    legend = Legend(legendEntry=hidden, txPr=_text(out.text_pt) if out.text_pt else None)
    if out.legend == "top":
        legend.legendPos = "t"
        place = ManualLayout(xMode="edge", yMode="edge", x=0.5, y=0.0, w=0.49, h=_LEGEND_CM / out.height_cm)
        legend.layout = Layout(manualLayout=place)
        legend.overlay = False
    return legend


def _banded(sheet: Worksheet, band: Band) -> AreaChart:
    """Two areas on top of each other, the lower one unseen."""
    chart = AreaChart(grouping="stacked")
    lower = Series(f"below {band.title}", band.lowest)
    for one, seen in ((lower, False), (Series(band.title, band.widths, title_at=band.title_at), True)):
        series = _titled(sheet, one)
        fill = {"solidFill": _SHADE} if seen else {"noFill": True}
        series.graphicalProperties = GraphicalProperties(ln=LineProperties(noFill=True), **fill)
        chart.series.append(series)
    return chart


def _dress(chart: AreaChart | BarChart | LineChart, out: ChartOut) -> None:
    """Titles, axes, size and plot."""
    chart.title = _title(out.title, out.title_pt, bold=True)
    if out.text_pt:
        chart.title.layout = Layout(manualLayout=ManualLayout(xMode="edge", yMode="edge", x=0.005, y=0.01))
        chart.graphical_properties = GraphicalProperties(ln=LineProperties(noFill=True))
    chart.width = out.width_cm  # type: ignore[assignment]  # its stub says int; centimetres may be broken
    chart.height = out.height_cm
    chart.roundedCorners = False
    if out.plot is not None:
        x, y, w, h = out.plot
        inner = ManualLayout(layoutTarget="inner", xMode="edge", yMode="edge", x=x, y=y, w=w, h=h)
        chart.layout = Layout(manualLayout=inner)
    assert isinstance(chart.x_axis, TextAxis)
    _dress_axes(chart.x_axis, chart.y_axis, out)


def _dress_axes(across: TextAxis, upright: NumericAxis, out: ChartOut) -> None:
    across.delete, upright.delete = out.names == "none", out.names == "upright"
    upright.crossBetween = "midCat" if out.to_edges else "between"
    if out.y_range is not None:
        upright.scaling.min, upright.scaling.max = out.y_range
    size = out.text_pt or 10.0
    across.title, upright.title = (
        _title(text, size, bold=False) if text else None for text in (out.x_title, out.y_title)
    )
    across.tickLblPos = "low"  # the axis itself crosses at zero, which is often the target
    across.graphicalProperties = GraphicalProperties(ln=LineProperties(solidFill=_INK, w=2 * _EMU_PER_PT))
    lines = ChartLines(spPr=GraphicalProperties(ln=LineProperties(solidFill=_GREY)))
    upright.majorGridlines = None if upright.delete else lines
    if out.every > 1:
        across.tickLblSkip = across.tickMarkSkip = out.every
    if out.text_pt:
        across.txPr, upright.txPr = _text(out.text_pt, _TURNS.get(out.names)), _text(out.text_pt)
        across.graphicalProperties = GraphicalProperties(ln=LineProperties(solidFill=_INK, w=_EMU_PER_PT // 2))
    if out.y_step:
        upright.majorUnit = out.y_step


def _title(text: str, size_pt: float, bold: bool) -> Title:
    made: Title = title_maker(text)
    made.overlay = False  # else the plot runs under it
    paragraphs = made.tx.rich.paragraphs if made.tx is not None and made.tx.rich is not None else ()
    letters = CharacterProperties(sz=round(size_pt * 100), b=bold)
    for paragraph in paragraphs:
        paragraph.pPr = ParagraphProperties(defRPr=letters)
        for run in paragraph.r:
            run.rPr = letters
    return made


def _text(size_pt: float, turned: int | None = None) -> RichText:
    letters = ParagraphProperties(defRPr=CharacterProperties(sz=round(size_pt * 100)))
    body = RichTextProperties() if turned is None else RichTextProperties(rot=turned, vert="horz")
    return RichText(bodyPr=body, p=[Paragraph(pPr=letters, endParaRPr=CharacterProperties())])


def _titled(sheet: Worksheet, out: Series) -> NativeSeries:
    series: NativeSeries = SeriesFactory(_reference(sheet, out.values))
    series.tx = SeriesLabel(v=out.title)
    if out.title_at is not None:
        series.tx = SeriesLabel(strRef=StrRef(f=str(_reference(sheet, (*out.title_at, *out.title_at)))))
    return series


def _native_series(sheet: Worksheet, kind: str, out: Series) -> NativeSeries:
    series = _titled(sheet, out)
    look = out.look or _OF_KIND.get(kind)
    if look is not None:
        _give_look(series, look)
    if kind != "bar":
        series.smooth = False
    if out.error_values is not None:
        half_width = NumDataSource(numRef=NumRef(f=str(_reference(sheet, out.error_values))))
        series.errBars = _error_bars(ErrorBars(errBarType="both", errValType="cust", plus=half_width, minus=half_width))
    return series


def _give_look(series: NativeSeries, look: Look) -> None:
    line = LineProperties(noFill=True)
    if look.width_pt:
        line = LineProperties(
            solidFill=look.color, prstDash=_DASHES.get(look.dash, look.dash), w=round(look.width_pt * _EMU_PER_PT)
        )
    series.graphicalProperties = GraphicalProperties(ln=line)
    series.marker = Marker(symbol=_MARKS.get(look.mark, look.mark))
    if look.mark:
        series.marker.size = look.mark_pt
        fill = {"noFill": True} if look.hollow else {"solidFill": look.color}
        series.marker.spPr = GraphicalProperties(ln=LineProperties(solidFill=look.color), **fill)
    if look.drop:
        bars = ErrorBars(errBarType="minus", errValType="percentage", noEndCap=True, val=100)
        series.errBars = _error_bars(bars, LineProperties(solidFill=_GREY, prstDash="dash", w=_EMU_PER_PT // 2))


def _reference(sheet: Worksheet, area: Area) -> Reference:
    top, left, bottom, right = area
    return Reference(sheet, min_row=top, min_col=left, max_row=bottom, max_col=right)


def _error_bars(bars: ErrorBars, line: LineProperties | None = None) -> ErrorBars:
    bars.errDir = "y"
    bars.spPr = GraphicalProperties(ln=line or LineProperties(solidFill=_INK, w=_EMU_PER_PT))
    # The library writes minus before plus, which the schema (ECMA-376, CT_ErrBars) does not allow.
    bars.__elements__ = ("errDir", "errBarType", "errValType", "noEndCap", "plus", "minus", "val", "spPr")  # type: ignore[misc]
    return bars
