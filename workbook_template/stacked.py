"""Several lists on one sheet: those that stand below each other are taken apart, those side by side are refused."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from itertools import combinations

from engine_rules.logbook import LogbookError
from workbook_template.cars_by_sheet import car_named, name_car, rival_run, told
from workbook_template.found import Heading, Sheetful, Value, View, view_of
from workbook_template.headings import RUNS, Meaning
from workbook_template.hosts.protocol import CellValue, SheetBlock
from workbook_template.joined import spot_of
from workbook_template.read_values import read_date
from workbook_template.shapes_list import LEAST_HEADINGS, Corrected, Headings, meant
from workbook_template.tables import as_text

ROWS_OF_HEADING = 5  # a title, a blank row, two rows of headings, one of units


def parts_of(view: View, heads: Headings, corrected: Corrected) -> list[View]:
    """The lists of an upright sheet, top to bottom. Raises LogbookError where two stand side by side."""
    _refuse_beside(view, heads, corrected)
    starts = [view.first_row]
    for row in _heading_rows(view, heads, corrected):
        starts.append(_with_title(view, row, starts[-1]))
    block = view.block
    found = []
    for top, end in zip(starts, [*starts[1:], view.last_row + 1], strict=True):
        rows = block.rows[top - block.first_row : end - block.first_row]
        part = view if len(starts) == 1 else view_of(SheetBlock(block.name, top, block.first_column, rows))
        found.append(part)
    return found


def _refuse_beside(view: View, heads: Headings, corrected: Corrected) -> None:
    known = {column: text.casefold() for column, text in heads.texts.items() if meant(text, corrected)}
    times = Counter(known.values())
    names = [column for column, text in known.items() if times[text] > 1 and _is_name(text, corrected)]
    if len(names) < 2 or sum(count > 1 for count in times.values()) < LEAST_HEADINGS:
        return
    rows = range(heads.row + 1, view.last_row + 1)
    if any(view.at(row, names[0]) != view.at(row, names[1]) for row in rows):
        cell = view.cell(heads.row, names[1])
        text = (
            "a second list stands beside the first; put it below, the car's name above each, or on a sheet of its own"
        )
        raise LogbookError(text, cell.sheet, cell.ref)


def _is_name(text: str, corrected: Corrected) -> bool:
    return any((one.sheet, one.key) == (RUNS, "name") for one in meant(text, corrected)[:1])


def _heading_rows(view: View, heads: Headings, corrected: Corrected) -> Iterator[int]:
    """The rows below the first headings that are headings again: of the runs, and mostly words that are known."""
    rows: dict[int, list[str]] = {}
    for row, _, text in view.texts:
        if row > heads.row:
            rows.setdefault(row, []).append(text.strip())
    for row, texts in rows.items():
        known = {text.casefold() for text in texts if meant(text, corrected)}
        of_run = any(_is_of_run(text, corrected) for text in texts)
        if of_run and len(known) >= max(LEAST_HEADINGS, len(texts) / 2) and not _holds_numbers(view, row):
            yield row


def _is_of_run(text: str, corrected: Corrected) -> bool:
    return any((one.sheet, one.key) in ((RUNS, "name"), (RUNS, "date")) for one in meant(text, corrected)[:1])


def _row(view: View, row: int) -> list[CellValue]:
    values = (view.at(row, column) for column in range(1, view.last_column + 1))
    return [value for value in values if value is not None]


def _holds_numbers(view: View, row: int) -> bool:
    return any(not isinstance(value, str) for value in _row(view, row))


def _with_title(view: View, row: int, above: int) -> int:
    """The first row of a list whose headings stand in that row: with its title, and an upper row of headings."""
    top = row
    for upper in range(row - 1, max(row - ROWS_OF_HEADING, above), -1):
        held = _row(view, upper)
        if len(held) > 1 and _holds_numbers(view, upper):
            break
        if held:
            top = upper
    return top


def title_above(view: View, first_row: int) -> Value | None:
    """What stands by itself in the nearest row above the headings: a car's name, or a day."""
    for row in range(first_row - 1, max(first_row - ROWS_OF_HEADING, view.first_row - 1), -1):
        held = [column for column in range(1, view.last_column + 1) if view.at(row, column) is not None]
        if len(held) == 1:
            cell, value = view.cell(row, held[0]), view.at(row, held[0])
            return Value(value, cell, Heading(cell, as_text(value), Meaning(RUNS, "car", sure="likely")))
    return None


def tell_apart(lists: Sequence[tuple[Sheetful, Value | None]]) -> None:
    """Give the lists of one sheet the day or the car that their titles name, where they speak of the same runs.

    Raises LogbookError where two lists tell of the same run otherwise and no title says whose it is.
    """
    for sheet, title in lists:
        day = None if title is None else _day(title)
        if title is not None and day is not None:
            _date(sheet, title, day)
    rivals = [
        (one, other, run)
        for one, other in combinations(lists, 2)
        if (run := rival_run(told(one[0]), told(other[0]))) is not None
    ]
    named = [title for _, title in lists if title is not None and car_named(title)]
    if not rivals and len(named) < len(lists):
        return
    names = {as_text(title.value).casefold() for _, title in lists if title is not None and _day(title) is None}
    if len(names) < len(lists):
        _, (sheet, _), run = rivals[0]
        cell = sheet.headings[0].cell
        text = (
            f"this list tells of run {run} again, and otherwise than the one above it; write the car's name, or the "
            "day, above each list"
        )
        raise LogbookError(text, cell.sheet, cell.ref)
    for sheet, title in lists:
        if title is not None:
            name_car(sheet, title)


def _day(title: Value) -> datetime | None:
    return read_date(spot_of(title), [])


def _date(sheet: Sheetful, title: Value, day: datetime) -> None:
    dated: Mapping[str, Value] = {"date": title.worked_out(day, RUNS, "date")}
    for record in sheet.records:
        if record.run.get("date") is None or record.run["date"].value is None:
            record.run |= dated
