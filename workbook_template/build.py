"""The blank workbook, and rows added to it by a script."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from datetime import datetime
from importlib import resources
from typing import Any

from openpyxl.styles import Alignment
from openpyxl.utils.cell import coordinate_from_string
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from engine_rules.logbook import LogbookError
from engine_rules.targets import default_targets
from workbook_template.build_engine import STARTER_PLUGS, BlankOptions, StarterEngine, starter_engine, starter_jets
from workbook_template.build_form import write_forms
from workbook_template.build_sheet import (
    HEADING_ROW,
    HINT,
    HINT_ROW,
    NAME,
    OURS,
    PART,
    TITLE,
    UNDERLINED,
    begin_sheet,
    dress,
    name_shelf,
    number_format,
    offer_words,
    set_print,
    use_house_font,
    write_list,
)
from workbook_template.build_wide import write_wide
from workbook_template.hosts.blocks import block_from_sheet
from workbook_template.layout import Column, layout
from workbook_template.tables import PlacedColumn, Table, find_table

__all__ = ["BlankOptions", "append_run", "build_blank"]


def build_blank(options: BlankOptions | None = None) -> Workbook:
    """The blank workbook, with the cylinders of a first run listed. Raises LogbookError for options that cannot be."""
    asked = options or BlankOptions()
    engine = starter_engine(asked)
    book = Workbook()
    book.remove(book.worksheets[0])
    use_house_font(book)
    _write_start(book, asked.style)
    match asked.style:
        case "wide":
            write_wide(book, engine)
        case "form":
            write_forms(book, engine, asked.name)
        case _:
            _write_runs(book, engine)
            _write_readings(book, engine)
    _write_engine(book, engine, asked.name)
    if engine.stations:
        _write_jets(book, engine)
    _write_plugs(book, engine)
    _write_targets(book, engine)
    return book


def _write_start(book: Workbook, style: str) -> None:
    text = tomllib.loads(resources.files("workbook_template").joinpath("start_here.toml").read_text("utf-8"))
    page = book.create_sheet(layout().sheets["start"].name)
    page.sheet_view.showGridLines = False
    page.column_dimensions["A"].width, page.column_dimensions["B"].width = 4, 118
    page.cell(1, 1, text["title"]).font = TITLE
    page.cell(2, 1, text["about"])
    row = 4
    for part in text["parts"]:
        page.cell(row, 1, part["heading"]).font = PART
        lines = [line for line in (_in_style(line, style) for line in part["lines"]) if line]
        for count, line in enumerate(lines, start=1):
            page.cell(row + count, 1, count if part["numbered"] else "•").alignment = Alignment("right", "top")
            page.cell(row + count, 2, line).alignment = Alignment("left", "top", wrap_text=True, indent=1)
        row += len(lines) + 2
    set_print(page, repeat_row=None)


def _in_style(line: str | Mapping[str, str], style: str) -> str:
    return line if isinstance(line, str) else line.get(style, "")


def _write_runs(book: Workbook, engine: StarterEngine) -> None:
    sheet = layout().sheets["runs"]
    page = begin_sheet(book, sheet, title_column=sheet.freeze + 1)
    write_list(page, sheet, engine.columns(sheet), engine.units, [{"name": 1}])
    page.freeze_panes = page.cell(HEADING_ROW + 1, sheet.freeze + 1).coordinate
    set_print(page, pages_wide=2, repeat_columns="A:A")


def _write_readings(book: Workbook, engine: StarterEngine) -> None:
    sheet = layout().sheets["readings"]
    columns = engine.columns(sheet)
    page = begin_sheet(book, sheet, title_column=sheet.freeze + 1)
    write_list(page, sheet, columns, engine.units, [{"run": 1, "cylinder": number} for number in engine.places])
    ours = next(index for index, column in enumerate(columns, start=1) if column.filled)
    page.cell(HINT_ROW, ours, sheet.filled_hint).font = OURS
    page.freeze_panes = page.cell(HEADING_ROW + 1, sheet.freeze + 1).coordinate
    set_print(page, pages_wide=2, repeat_columns="A:B")


def _write_engine(book: Workbook, engine: StarterEngine, name: str) -> None:
    sheet = layout().sheets["engine"]
    page = begin_sheet(book, sheet)
    values: dict[str, Any] = {
        **engine.words,
        "name": name or None,
        "firing_order": "-".join(map(str, engine.firing_order)),
    }
    values |= {"trim_step_deg": 1.0 if engine.words["timing_hardware"] != "none" else None}
    enrichments = {"enrichment_front_in2": "front", "enrichment_rear_in2": "rear", "enrichment_in2": ""}
    row = HEADING_ROW + 1
    for column in sheet.settings:
        if not engine.wants(column.only) or (column.key in enrichments and enrichments[column.key] not in engine.ends):
            continue
        _write_setting(page, column, engine.units, row, values.get(column.key))
        row += 1
    lines = [
        {"number": number, "bank": bank or None, "place": place}
        | {f"shares.{station}": round(share, 4) for station, share in engine.shares.get(number, {}).items()}
        for number, (bank, place) in engine.places.items()
    ]
    write_list(page, sheet, engine.columns(sheet), engine.units, lines, heading_row=row + 1)
    page.freeze_panes = page.cell(HINT_ROW + 1, 1).coordinate
    set_print(page, repeat_row=None)


def _write_setting(page: Worksheet, column: Column, house: str, row: int, value: Any) -> None:
    page.cell(row, 1, column.headed(house)).font = NAME
    cell = page.cell(row, 2, value)
    cell.number_format = number_format(column, column.house_unit(house))
    cell.alignment, cell.border = Alignment(horizontal="left"), UNDERLINED
    page.cell(row, 3, column.noted(house)).font = HINT
    offer_words(page, column, f"B{row}")


def _write_jets(book: Workbook, engine: StarterEngine) -> None:
    sheet = layout().sheets["jets"]
    page = begin_sheet(book, sheet)
    jets = starter_jets(engine.words["fuel"], engine.units)
    lines = [{"label": label, "bore_in": bore, "on_hand": "yes"} for label, bore in jets]
    write_list(page, sheet, engine.columns(sheet), engine.units, lines)
    page.freeze_panes = page.cell(HEADING_ROW + 1, sheet.freeze + 1).coordinate
    name_shelf(book, sheet)
    set_print(page)


def _write_plugs(book: Workbook, engine: StarterEngine) -> None:
    sheet = layout().sheets["plugs"]
    page = begin_sheet(book, sheet)
    lines = [{"label": label, "heat_order": order, "tip": tip, "on_hand": "yes"} for label, order, tip in STARTER_PLUGS]
    write_list(page, sheet, engine.columns(sheet), engine.units, lines)
    page.freeze_panes = page.cell(HEADING_ROW + 1, sheet.freeze + 1).coordinate
    name_shelf(book, sheet)
    set_print(page)


def _write_targets(book: Workbook, engine: StarterEngine) -> None:
    sheet = layout().sheets["targets"]
    page = begin_sheet(book, sheet)
    entries = (default_targets().entry(key) for key in default_targets())
    fields = ("key", "value", "unit", "lowest", "highest", "about", "source")
    lines = [{field: getattr(entry, field) for field in fields} for entry in entries]
    write_list(page, sheet, engine.columns(sheet), engine.units, lines)
    page.freeze_panes = page.cell(HEADING_ROW + 1, sheet.freeze + 1).coordinate
    set_print(page)


def append_run(
    book: Workbook, values: Mapping[str, Any], readings: Mapping[int, Mapping[str, Any]] | None = None
) -> None:
    """Write a run and the plugs of its cylinders below the rows that are there; their tables grow.

    values, readings: by column key, numbers in the unit of the key (temp_c in degrees Celsius) whatever the heading's
    unit, text as it is; 'when' fills date and time. The rows that a blank workbook lists for a first run come first.
    Raises LogbookError for a key that the sheet has no column for.
    """
    runs = _list_in(book, "runs", [key.removeprefix("jets.") for key in values if key.startswith("jets.")])
    line = dict(values)
    when = line.pop("when", None)
    if isinstance(when, datetime):
        line |= {"date": when, "time": when.time()}
    listed = list(runs.rows())
    prepared = listed[0] if len(listed) == 1 and not listed[0].holds_any("name") else None
    old_name = prepared.raw("name") if prepared is not None else None
    _put(book, runs, prepared.number if prepared is not None else runs.block.last_row + 1, line)

    plugs = _list_in(book, "readings")
    waiting: dict[object, int] = {
        row.raw("cylinder"): row.number
        for row in plugs.rows()
        if old_name is not None and row.raw("run") == old_name and not row.holds_any("run", "cylinder")
    }
    next_row = plugs.block.last_row + 1
    for cylinder, reading in (readings or {}).items():
        row = waiting.pop(float(cylinder), next_row)
        next_row += row == next_row
        _put(book, plugs, row, {"run": values["name"], "cylinder": cylinder, **reading})
    for row in waiting.values():
        _put(book, plugs, row, {"run": values["name"]})


def _list_in(book: Workbook, key: str, stations: Sequence[str] = ()) -> Table:
    sheet = layout().sheets[key]
    return find_table(block_from_sheet(book[sheet.name]), sheet, sheet.columns_for(stations)).with_house_units("us")


def _put(book: Workbook, table: Table, row: int, values: Mapping[str, Any]) -> None:
    page = book[table.block.name]
    unknown = values.keys() - table.placed.keys()
    if unknown:
        raise LogbookError(f"there is no column for {', '.join(sorted(unknown))}", table.block.name)
    for key, placed in table.placed.items():
        cell = page.cell(row, placed.index)
        if key in values:
            cell.value = _as_written(placed, values[key])
        dress(cell, placed.column, placed.unit)
    for listed in page.tables.values():
        first, last = listed.ref.split(":")
        letters, bottom = coordinate_from_string(last)
        if bottom < row:
            listed.ref = f"{first}:{letters}{row}"
            if listed.autoFilter is not None:
                listed.autoFilter.ref = listed.ref


def _as_written(placed: PlacedColumn, value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if placed.unit is not None and isinstance(value, int | float):
        return round(placed.unit.written(float(value)), 9)
    # A label that is a number is written as one, or the spreadsheet marks it as a mistake.
    whole_label = placed.column.kind == "label" and isinstance(value, str) and value.isascii() and value.isdigit()
    return int(value) if whole_label and not str(value).startswith("0") else value
