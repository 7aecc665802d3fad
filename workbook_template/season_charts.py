"""The sheet of the season: ring, strap mark, EGT and result run by run, each cylinder by itself, and what was learned.

Charts of the spreadsheet's own over numbers in cells of the same sheet, so that a racer may change them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from statistics import fmean

from engine_rules.logbook import Engine
from engine_rules.season import LEAST_RUNS, Course, Season, season
from workbook_template.book import ReadBook
from workbook_template.hosts.protocol import Area, Band, Look, Series, SheetOut
from workbook_template.page import LINE_PER_SIZE, MM_PER_PT, text_height_pt
from workbook_template.season_learned import draw_learned
from workbook_template.season_numbers import Column, Numbers, rounded, spaced
from workbook_template.season_page import (
    BARE_MM,
    LINE,
    LINE_MM,
    PLOT_MM,
    TITLE,
    TITLE_MM,
    WIDTH_MM,
    Drawing,
    SeasonPage,
)
from workbook_template.season_words import (
    Units,
    change_label,
    course_title,
    group_title,
    lead_lines,
    reading_title,
    result_title,
    season_notes,
)

# Below what any engine's charts take.
NUMBERS_ROW = 60
LOWEST_PANEL_MM, HIGHEST_PANEL_MM = 26.0, 44.0
NAMES_MM, MARKS_MM = LINE_MM - BARE_MM, 3.0  # what the names of the runs take, and a row of marks
# Letters of what was changed: their size, as large as they fit beside each other, and a letter's width against it.
SMALLEST_PT, LARGEST_PT, LABEL_EM = 5.0, 7.5, 0.56
GROUP_MM, MOST_IN_GROUP, NEWEST_BY_CYLINDER = 57.0, 6, 30
# With more marks than this the lines below them would be a hatching.
MOST_DROPS = 40

_MEAN = Look(width_pt=2.0, mark="circle", mark_pt=4)
_END = Look(color="404040", width_pt=0.75, dash="dash", mark="bar", mark_pt=4)
_CHANGE = Look(color="7F7F7F", mark="diamond", mark_pt=5, drop=True)
_MARKED = replace(_CHANGE, drop=False)
_CYLINDERS = (
    Look(color="000000", width_pt=1.25, mark="circle"),
    Look(color="1F4E79", width_pt=1.25, dash="dash", mark="square", hollow=True),
    Look(color="C00000", width_pt=1.25, dash="dot", mark="triangle"),
    Look(color="548235", width_pt=1.25, dash="dash dot", mark="diamond", hollow=True),
    Look(color="7F7F7F", width_pt=1.25, mark="x"),
    Look(color="7030A0", width_pt=1.25, dash="long dash", mark="plus"),
)


def draw_season(name: str, book: ReadBook) -> SheetOut:
    """The sheet of that name, of the whole log; one sentence where too few runs were logged to draw a course."""
    logbook = book.logbook
    page = SeasonPage(name, Numbers(NUMBERS_ROW))
    page.line(f"Season: {logbook.engine.name}" if logbook.engine.name else "Season", TITLE)
    if len(logbook.runs) < LEAST_RUNS:
        page.line(f"Fewer than {LEAST_RUNS} runs are logged, so there is no course to draw yet.")
        return page.drawn()
    of = season(logbook)
    units = Units.of(book)
    for text in lead_lines(of, NUMBERS_ROW):
        page.line(text)
    names = page.numbers.add("Run", [run.name for run in of.runs]).area
    drawn = [one for one in of.courses if one.runs_read >= LEAST_RUNS]
    strip = _strip(page.numbers, of)
    panels = [_panel(page.numbers, of, one, names, units) for one in drawn]
    results = list(_result_panels(page.numbers, of, names, units, logbook.engine))
    _draw_set(page, strip, [*panels, *results], list(season_notes(of, logbook.engine)))
    if len(logbook.engine.cylinders) > 1:
        _draw_cylinders(page, of, list(zip(drawn, panels, strict=True)), units, logbook.engine)
    draw_learned(page, of, names, units, logbook)
    return page.drawn()


# -- the set as a whole


def _draw_set(page: SeasonPage, strip: Drawing, panels: Sequence[Drawing], notes: Sequence[str]) -> None:
    """What was changed, and below it in one line with it a chart of each reading and of the result; then the notes."""
    if panels:
        page.chart_row([strip], 1, TITLE_MM + MARKS_MM + strip.below_mm)
        notes_mm = sum(text_height_pt(text, WIDTH_MM, LINE) for text in notes) * MM_PER_PT
        each = min(max((page.left_mm - notes_mm - NAMES_MM) / len(panels), LOWEST_PANEL_MM), HIGHEST_PANEL_MM)
        for panel in panels[:-1]:
            page.chart_row([replace(panel, where="none")], 1, each)
        page.chart_row(panels[-1:], 1, each + NAMES_MM)
    for text in notes:
        page.line(text)


def _strip(numbers: Numbers, of: Season) -> Drawing:
    """What was changed, upright below a mark at the run that it came with, in letters as large as have room."""
    labels = [change_label(one) for one in of.changed]
    told = numbers.add("Changed", [label or None for label in labels])
    marks = numbers.add("change", [0.0 if label else None for label in labels])
    title = "What was changed" if any(labels) else "Nothing was changed from run to run"
    room_pt = PLOT_MM / len(labels) / LINE_PER_SIZE / MM_PER_PT
    size_pt = math.floor(2.0 * min(max(room_pt, SMALLEST_PT), LARGEST_PT)) / 2.0
    return Drawing(
        title=title,
        categories=told.area,
        series=(marks.series(_MARKED),),
        y_range=(-1.0, 1.0),
        y_step=0.0,
        where="upright",
        text_pt=size_pt,
        below_mm=BARE_MM + LABEL_EM * size_pt * MM_PER_PT * max(map(len, labels)),
    )


def _panel(numbers: Numbers, of: Season, course: Course, names: Area, units: Units) -> Drawing:
    """The mean of the set between its lowest and its highest cylinder, the goal behind them."""
    seen = [[units.reading(course.kind, one) for one in by.values()] for by in course.amounts]
    goal = None if course.goal is None else [units.reading(course.kind, one) for one in course.goal]
    y_range, step = spaced([one for amounts in seen for one in amounts] + (goal or []))
    numbers.about(reading_title(course.kind, units))
    several = max(map(len, seen)) > 1
    means = numbers.add("mean" if several else "cylinder read", [rounded(fmean(one)) if one else None for one in seen])
    series = [means.series(_MEAN)]
    if several:
        highest = numbers.add("lowest, highest", [rounded(max(one)) if one else None for one in seen])
        lowest = numbers.add("lowest", [rounded(min(one)) if one else None for one in seen])
        series += [highest.series(_END), lowest.series(_END, in_legend=False)]
    series.append(_changes(numbers, of, y_range[1]))
    band = None if goal is None else _goal(numbers, goal, len(of.runs))
    title = course_title(course, units, of)
    return Drawing(title, names, tuple(series), y_range, step, band, _longest(of), len(of.runs))


def _result_panels(numbers: Numbers, of: Season, names: Area, units: Units, engine: Engine) -> Iterator[Drawing]:
    """The chart of the result, where enough of them can be compared."""
    if of.result is None or of.result.runs_read < LEAST_RUNS:
        return
    kind = of.result.kind
    values = [None if one is None else units.result(kind, one) for one in of.result.values]
    y_range, step = spaced([one for one in values if one is not None])
    title = result_title(of.result, units, engine.power_standard)
    numbers.about(title)
    series = (numbers.add(kind, [rounded(one) for one in values]).series(_MEAN), _changes(numbers, of, y_range[1]))
    yield Drawing(title, names, series, y_range, step, None, _longest(of), len(of.runs))


def _changes(numbers: Numbers, of: Season, top: float) -> Series:
    marks = numbers.add("change", [top if one else None for one in of.changed])
    look = _CHANGE if sum(map(bool, of.changed)) <= MOST_DROPS else _MARKED
    return marks.series(look, in_legend=False)


def _goal(numbers: Numbers, goal: Sequence[float], count: int) -> Band:
    lowest = numbers.add("goal", [rounded(goal[0])] * count)
    return lowest.band(numbers.add("its width", [rounded(goal[1] - goal[0])] * count))


def _longest(of: Season) -> int:
    return max(len(run.name) for run in of.runs)


# -- each cylinder


def _draw_cylinders(
    page: SeasonPage, of: Season, drawn: Sequence[tuple[Course, Drawing]], units: Units, engine: Engine
) -> None:
    """A line for each cylinder, few enough to a chart to tell them apart, a bank beside the other."""
    banks = list(_groups(engine))
    across = 1 if len(banks) == 1 else 2
    heading = "Cylinder by cylinder"
    if len(of.runs) > NEWEST_BY_CYLINDER:
        heading += f", the newest {NEWEST_BY_CYLINDER} runs"
    for course, of_set in drawn:
        lines = _columns(page.numbers, course, units, engine)
        charts = []
        for bank, cylinders in banks:
            looks = zip(cylinders, _CYLINDERS, strict=False)
            series = tuple(lines[number].series(look) for number, look in looks)
            drawing = replace(of_set, title=group_title(course, units, bank), series=series, legend="right")
            charts.append(drawing.of_newest(NEWEST_BY_CYLINDER))
        for at in range(0, len(charts), across):
            page.chart_row(charts[at : at + across], across, GROUP_MM, heading)
            heading = ""


def _columns(numbers: Numbers, course: Course, units: Units, engine: Engine) -> Mapping[int, Column]:
    """A column of numbers for each cylinder, of the newest runs."""
    earlier: list[float | None] = [None] * max(0, len(course.amounts) - NEWEST_BY_CYLINDER)
    newest = course.amounts[len(earlier) :]
    numbers.about(reading_title(course.kind, units))

    def column(number: int) -> Column:
        read = [units.reading(course.kind, one[number]) if number in one else None for one in newest]
        return numbers.add(f"cyl {number}", earlier + [rounded(one) for one in read])

    return {number: column(number) for number in engine.numbers}


def _groups(engine: Engine) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Bank and cylinders of each chart, from the front to the rear."""
    banks: dict[str, list[int]] = {}
    for one in sorted(engine.cylinders, key=lambda one: (one.bank, one.place)):
        banks.setdefault(one.bank, []).append(one.number)
    for bank, cylinders in banks.items():
        charts = -(-len(cylinders) // MOST_IN_GROUP)
        size = -(-len(cylinders) // charts)
        for at in range(0, len(cylinders), size):
            yield bank, tuple(cylinders[at : at + size])
