"""Blocks and changes as JSON: what a live host and this program say to each other across a pipe.

A cell is null, true or false, a number or a text; a date or an error is an object with one key: {"datetime": ISO 8601},
{"date": ...}, {"time": ...} or {"error": "#DIV/0!"}. Sheets of ours travel as one .xlsx workbook in base64, the same
that a file is filled from, so that every host shows the same sheet.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date, datetime, time
from typing import Any

from workbook_template.hosts.blocks import block_of_rows
from workbook_template.hosts.marks import Mark, Settled
from workbook_template.hosts.protocol import CellError, CellOut, CellValue, SheetBlock, SheetOut, Style
from workbook_template.hosts.scratch import scratch_workbook

Json = Mapping[str, Any]
_DEFAULT_STYLE = Style()
_MOMENTS: Mapping[str, type[datetime] | type[date] | type[time]] = {"datetime": datetime, "date": date, "time": time}
_CELLS = Mapping[str, Mapping[tuple[int, int], CellOut]]


def value_to_json(value: CellValue) -> Any:
    """A cell's value as JSON."""
    if isinstance(value, CellError):
        return {"error": value.code}
    if isinstance(value, datetime):
        return {"datetime": value.isoformat()}
    if isinstance(value, date):
        return {"date": value.isoformat()}
    if isinstance(value, time):
        return {"time": value.isoformat()}
    return value


def value_from_json(data: Any) -> CellValue:
    """A cell's value from JSON; every number is a float. Raises ValueError for what is none."""
    if data is None or isinstance(data, bool | str):
        return data
    if isinstance(data, int | float):
        return float(data)
    if isinstance(data, dict) and len(data) == 1:
        kind, text = next(iter(data.items()))
        if kind == "error":
            return CellError(text)
        if kind in _MOMENTS:
            return _MOMENTS[kind].fromisoformat(text)
    raise ValueError(f"{data!r} is no value of a cell")


def block_to_json(block: SheetBlock) -> Json:
    """One sheet's values as JSON."""
    return {
        "name": block.name,
        "first_row": block.first_row,
        "first_column": block.first_column,
        "rows": [[value_to_json(value) for value in row] for row in block.rows],
    }


def block_from_json(data: Json) -> SheetBlock:
    """One sheet's values from JSON, blank rows and columns at the ends left off."""
    block = block_of_rows(data["name"], [[value_from_json(value) for value in row] for row in data["rows"]])
    return replace(block, first_row=data.get("first_row", 1), first_column=data.get("first_column", 1))


def cell_to_json(cell: CellOut) -> Json:
    """A cell to be written as JSON; what is not said is left out."""
    data: dict[str, Any] = {"value": value_to_json(cell.value)}
    if cell.style is not None:
        data["style"] = {
            name: value for name, value in asdict(cell.style).items() if value != getattr(_DEFAULT_STYLE, name)
        }
    if cell.link is not None:
        data["link"] = cell.link
    if cell.note is not None:
        data["note"] = cell.note
    if cell.like is not None:
        data["like"] = list(cell.like)
    return data


def cell_from_json(data: Json) -> CellOut:
    """A cell to be written from JSON."""
    value, style = value_from_json(data["value"]), data.get("style")
    if isinstance(value, CellError | time) or type(value) is date:
        raise ValueError(f"{value!r} is never written into a cell")
    return CellOut(
        value=value,  # type: ignore[arg-type]  # a plain date was refused above
        style=None if style is None else Style(**style),
        link=data.get("link"),
        note=data.get("note"),
        like=tuple(data["like"]) if "like" in data else None,
    )


def mark_from_json(data: Json) -> Mark:
    """One mark of ours from JSON."""
    top, left, bottom, right = data["area"]
    return Mark(data["name"], data["sheet"], (top, left, bottom, right))


def settled_to_json(settled: Settled) -> Json:
    """Changes that fit one document as JSON: cells as [row, column, cell], sheets as a workbook in base64."""
    changes = settled.changes
    sheets = changes.sheets
    return {
        "cells": cells_to_json(changes.cells),
        "if_linked": cells_to_json(changes.if_linked),
        "sheets": [{"name": sheet.name, "freeze": sheet.freeze, "gridlines": sheet.show_gridlines} for sheet in sheets],
        "workbook": base64.b64encode(sheets_as_workbook(sheets)).decode() if sheets else None,
        "removed": list(changes.removed),
        "marks": [asdict(mark) for mark in settled.marks],
    }


def sheets_as_workbook(sheets: Sequence[SheetOut]) -> bytes:
    """Sheets of ours as an .xlsx workbook that holds nothing else."""
    content = io.BytesIO()
    scratch_workbook(sheets).save(content)
    return content.getvalue()


def cells_to_json(cells: _CELLS) -> Mapping[str, Sequence[Any]]:
    """Cells by sheet as JSON."""
    return {
        sheet: [[row, column, cell_to_json(cell)] for (row, column), cell in sorted(places.items())]
        for sheet, places in cells.items()
    }


def cells_from_json(data: Mapping[str, Sequence[Any]]) -> _CELLS:
    """Cells by sheet from JSON."""
    return {
        sheet: {(row, column): cell_from_json(cell) for row, column, cell in places} for sheet, places in data.items()
    }
