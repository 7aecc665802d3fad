"""Which sheets and cells this program wrote: hidden defined names, which follow moved, sorted and renamed cells.

Every program that edits a workbook keeps defined names and moves them along when rows or columns are inserted or
a sheet gets another name, so they still point at our cells after the user has worked on the book elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from workbook_template.package.formulas import quoted
from workbook_template.package.grid import Area, column_runs, parse_area
from workbook_template.package.workbook_part import MAX_NAME_LENGTH, WorkbookPart

SHEET_MARK = "_wt_sheet_"
CELLS_MARK = "_wt_cells_"
MAX_MARKED_CELLS = 100_000  # a mark stretched over more than any save writes is not to be trusted
_TARGET = re.compile(r"^(?:'((?:[^']|'')+)'|([^'!]+))!(.+)$")
_PLAIN = re.compile(r"[A-Za-z0-9]")
_CODED = re.compile(r"_([0-9a-f]+)_")


@dataclass(frozen=True, slots=True)
class Ownership:
    """`sheets`: the name a sheet was asked under -> its name now; `cells`: sheet -> areas written, one column each."""

    sheets: Mapping[str, str]
    cells: Mapping[str, tuple[Area, ...]]

    def __bool__(self) -> bool:
        return bool(self.sheets or self.cells)

    def areas(self, sheet: str) -> list[Area]:
        return list(self.cells.get(sheet, ()))


def read(book: WorkbookPart) -> Ownership:
    """What the marks in the workbook say, as far as their sheets still exist."""
    marks = []
    for defined in book.defined_names():
        # A name of one sheet alone was left behind on the user's own copy of a sheet.
        target = _TARGET.match(defined.text or "") if defined.get("localSheetId") is None else None
        area = parse_area(target[3]) if target else None
        if target is not None and area is not None:
            marks.append((defined.get("name", ""), (target[1] or target[2]).replace("''", "'"), area))
    return told(marks, [sheet.name for sheet in book.sheets()])


def told(marks: Iterable[tuple[str, str, Area]], existing: Iterable[str]) -> Ownership:
    """What defined names, each with the sheet and area that it stands for, say of the sheets that exist."""
    by_lower = {name.lower(): name for name in existing}
    sheets: dict[str, str] = {}
    cells: dict[str, list[Area]] = {}
    for name, marked, area in marks:
        sheet = by_lower.get(marked.lower())
        if sheet is not None and name.startswith(SHEET_MARK):
            sheets[_decoded(name.removeprefix(SHEET_MARK))] = sheet
        elif sheet is not None and name.startswith(CELLS_MARK) and area.size <= MAX_MARKED_CELLS:
            cells.setdefault(sheet, []).append(area)
    return Ownership(sheets, {sheet: tuple(sorted(areas)) for sheet, areas in cells.items()})


def write(book: WorkbookPart, owned: Ownership) -> None:
    """Replace the marks in the workbook."""
    for defined in book.defined_names():
        if defined.get("name", "").startswith((SHEET_MARK, CELLS_MARK)):
            book.remove_name(defined)
    for name, sheet, area in marked_areas(owned):
        book.set_name(name, f"{quoted(sheet)}!{area.absolute()}", hidden=True)


def marked_areas(owned: Ownership) -> Iterator[tuple[str, str, Area]]:
    """The defined names that mark this, each with the sheet and the area that it stands for."""
    for wanted, sheet in sorted(owned.sheets.items()):
        yield SHEET_MARK + _coded(wanted), sheet, Area(1, 1, 1, 1)
    areas = [(sheet, area) for sheet, found in sorted(owned.cells.items()) for area in found]
    for number, (sheet, area) in enumerate(areas, 1):
        yield f"{CELLS_MARK}{number}", sheet, area


def changed(
    owned: Ownership, sheet: str, written: Iterable[tuple[int, int]], cleared: Iterable[tuple[int, int]]
) -> Ownership:
    """The ownership after cells (row, column) of a sheet were written and others cleared."""
    held = {place for area in owned.cells.get(sheet, ()) for place in area.places()}
    cells = dict(owned.cells)
    cells[sheet] = tuple(column_runs((held - set(cleared)) | set(written)))
    return Ownership(owned.sheets, {name: areas for name, areas in cells.items() if areas})


def final_name(existing: Iterable[str], owned: Ownership, wanted: str) -> str:
    """The name that a sheet asked for as `wanted` has, or would get among those: unique, at most 31 characters."""
    if wanted in owned.sheets:
        return owned.sheets[wanted]
    taken = {name.lower() for name in existing}
    name, number = wanted[:MAX_NAME_LENGTH], 1
    while name.lower() in taken:
        number += 1
        ending = f" ({number})"
        name = wanted[: MAX_NAME_LENGTH - len(ending)] + ending
    return name


def _coded(name: str) -> str:
    return "".join(letter if _PLAIN.match(letter) else f"_{ord(letter):x}_" for letter in name)


def _decoded(name: str) -> str:
    return _CODED.sub(lambda found: chr(int(found[1], 16)), name)
