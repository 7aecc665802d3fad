"""What the log taught of this engine, on the sheet of the season: against the usual values, and as it was learned."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import NormalDist

from engine_rules.logbook import Logbook
from engine_rules.response import Learned
from engine_rules.season import Season
from workbook_template.hosts.protocol import Area, Band, Look, Series
from workbook_template.season_numbers import Numbers, rounded, spaced
from workbook_template.season_page import LINE, PART, Drawing, SeasonPage
from workbook_template.season_words import Units

HALF_OF_90 = NormalDist().inv_cdf(0.95)  # spreads from the middle of a 90 % interval to its end
ANSWERS_MM, COURSE_MM, ACROSS = 50.0, 40.0, 3
NAMES_MM = 13.0  # three lines of what an answer is called
_ANSWER = Look(mark="diamond", mark_pt=9)
_USUAL = Look(color="404040", width_pt=1.0, dash="dash")
_VALUE = Look(width_pt=1.75)
_KEY = "After each run: line, what was learned; grey, where it lies nine times out of ten; dashes, what is usual."
_HEADING = "What the log taught of this engine"


def draw_learned(page: SeasonPage, of: Season, names: Area, units: Units, logbook: Logbook) -> None:
    """One chart of all answers in percent of the usual, then each as it was learned; one sentence where none was."""
    final = [one for one in of.beliefs[-1] if one.changes and one.usual]
    if not final:
        page.line(_HEADING, PART)
        page.line(
            "Nothing yet: no change stands between two sets that can be learned from. The sheet Ledger names the runs "
            "that teach nothing, and why."
        )
        return
    page.chart_row([_answers(page.numbers, final, units, logbook)], 1, ANSWERS_MM, _HEADING)
    charts = [_course(page.numbers, of, one, names, units, logbook) for one in final]
    for at in range(0, len(charts), ACROSS):
        page.chart_row(charts[at : at + ACROSS], ACROSS, COURSE_MM, "" if at else _KEY, LINE)


def _answers(numbers: Numbers, final: Sequence[Learned], units: Units, logbook: Logbook) -> Drawing:
    """Each answer in percent of the usual one, with where it lies at nine to one."""
    names = [f"{_name(one, units, logbook)} ({_counted(one.changes)})" for one in final]
    values = [100.0 * one.value / one.usual for one in final]
    spreads = [HALF_OF_90 * 100.0 * one.sd / abs(one.usual) for one in final]
    reach = [one + sign * spread for one, spread in zip(values, spreads, strict=True) for sign in (-1, 1)]
    y_range, step = spaced([*reach, 100.0])
    short = _top(numbers, len(final))
    told = short.add("Learned", names)
    middle = short.add("% of usual", [rounded(one) for one in values])
    spread = short.add("± for 90 %", [rounded(one) for one in spreads])
    usual = short.add("Usual (%)", [100.0] * len(final))
    numbers.column = short.column
    numbers.cells |= short.cells
    series = (Series("learned, 90 % sure", middle, spread, _ANSWER), Series("usual", usual, look=_USUAL))
    title = "In percent of what is usual"
    return Drawing(title, told, series, y_range, step, count=1, where="broken", to_edges=False, below_mm=NAMES_MM)


def _top(numbers: Numbers, rows: int) -> Numbers:
    """A shorter table beside the one of the runs, one column apart."""
    return Numbers(numbers.top, rows, numbers.column + 1)


def _course(numbers: Numbers, of: Season, last: Learned, names: Area, units: Units, logbook: Logbook) -> Drawing:
    """One answer after each run, within its 90 % interval; before its first change it is what is usual."""
    scale = units.answer_scale(last.key)
    course = [next(one for one in by if one.key == last.key) for by in of.beliefs]
    values = [scale * one.value for one in course]
    halves = [HALF_OF_90 * abs(scale) * one.sd for one in course]
    ends = [(one - half, one + half) for one, half in zip(values, halves, strict=True)]
    usual = scale * last.usual
    y_range, step = spaced([*(end for both in ends for end in both), usual])
    title = _name(last, units, logbook)
    value = numbers.add(title, [rounded(one) for one in values])
    lowest = numbers.add("90 % from", [rounded(low) for low, _ in ends])
    widths = numbers.add("90 % width", [rounded(high - low) for low, high in ends])
    line = numbers.add("Usual", [rounded(usual)] * len(values))
    series = (Series("learned", value, look=_VALUE), Series("usual", line, look=_USUAL))
    longest = max(len(run.name) for run in of.runs)
    return Drawing(
        title, names, series, y_range, step, Band("90 % sure", lowest, widths), longest, len(of.runs), legend=""
    )


def _name(one: Learned, units: Units, logbook: Logbook) -> str:
    return units.answer_name(one.key, logbook.targets.entry(one.key).about)


def _counted(changes: int) -> str:
    return f"{changes} change{'' if changes == 1 else 's'}"
