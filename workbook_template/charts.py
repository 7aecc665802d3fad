"""The sheet of charts: how far each cylinder's mixture and timing are off target, with their spread."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from engine_rules.advice import Advice, CylinderAdvice
from workbook_template.hosts.protocol import CellOut, ChartOut, Series, SheetOut, Style
from workbook_template.wording import ERROR_FORMAT

WIDTH_CM, HEIGHT_CM = 24.0, 8.0
FIRST_ROW = 4
CHART_COLUMN = 7
ROW_PT = 15.0
_TITLE = Style(bold=True, size_pt=16)
_LEAD = Style(size_pt=10)
_HEAD = Style(bold=True, size_pt=10, border="bottom", align="right")
_NUMBER = Style(size_pt=10, align="right", number_format=ERROR_FORMAT)
_SPREAD = Style(size_pt=10, align="right", number_format="0.0")
_LABEL = Style(bold=True, size_pt=10, align="right")


@dataclass(frozen=True, slots=True)
class _Kind:
    """One chart: its title, the ends of its upright axis, its columns, and what it shows (value, spread)."""

    title: str
    axis: str
    columns: tuple[int, int]
    shown: Sequence[tuple[float | None, float | None]]


def draw_charts(name: str, advice: Advice) -> SheetOut:
    """The sheet of that name: the numbers, and a chart each of mixture and timing where any was read."""
    cylinders = advice.cylinders
    kinds = (
        _Kind("Mixture against target, % fuel", "lean below 0, rich above", (2, 3),
              [(one.mixture_pct, one.mixture_sd) for one in cylinders]),
        _Kind("Timing against target, degrees", "retarded below 0, advanced above", (4, 5),
              [(one.timing_deg, one.timing_sd) for one in cylinders]),
    )  # fmt: skip
    drawn = [kind for kind in kinds if any(value is not None for value, _ in kind.shown)]
    return SheetOut(
        name=name,
        cells=_cells(advice, cylinders),
        column_widths={1: 10.0, 2: 13.0, 3: 9.0, 4: 13.0, 5: 9.0, 6: 3.0},
        charts=tuple(_chart(kind, at, len(cylinders)) for at, kind in enumerate(drawn)),
        landscape=True,
        fit_to_pages=(1, 1),
        footer=f"{name} · run {advice.run}",
    )


def _cells(advice: Advice, cylinders: Sequence[CylinderAdvice]) -> dict[tuple[int, int], CellOut]:
    cells = {
        (1, 1): CellOut(f"Run {advice.run}: where each cylinder stands", _TITLE),
        (2, 1): CellOut("0 is on target. The bars show the spread: where the value most likely lies.", _LEAD),
    }
    for column, heading in enumerate(("Cylinder", "Mixture (%)", "± (%)", "Timing (°)", "± (°)"), 1):
        cells[FIRST_ROW, column] = CellOut(heading, _HEAD)
    for row, one in enumerate(cylinders, FIRST_ROW + 1):
        cells[row, 1] = CellOut(str(one.cylinder), _LABEL)
        for column, value in ((2, one.mixture_pct), (4, one.timing_deg)):
            cells[row, column] = CellOut(_rounded(value), _NUMBER)
        for column, spread in ((3, one.mixture_sd), (5, one.timing_sd)):
            cells[row, column] = CellOut(_rounded(spread), _SPREAD)
    return cells


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _chart(kind: _Kind, at: int, count: int) -> ChartOut:
    first, last = FIRST_ROW + 1, FIRST_ROW + count
    value, spread = kind.columns
    reach = max(abs(mean) + (sd or 0.0) for mean, sd in kind.shown if mean is not None)
    reach = max(1.0, math.ceil(reach))
    return ChartOut(
        kind="points",
        title=kind.title,
        categories=(first, 1, last, 1),
        series=(Series(kind.title, (first, value, last, value), (first, spread, last, spread)),),
        x_title="Cylinder",
        y_title=kind.axis,
        anchor=(FIRST_ROW + at * math.ceil((HEIGHT_CM + 0.4) / 2.54 * 72.0 / ROW_PT), CHART_COLUMN),
        width_cm=WIDTH_CM,
        height_cm=HEIGHT_CM,
        y_range=(-reach, reach),
    )
