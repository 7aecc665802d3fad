"""What a button in an open workbook asks, and the answer: the file's own path from sheets to changes, without a file.

A host hands over the sheets as they stand and carries out what comes back; it knows no tuning and no layout.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from rich.console import Console

from engine_rules.logbook import LogbookError
from workbook_template.fill import NEXT_RUN, plan_cars, sheet_for, tab_unit
from workbook_template.hosts.file import FileHost
from workbook_template.hosts.marks import Mark, Settled, ours, settle, take_out
from workbook_template.hosts.protocol import Changes, SheetBlock
from workbook_template.log_file import LogFile
from workbook_template.package.grid import parse_area
from workbook_template.read import read_logbooks

REPORT_WIDTH = 104
_PLACE = re.compile(r"^(.+)!(\$?[A-Z]{1,3}\$?\d+(?::\$?[A-Z]{1,3}\$?\d+)?)$")


@dataclass(frozen=True, slots=True)
class Selected:
    """The selected cell, and the link that it holds as 'Sheet!A1'."""

    sheet: str
    row: int
    column: int
    link: str | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """One press of a button.

    marks: what is ours in the document. air: option of `strapline retune` -> what was given.
    """

    command: str
    document: str
    blocks: tuple[SheetBlock, ...]
    marks: tuple[Mark, ...] = ()
    selected: Selected | None = None
    air: Mapping[str, str] = field(default_factory=dict)

    @property
    def sheets(self) -> tuple[str, ...]:
        """The names of the document's sheets."""
        return tuple(block.name for block in self.blocks)


@dataclass(frozen=True, slots=True)
class FormField:
    """One field of a form: what its answer goes under, and what stands beside it."""

    key: str
    label: str


AIR_FORM = (
    FormField("--temp", "Temperature, such as 75 or 24 C"),
    FormField("--pressure", "Pressure, such as 29.42 or 996 hPa"),
    FormField("--pressure-kind", "Its kind: station (gauge) or sea-level (report)"),
    FormField("--altitude", "Altitude of the track, for sea-level pressure"),
    FormField("--humidity", "Relative humidity in percent"),
)


@dataclass(frozen=True, slots=True)
class Answer:
    """What to say, what to change (None: nothing), where to go as 'Sheet!A1', and the same as plain data.

    form: what must be known first; ask for it and put the question again with the answers.
    """

    lines: tuple[str, ...] = ()
    settled: Settled | None = None
    go_to: str | None = None
    data: object = None
    form: tuple[FormField, ...] = ()


def answer(asked: Asked) -> Answer:
    """The answer to a button. Raises LogbookError where there is none, with what to do."""
    if asked.command not in COMMANDS:
        raise LogbookError(f"there is no command {asked.command}; use one of {', '.join(COMMANDS)}")
    return COMMANDS[asked.command](asked)


def _check(asked: Asked) -> Answer:
    from workbook_template.say import print_checks

    report = io.StringIO()
    print_checks(_console(report), _log(asked))
    return Answer(_lines(report))


def _fill(asked: Asked) -> Answer:
    from engine_rules import advise
    from workbook_template.say import advice_lines

    books = _log(asked).books
    # As for a file: a workbook of several cars is filled for all of them or for none.
    advised = [(book, advise(book.logbook)) for book in books]
    settled = settle(plan_cars([(book, [advice]) for book, advice in advised]), asked.marks, asked.sheets)
    lines = [line for book, advice in advised for line in (book.car, *advice_lines(advice, tab_unit(book))) if line]
    owned = ours(settled.marks, (*asked.sheets, *(sheet.name for sheet in settled.changes.sheets)))
    card = sheet_for(NEXT_RUN, advised[0][0].car)
    data = [advice.as_json() for _, advice in advised]
    return Answer(
        lines=(*lines, "Nothing is saved yet."),
        settled=settled,
        go_to=f"{owned.sheets.get(card, card)}!A2",
        data=data[0] if len(data) == 1 else {book.car: one for (book, _), one in zip(advised, data, strict=True)},
    )


def _air(asked: Asked) -> Answer:
    from workbook_template.say_today import print_today
    from workbook_template.today import draw, today_of_cars

    if not asked.air:
        return Answer(form=AIR_FORM)
    log = _log(asked)
    report = io.StringIO()
    todays, refused = today_of_cars(log, asked.air, None, None)
    for car, today in todays.items():
        if len(log.books) > 1:
            report.write(f"{car}:\n")
        print_today(_console(report), today)
    report.writelines(f"{line}\n" for line in refused)
    sheets = tuple(draw(today, car) for car, today in todays.items())
    settled = settle(Changes(sheets=sheets), asked.marks, asked.sheets)
    data = {car: today.as_json() for car, today in todays.items()}
    return Answer(
        lines=_lines(report),
        settled=settled,
        go_to=f"{settled.changes.sheets[0].name}!A2",
        data=data if len(log.books) > 1 else next(iter(data.values())),
    )


def _why(asked: Asked) -> Answer:
    selected = asked.selected
    if selected is None:
        raise LogbookError("no single cell is selected; select one that strapline filled, or one that you filled in")
    written = set(ours(asked.marks, asked.sheets).sheets.values())
    if not written:
        raise LogbookError("nothing has been filled in yet; press Fill first")
    if selected.link is not None and selected.link.rpartition("!")[0].strip("'").replace("''", "'") in written:
        return Answer(go_to=selected.link)
    for block in asked.blocks:
        row = _speaks_of(block, selected) if block.name in written and block.name != selected.sheet else None
        if row is not None:
            return Answer(go_to=f"{block.name}!A{row}")
    raise LogbookError(
        "no rule stood on this cell and none wrote it; select a filled cell of the newest run, or one of its readings"
    )


def _speaks_of(block: SheetBlock, selected: Selected) -> int | None:
    """The row of the first entry of that sheet that names the selected cell; entries begin in the first column."""
    begun = block.first_row
    for row, values in enumerate(block.rows, block.first_row):
        begun = row if values and values[0] is not None else begun
        for value in values:
            place = _PLACE.match(value) if isinstance(value, str) else None
            area = parse_area(place[2]) if place else None
            if place and area and place[1] == selected.sheet and area.holds(selected.row, selected.column):
                return begun
    return None


def _clear(asked: Asked) -> Answer:
    settled = take_out(asked.marks, asked.sheets)
    if not (settled.changes.cells or settled.changes.removed):
        raise LogbookError("there is nothing of strapline's in this document; nothing was changed")
    return Answer(("All that strapline had written is taken out.",), settled)


COMMANDS: Mapping[str, Callable[[Asked], Answer]] = {
    "check": _check,
    "fill": _fill,
    "air": _air,
    "why": _why,
    "clear": _clear,
}


def _console(report: io.StringIO) -> Console:
    return Console(file=report, width=REPORT_WIDTH, markup=False, highlight=False, emoji=False)


def _lines(report: io.StringIO) -> tuple[str, ...]:
    return tuple(line.rstrip() for line in report.getvalue().splitlines())


def _log(asked: Asked) -> LogFile:
    # The host of a file does nothing before it is asked to read or apply, and its path is only a name here.
    return LogFile(FileHost(Path(asked.document)), asked.blocks, read_logbooks(asked.blocks))
