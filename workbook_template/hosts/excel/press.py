"""One press of a button, from the open workbook to the answer carried out."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from engine_rules.logbook import LogbookError
from workbook_template.hosts.excel import filling, keeping, program, reading, sheets
from workbook_template.live import Answer, Asked, answer

NO_WAY_BACK = "Excel's own Undo does not take this back; the button Undo strapline does, or: strapline live undo."


def press(book: Any, command: str, air: Mapping[str, str] | None = None) -> Answer:
    """Do a command on a workbook that is open in Excel; what is to be said. command: one of `live`, or 'undo'.

    A form in the answer is to be filled in, and the command pressed again with it. Raises LogbookError, with the
    workbook as it was, where it cannot be done.
    """
    program.limit_tries()
    try:
        with program.saying(book.app, "strapline is at work"):
            return _undone(book) if command == "undo" else _pressed(book, command, air or {})
    except _Fault as fault:
        raise fault.of_ours from fault
    except LogbookError:
        raise
    except Exception as error:
        what = program.in_a_sentence(error, "do all that is needed")
        raise LogbookError(f"{what}; {filling.NOTHING_CHANGED}") from error


class _Fault(Exception):
    """Something went wrong where Excel has no part in it."""

    def __init__(self, of_ours: Exception) -> None:
        super().__init__(str(of_ours))
        self.of_ours = of_ours


def _pressed(book: Any, command: str, air: Mapping[str, str]) -> Answer:
    asked = Asked(command, book.name, reading.blocks(book), reading.marks(book), reading.selected(book), air)
    try:
        made = answer(asked)
    except Exception as error:
        raise _Fault(error) from error
    lines = made.lines
    if made.settled is not None:
        with program.held(book.app), sheets.looked_at_again(book):
            filling.Filling(book, made.settled, keeping.folder_for(book.fullname)).carry_out()
        lines = (*lines, NO_WAY_BACK)
        with suppress(Exception):  # what is written is written, whether or not it is looked at
            sheets.go_to(book, made.go_to or "")
    elif made.go_to:
        sheets.go_to(book, made.go_to)
    return Answer(lines, made.settled, made.go_to, made.data, made.form)


def _undone(book: Any) -> Answer:
    with program.held(book.app), sheets.looked_at_again(book):
        filling.undo(book, keeping.folder_for(book.fullname))
    return Answer(("What strapline wrote last is taken back.",))


def workbook_in_front() -> Any:
    """The workbook that is active in Excel. Raises LogbookError where there is none."""
    import xlwings

    program.limit_tries()
    try:
        here = xlwings.engines.active is not None
        app = xlwings.apps.active if here else None
        book = app.books.active if app is not None and len(app.books) else None
    except Exception as error:
        raise program.in_a_sentence(error, "tell which workbook is open") from error
    if not here:
        raise LogbookError("there is no Excel on this computer; use strapline fill LOG.xlsx on the saved file")
    if app is None:
        raise LogbookError("Excel is not running; open the log there, and try again")
    if book is None:
        raise LogbookError("no workbook is open in Excel; open the log, and try again")
    with suppress(Exception):
        app.activate()
    return book
