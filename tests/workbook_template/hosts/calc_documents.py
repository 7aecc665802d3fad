"""What stands in a document of Calc, held against what stands in another."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from engine_rules import advise
from workbook_template.log_file import fill_cars, open_log


def file_filled(log: Path, out: Path) -> dict[str, Any]:
    """What the file host makes of it; the advice as data."""
    read = open_log(log, out)
    advised = [(book, [advise(book.logbook)]) for book in read.books]
    fill_cars(read, advised)
    data = [advices[0].as_json() for _, advices in advised]
    return data[0] if len(data) == 1 else {book.car: one for (book, _), one in zip(advised, data, strict=True)}


def as_a_file_has_it(snapshot: dict[str, Any]) -> dict[str, Any]:
    """A snapshot without what an open document must say otherwise: who signed a note."""
    for sheet in snapshot["sheets"]:
        sheet["notes"] = [[row, column, text.removeprefix("strapline: ")] for row, column, text in sheet["notes"]]
    return snapshot


def differences(one: dict[str, Any], other: dict[str, Any]) -> list[str]:
    """Sheet and property of what differs between two snapshots."""
    names = [[sheet["name"] for sheet in snapshot["sheets"]] for snapshot in (one, other)]
    if names[0] != names[1]:
        return [f"{names[0]} against {names[1]}"]
    return [
        f"{mine['name']} {key}: {_only(mine[key], theirs[key])} against {_only(theirs[key], mine[key])}"
        for mine, theirs in zip(one["sheets"], other["sheets"], strict=True)
        for key in mine.keys() & theirs.keys()
        if mine[key] != theirs[key]
    ]


def _only(one: Any, other: Any) -> str:
    """What the one list has and the other lacks."""
    if not isinstance(one, list) or not isinstance(other, list):
        return str(one)
    theirs = {str(item) for item in other}
    return str([item for item in one if str(item) not in theirs])[:300]
