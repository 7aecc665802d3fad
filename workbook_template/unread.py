"""Runs with a cell that cannot be read: the newest one is refused, an older one is set aside."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from engine_rules.logbook import Cell, Finding, LogbookError, Reading, Result, Run
from workbook_template.read_runs import ReadingRows, RunRow

Unread = Mapping[str, Sequence[LogbookError]]  # name of a run -> what could not be read in it

_OF_DANGER = frozenset({"specks", "porcelain", "centre_wire", "also_seen"})


def set_aside(runs: Sequence[Run], unread: Unread, findings: list[Finding]) -> tuple[Run, ...]:
    """The runs, oldest first; from one that could not be read whole nothing is learned, and a finding says so.

    What was set on its engine stays, and so does what it shows of danger: no sign of that is forgotten for a slip of
    the pen beside it. Raises the first LogbookError of the newest run that holds anything of the plugs.
    """
    holding = [run for run in runs if run.readings or unread.get(run.name)]
    if holding and unread.get(holding[-1].name):
        raise unread[holding[-1].name][0]
    for run in runs:
        for error in unread.get(run.name, ()):
            said = str(error).removeprefix(f"{error.sheet}!{error.ref}: ")
            text = f"{said}; until then nothing is learned from run {run.name}, and only its signs of danger count"
            findings.append(Finding(text, Cell(error.sheet, error.ref)))
    return tuple(_of_danger(run) if unread.get(run.name) else run for run in runs)


def all_unread(run_rows: Iterable[RunRow], readings: ReadingRows, found: Unread) -> Unread:
    """What could not be read of each run: where it was found, on its own row, on those of its plugs."""
    return {
        one.run.name: [*found.get(one.run.name, ()), *one.unread, *readings.unread.get(one.run.name, ())]
        for one in run_rows
    }


def _of_danger(run: Run) -> Run:
    return replace(run, result=Result(), bank_lambda={}, readings=tuple(map(_danger_of, run.readings)))


def _danger_of(reading: Reading) -> Reading:
    signs = tuple(sign for sign in reading.signs if sign.kind in _OF_DANGER)
    return replace(reading, signs=signs, egt_c=None, lambda_ratio=None)
