"""The season on paper forms typed over: a sheet for each run or each day, the cylinders drawn in two banks."""

from __future__ import annotations

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from tests.workbook_template.racers_lists import PLUG_CELLS, RUN_CELLS
from tests.workbook_template.racers_season import CORNERS, CYLINDERS, Run, blank_parts, season


def sheet_per_run() -> Workbook:
    """A sheet 'Run 11' ...: labels beside their cells, a box for each cylinder under the names of the banks."""
    book = blank_parts()
    for at, run in enumerate(season()):
        page = book.create_sheet(f"Run {run['name']}", at)
        page["A1"] = "Run sheet"
        row = _labels_beside(page, run, first_row=3)
        _boxes(page, run, row + 1)
    return book


def _labels_beside(page: Worksheet, run: Run, first_row: int) -> int:
    heads = [head for head in RUN_CELLS if head not in ("Pass #", "Comments")]
    for at, head in enumerate(heads):
        row, column = first_row + at // 3, 1 + 3 * (at % 3)
        page.cell(row, column, f"{head}:")
        page.cell(row, column + 1, RUN_CELLS[head](run))
    row = first_row + (len(heads) + 2) // 3
    for at, corner in enumerate(CORNERS):
        page.cell(row, 1 + 2 * at, f"Jet {corner}")
        page.cell(row, 2 + 2 * at, run["jets"][at])
    page.cell(row + 1, 1, "Comments")
    page.cell(row + 1, 2, run["notes"])
    return row + 2


def _boxes(page: Worksheet, run: Run, first_row: int) -> None:
    page.cell(first_row, 1, "LEFT BANK")
    page.cell(first_row, 4, "RIGHT BANK")
    height = len(PLUG_CELLS) + 1
    for number in CYLINDERS:
        row = first_row + 1 + height * ((number - 1) // 2)
        column = 1 if number % 2 else 4
        page.cell(row, column, f"Cyl {number}")
        for at, (head, key) in enumerate(PLUG_CELLS.items(), start=1):
            page.cell(row + at, column, head)
            page.cell(row + at, column + 1, run["plugs"][number][key])


def sheet_per_day() -> Workbook:
    """A sheet for each day: a form for each run below the other, labels above their cells, a small table a bank."""
    book = blank_parts()
    days: dict[str, list[Run]] = {}
    for run in season():
        days.setdefault(f"{run['date']:%d %b %Y}", []).append(run)
    for at, (day, runs) in enumerate(days.items()):
        page = book.create_sheet(day, at)
        row = 1
        for run in runs:
            row = _labels_above(page, run, row)
            row = _small_tables(page, run, row + 1) + 2
    return book


def _labels_above(page: Worksheet, run: Run, row: int) -> int:
    heads = [*(head for head in RUN_CELLS if head != "Comments"), *(f"{corner} jet" for corner in CORNERS), "Comments"]
    for start in range(0, len(heads), 9):
        for column, head in enumerate(heads[start : start + 9], start=1):
            page.cell(row, column, head)
            corner = head.removesuffix(" jet")
            value = run["jets"][CORNERS.index(corner)] if corner in CORNERS else RUN_CELLS[head](run)
            page.cell(row + 1, column, value)
        row += 2
    return row


def _small_tables(page: Worksheet, run: Run, row: int) -> int:
    page.cell(row, 1, "Left bank")
    page.cell(row, 12, "Right bank")
    for column in (1, 12):
        for at, head in enumerate(["Cyl", *PLUG_CELLS]):
            page.cell(row + 1, column + at, head)
    for number in CYLINDERS:
        at = row + 2 + (number - 1) // 2
        column = 1 if number % 2 else 12
        page.cell(at, column, number)
        for offset, key in enumerate(PLUG_CELLS.values(), start=1):
            page.cell(at, column + offset, run["plugs"][number][key])
    return row + 6
