"""What the buttons in Excel call, installed as `strapline_excel`, the name that the add-in's file has too."""

from __future__ import annotations

import sys


def check() -> None:
    """Say what was read and what is missing."""
    _pressed("check")


def fill() -> None:
    """Advise the newest run, and write it into the workbook."""
    _pressed("fill")


def air() -> None:
    """Ask for the air, and say which jets it wants."""
    _pressed("air")


def why() -> None:
    """Go to the reason for the selected cell."""
    _pressed("why")


def clear() -> None:
    """Take all of strapline's out of the workbook."""
    _pressed("clear")


def undo() -> None:
    """Put back what the last button overwrote."""
    _pressed("undo")


def main() -> None:
    """Ask which of these it shall be: the add-in with one button calls this."""
    from workbook_template.hosts.excel.addin import LABELS
    from workbook_template.hosts.excel.showing import choose

    try:
        command = choose(LABELS)
    except Exception as error:
        _not_even_said(error)
    else:
        if command is not None:
            _pressed(command)


def _pressed(command: str) -> None:
    from xlwings import Book

    from workbook_template.command_line import explained
    from workbook_template.hosts.excel import showing
    from workbook_template.hosts.excel.press import press

    try:
        book = Book.caller()
    except Exception as error:
        return _not_even_said(error)
    try:
        made = press(book, command)
        if made.form:
            given = showing.ask(made.form)
            if not given:
                return None
            made = press(book, command, given)
        if made.lines:
            showing.say(book.app, made.lines)
    except Exception as error:
        sentence = explained(error)[0].rstrip(".") + "."
        try:
            showing.say(book.app, [sentence], "critical")
        except Exception:  # an Excel that does not answer cannot show a message
            sys.exit(sentence)


def _not_even_said(error: Exception) -> None:
    """Where Excel cannot be reached: its macro shows what stands on stderr."""
    from workbook_template.command_line import explained

    sys.exit(explained(error)[0].rstrip(".") + ".")
