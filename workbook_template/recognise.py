"""Finds the log in a racer's own workbook: which sheet holds what, in which shape, under which headings."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from engine_rules.logbook import Cell, Finding, LogbookError
from workbook_template.cars_by_sheet import name_cars_by_sheet
from workbook_template.found import Heading, Sheetful, Value, View, view_of
from workbook_template.headings import READINGS, RUNS
from workbook_template.hosts.protocol import SheetBlock
from workbook_template.how_read import HOW_READ, Corrections, Question
from workbook_template.joined import LoggedCar, join
from workbook_template.layout import layout
from workbook_template.shapes_form import read_forms, told, values_above
from workbook_template.shapes_list import find_list, is_list, read_list
from workbook_template.spelled_out import Ask, spell_out
from workbook_template.stacked import parts_of, tell_apart, title_above
from workbook_template.tables import find_table

LEAST_TOLD = 3
_WRITTEN = re.compile(rf"(next run|why|charts|season charts|ledger|today|{HOW_READ})\b.*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Recognised:
    """What the sheets hold: the cars with their runs, every heading, what is asked, the sheets left alone."""

    cars: tuple[LoggedCar, ...]
    sheets: tuple[Sheetful, ...]
    questions: tuple[Question, ...]
    findings: tuple[Finding, ...]
    aside: tuple[str, ...]

    @property
    def banks(self) -> Mapping[int, tuple[str, int]]:
        """Cylinder -> bank and place where forms draw them, all alike; else nothing."""
        drawn = [dict(sheet.banks) for sheet in self.sheets if sheet.banks]
        return drawn[0] if drawn and all(one == drawn[0] for one in drawn) else {}

    @property
    def headings(self) -> tuple[Heading, ...]:
        """Every heading, sheet by sheet."""
        return tuple(heading for sheet in self.sheets for heading in sheet.headings)


def is_ordinary(blocks: Sequence[SheetBlock]) -> bool:
    """True where the book is laid out like the blank workbook, whole or with a sheet or a heading missing."""
    sheets = layout().sheets
    names = {block.name.strip().casefold(): block for block in blocks}
    logs = [names.get(sheets[key].name.casefold()) for key in (RUNS, READINGS)]
    if sheets["start"].name.casefold() in names:
        return any(block is not None for block in logs)
    return all(
        block is not None and _has_headings(block, key) for block, key in zip(logs, (RUNS, READINGS), strict=True)
    )


def _has_headings(block: SheetBlock, key: str) -> bool:
    sheet = layout().sheets[key]
    try:
        find_table(block, sheet, sheet.columns)
    except LogbookError as error:
        return "was not found" not in str(error)
    return True


def recognise(
    blocks: Sequence[SheetBlock], corrections: Corrections, parts: Sequence[SheetBlock], only: int | None = None
) -> Recognised:
    """The runs and readings of a book in a layout of the racer's own.

    parts: sheets that describe the engine and the shelf, read elsewhere. only: the cylinder of an engine that has no
    other. Without a run there is no car.
    """
    sheets: list[Sheetful] = []
    aside: list[str] = []
    for block in blocks:
        if _WRITTEN.fullmatch(block.name.strip()) or any(block is part for part in parts):
            continue
        read = _read_sheet(block, corrections, only) if block.rows else []
        if read:
            sheets += read
        else:
            aside.append(block.name)
    findings: list[Finding] = []
    questions: list[Question] = []
    name_cars_by_sheet(sheets, findings)
    cars = join(sheets, findings)
    for car in cars:
        spell_out(car.runs, asking(questions), findings)
    return Recognised(
        tuple(car for car in cars if car.runs), tuple(sheets), tuple(questions), tuple(findings), tuple(aside)
    )


def _read_sheet(block: SheetBlock, corrections: Corrections, only: int | None) -> list[Sheetful]:
    """A list, or several below each other; else a form; nothing for neither."""
    upright = view_of(block)
    found = find_list(upright, corrections.meaning)
    parts = [upright]
    if found is not None and not found[0].turned:
        parts = parts_of(*found, corrections.meaning)
    if len(parts) > 1:
        lists = [_read_list(part, corrections, only) for part in parts]
        several = [one for one in lists if one is not None]
        if len(several) == len(parts):
            tell_apart(several)
            return [sheet for sheet, _ in several]
    whole = _read_list(upright, corrections, only)
    if whole is not None:
        return [whole[0]]
    form = read_forms(upright, corrections.meaning, only)
    return [form] if form is not None and told(form) >= LEAST_TOLD else []


def _read_list(upright: View, corrections: Corrections, only: int | None) -> tuple[Sheetful, Value | None] | None:
    """A list and its title; None where there is none."""
    found = find_list(upright, corrections.meaning)
    if found is None or not is_list(*found, corrections.meaning):
        return None
    view, heads = found
    read = read_list(view, heads, corrections.meaning, only)
    if view.turned:
        return read, None
    _share_above(read, values_above(view, heads.first_row, corrections.meaning))
    return read, title_above(view, heads.first_row)


def _share_above(sheet: Sheetful, above: Mapping[str, Value]) -> None:
    """What stands above a list counts for each of its runs that says nothing else."""
    for record in sheet.records:
        for key, value in above.items():
            record.run.setdefault(key, value)


class _Asking:
    """Notes each question once a text."""

    def __init__(self, questions: list[Question]) -> None:
        self._questions = questions

    def __call__(self, text: str, cell: Cell) -> None:
        if all(one.text != text for one in self._questions):
            self._questions.append(Question(text, cell))


def asking(questions: list[Question]) -> Ask:
    """A way to add a question, each text once."""
    return _Asking(questions)
