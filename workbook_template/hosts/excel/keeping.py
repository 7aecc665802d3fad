"""What a fill overwrites, kept so that it can be put back: Excel forgets its own undo when a program writes.

It is kept in a folder of this user's, not in the workbook nor beside it: a hidden sheet would go out with the file and
be read as a part of the log, and a workbook on a server has no folder beside it. One step is kept for each workbook.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from engine_rules.logbook import LogbookError
from workbook_template.hosts.excel.looks import Look
from workbook_template.hosts.marks import Mark

Place = tuple[int, int]
Area = tuple[int, int, int, int]


@dataclass(slots=True)
class KeptArea:
    """A rectangle of cells as it was, and the values it got.

    typed: what typing would bring back, by rows. looks, notes, links: 'row,column' -> what a cell there had.
    """

    sheet: str
    area: Area
    typed: list[list[str]]
    looks: dict[str, Look] = field(default_factory=dict)
    notes: dict[str, str] = field(default_factory=dict)
    noted: list[str] = field(default_factory=list)
    links: dict[str, str] = field(default_factory=dict)
    after: list[list[Any]] = field(default_factory=list)


@dataclass(slots=True)
class Kept:
    """All that one fill overwrites. old: our sheets that it replaces or takes out, each with its place from 0."""

    areas: list[KeptArea]
    marks: list[Mark]
    old: dict[str, int]
    new: list[str]
    readers: list[tuple[str, int, int, str]]
    names: dict[str, str]


def key_of(place: Place) -> str:
    """A cell's place as a key of JSON."""
    return f"{place[0]},{place[1]}"


def place_of(key: str) -> Place:
    """The place that `key_of` wrote."""
    row, column = key.split(",")
    return int(row), int(column)


def folder_for(fullname: str) -> Path:
    """The folder of the workbook with this full name; made where it is not there."""
    folder = _ours() / hashlib.sha256(fullname.encode()).hexdigest()[:24]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LogbookError(f"{folder} cannot be made ({error.strerror}); make room on the disk") from error
    return folder


def _ours() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / "strapline" / "undo"
    if sys.platform == "darwin":  # the one folder that Excel there may open without asking
        return Path.home() / "Library/Containers/com.microsoft.Excel/Data/strapline/undo"
    return Path(os.environ.get("XDG_STATE_HOME", Path.home() / ".local/state")) / "strapline" / "undo"


def sheets_file(folder: Path) -> Path:
    """Where our sheets are kept as they were."""
    return folder / "strapline-old-sheets.xlsx"


def sheets_file_for_now(folder: Path) -> Path:
    """Where our sheets are kept until it is known that all is written."""
    return folder / "strapline-old-sheets-for-now.xlsx"


def store(folder: Path, kept: Kept) -> None:
    """Keep it on the disk, with the sheets that are kept for now, in place of what was kept before."""
    fresh = folder / "kept.json.new"
    fresh.write_text(json.dumps(asdict(kept), default=str), "utf-8")
    forget(folder)
    if sheets_file_for_now(folder).exists():
        sheets_file_for_now(folder).replace(sheets_file(folder))
    fresh.replace(folder / "kept.json")


def load(folder: Path) -> Kept:
    """What was kept. Raises LogbookError where there is nothing."""
    try:
        data: Mapping[str, Any] = json.loads((folder / "kept.json").read_text("utf-8"))
        return Kept(
            areas=[KeptArea(**{**area, "area": tuple(area["area"])}) for area in data["areas"]],
            marks=[Mark(mark["name"], mark["sheet"], tuple(mark["area"])) for mark in data["marks"]],
            old=data["old"],
            new=data["new"],
            readers=[tuple(reader) for reader in data["readers"]],
            names=data["names"],
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise LogbookError("there is nothing of strapline's to undo in this workbook; nothing was changed") from error


def forget(folder: Path) -> None:
    """There is nothing to put back any more."""
    for path in (folder / "kept.json", sheets_file(folder)):
        path.unlink(missing_ok=True)
