"""Whole sheets of ours, brought over from a workbook file or kept in one; names and formulas that speak of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from engine_rules.logbook import LogbookError
from workbook_template.hosts.excel import program, reading
from workbook_template.hosts.excel.keeping import Kept
from workbook_template.hosts.marks import PREFIX, Mark
from workbook_template.package.formulas import quoted
from workbook_template.package.grid import Area


def exchange(book: Any, out: Sequence[str], places: Mapping[str, int], path: Path) -> None:
    """Take sheets out, and bring others from that file to their places, from 0."""
    there = {sheet.name for sheet in book.sheets}
    for name in out:
        if name in there:
            book.sheets[name].delete()
    left = [sheet.name for sheet in book.sheets if sheet.name in out]
    if left:
        raise LogbookError("Excel does not let this sheet go", left[0])
    if not places:
        return
    with _opened(book.app, path) as source:
        for name in sorted(places, key=lambda one: places[one]):
            count = len(book.sheets)
            at = places[name]
            where = {"before": book.sheets[at]} if at < count else {"after": book.sheets[count - 1]}
            made = source.sheets[name].copy(**where)
            if made.name != name:
                made.name = name


@contextmanager
def _opened(app: Any, path: Path) -> Iterator[Any]:
    source = app.books.open(str(path), update_links=False, read_only=True)
    try:
        yield source
    finally:
        source.close()


def keep(book: Any, names: Sequence[str], path: Path) -> None:
    """Keep sheets as they are in a workbook of their own; none, and there is no such file."""
    path.unlink(missing_ok=True)
    if not names:
        return
    kept = book.app.books.add()
    try:
        blank = [sheet.name for sheet in kept.sheets]
        made = [book.sheets[name].copy(after=kept.sheets[len(kept.sheets) - 1]) for name in names]
        for name in blank:
            kept.sheets[name].delete()
        for sheet, name in zip(made, names, strict=True):
            if sheet.name != name:
                sheet.name = name
        kept.save(str(path))
    finally:
        kept.close()


def names_that_speak(book: Any, sheets: set[str]) -> dict[str, str]:
    """The user's defined names that speak of these sheets, and what each stands for."""
    spoken = [name.replace("'", "''").lower() for name in sheets]
    found = {}
    for name in book.names if sheets else ():
        stands_for = str(name.refers_to)
        of_a_sheet = PREFIX in name.name or "!" in name.name
        if not of_a_sheet and any(f"{one}!" in stands_for.lower().replace("'!", "!") for one in spoken):
            found[name.name] = stands_for
    return found


def repair(book: Any, kept: Kept) -> None:
    """Write again the formulas and names that lost a sheet which is back now."""
    there = {sheet.name for sheet in book.sheets}
    gone = [name.replace("'", "''").lower() for name in kept.old if name not in there]
    for sheet, row, column, formula in kept.readers:
        if sheet in there and not any(name in formula.lower() for name in gone):
            book.sheets[sheet].range((row, column)).formula = formula
    for name, stands_for in kept.names.items():
        if not any(one in stands_for.lower() for one in gone):
            book.names[name].refers_to = stands_for


def set_marks(book: Any, marks: Iterable[Mark]) -> None:
    """Replace the names that mark what is ours."""
    # A copied sheet may bring some along as names of its own.
    for name in [name for name in book.names if name.name.rpartition("!")[2].startswith(PREFIX)]:
        name.delete()
    for mark in marks:
        program.hide_name(book.names.add(mark.name, f"={quoted(mark.sheet)}!{Area(*mark.area).absolute()}"))


@contextmanager
def looked_at_again(book: Any) -> Iterator[None]:
    """Afterwards the workbook is in front, with the sheet that was looked at before, where that is still there."""
    active = book.sheets.active.name
    try:
        yield
    finally:
        with suppress(Exception):  # nothing hangs on it
            book.activate()
            if active in {sheet.name for sheet in book.sheets}:
                book.sheets[active].activate()


def go_to(book: Any, place: str) -> None:
    """Select a cell, written as 'Next run!A2'."""
    name, _, ref = place.rpartition("!")
    name = reading.unquoted(name[1:-1]) if name.startswith("'") else name
    if name in {sheet.name for sheet in book.sheets}:
        book.sheets[name].activate()
        book.sheets[name].range(ref).select()
