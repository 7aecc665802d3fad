"""What the log taught of this engine, on the sheet of the season: against the usual values, and as it was learned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import NormalDist

from engine_rules.logbook import Logbook
from engine_rules.response import Learned
from engine_rules.season import Season
from workbook_template.hosts.protocol import Area, Look
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
    numbers.column += 1  # a table of its own, with a row for each answer
    told = numbers.add("Learned", names)
    numbers.about("In percent of what is usual")
    middle = numbers.add("learned, 90 % sure", [rounded(one) for one in values])
    spread = numbers.add("give or take", [rounded(one) for one in spreads])
    usual = numbers.add("usual", [100.0] * len(final))
    numbers.column += 1
    series = (replace(middle.series(_ANSWER), error_values=spread.area), usual.series(_USUAL))
    title = "In percent of what is usual"
    return Drawing(title, told.area, series, y_range, step, count=1, where="broken", to_edges=False, below_mm=NAMES_MM)


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
    numbers.about(title)
    value = numbers.add("learned", [rounded(one) for one in values])
    lowest = numbers.add("90 % sure", [rounded(low) for low, _ in ends])
    widths = numbers.add("its width", [rounded(high - low) for low, high in ends])
    line = numbers.add("usual", [rounded(usual)] * len(values))
    series = (value.series(_VALUE), line.series(_USUAL))
    longest = max(len(run.name) for run in of.runs)
    return Drawing(title, names, series, y_range, step, lowest.band(widths), longest, len(of.runs), legend="")


def _name(one: Learned, units: Units, logbook: Logbook) -> str:
    return units.answer_name(one.key, logbook.targets.entry(one.key).about)


def _counted(changes: int) -> str:
    return f"{changes} change{'' if changes == 1 else 's'}"
