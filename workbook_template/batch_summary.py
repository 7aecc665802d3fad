"""The summary of a batch: a workbook and a JSON file, the cars that need somebody first at the top."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from urllib.parse import quote

from engine_rules.logbook import LogbookError
from workbook_template.batch import MUST_NOT_RUN, SUMMARY_JSON, SUMMARY_XLSX, UNREAD, Car
from workbook_template.hosts.protocol import CellOut, SheetOut, Style, TableOut
from workbook_template.hosts.scratch import scratch_workbook
from workbook_template.log_file import packed, write_json
from workbook_template.package import PackageRefused, save
from workbook_template.wording import LINK_COLOR

HEADINGS = ("What first", "Workbook", "Engine", "Run", "When", "Stage", "What to do", "Cautions")
WIDTHS = (17, 30, 22, 8, 17, 10, 60, 60)
HEADING_ROW = 3

_TITLE = Style(bold=True, size_pt=16)
_HEAD = Style(bold=True, border="bottom", vertical="center", wrap=True)
_PLAIN = Style(vertical="top", wrap=True)
_URGENT = Style(bold=True, vertical="top", wrap=True)
_LINK = Style(vertical="top", wrap=True, color=LINK_COLOR, underline=True)


def write_summary(out: Path, cars: Sequence[Car]) -> None:
    """Write both files into the folder, the cars in the order given. Raises LogbookError where they cannot be written.

    A summary workbook of an earlier batch is kept beside it, as somebody may have written into it.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        save(out / SUMMARY_XLSX, _workbook(cars))
    except PackageRefused as refused:
        raise LogbookError(refused.reason) from refused
    write_json(out / SUMMARY_JSON, [car.as_json() for car in cars])


def _workbook(cars: Sequence[Car]) -> bytes:
    cells = {(1, 1): CellOut("Which car comes first", _TITLE)}
    cells |= {(HEADING_ROW, column): CellOut(heading, _HEAD) for column, heading in enumerate(HEADINGS, 1)}
    for row, car in enumerate(cars, HEADING_ROW + 1):
        cells |= {(row, column): cell for column, cell in enumerate(_row(car), 1)}
    last = (HEADING_ROW, 1, HEADING_ROW + len(cars), len(HEADINGS))
    sheet = SheetOut(
        name="Summary",
        cells=cells,
        column_widths=dict(enumerate(map(float, WIDTHS), 1)),
        freeze=(HEADING_ROW + 1, 3),
        tables=(TableOut("Cars", last),),
        landscape=True,
        fit_to_pages=(1, 0),
        repeat_rows=(HEADING_ROW, HEADING_ROW),
    )
    book = scratch_workbook([sheet])
    for row, car in enumerate(cars, HEADING_ROW + 1):
        if car.filled:
            book["Summary"].cell(row, 2).hyperlink = quote(car.filled)
    return packed(book)


def _row(car: Car) -> tuple[CellOut, ...]:
    loud = _URGENT if car.group in (MUST_NOT_RUN, UNREAD) else _PLAIN
    said = car.headline or f"{car.sentence[:1].upper()}{car.sentence[1:]}"
    plain = (car.engine, car.run, car.when, car.stage)
    return (
        CellOut(car.group, loud),
        CellOut(car.workbook, _LINK if car.filled else _PLAIN),
        *(CellOut(text or None, _PLAIN) for text in plain),
        CellOut(said, loud),
        CellOut("\n".join(car.cautions) or None, _PLAIN),
    )
