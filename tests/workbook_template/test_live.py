"""What a button asks and what it is told, without a spreadsheet program."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from engine_rules.logbook import LogbookError
from tests.logs_on_disk import write_log
from workbook_template.hosts import wire
from workbook_template.hosts.blocks import blocks_from_file
from workbook_template.hosts.file import FileHost
from workbook_template.hosts.protocol import Changes, SheetBlock
from workbook_template.live import Asked, Selected, answer
from workbook_template.live_protocol import reply
from workbook_template.package import open_package


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return write_log(tmp_path / "LOG.xlsx")


def asked(command: str, path: Path, **more: Any) -> Asked:
    return Asked(command, path.name, blocks_from_file(path), **more)


def question(command: str, path: Path, **more: Any) -> bytes:
    blocks = [wire.block_to_json(block) for block in blocks_from_file(path)]
    return json.dumps({"command": command, "document": path.name, "blocks": blocks, **more}).encode()


def test_fill_changes_what_the_file_host_changes(log: Path, tmp_path: Path) -> None:
    made = answer(asked("fill", log))
    assert made.settled is not None and made.go_to == "Next run!A2"
    host = FileHost(log, tmp_path / "live.xlsx")
    host.apply(made.settled.changes)
    owned = open_package(host.out).owned
    assert {(mark.name, mark.sheet) for mark in made.settled.marks if mark.name.startswith("_wt_sheet_")} == {
        ("_wt_sheet_" + wanted.replace(" ", "_20_"), sheet) for wanted, sheet in owned.sheets.items()
    }
    areas = [mark.area for mark in made.settled.marks if mark.name.startswith("_wt_cells_")]
    assert areas == [
        (area.first_row, area.first_column, area.last_row, area.last_column)
        for found in owned.cells.values()
        for area in found
    ]


def test_a_name_that_is_taken_is_left_to_the_user(log: Path) -> None:
    question = asked("fill", log)
    mine = SheetBlock("Why", 1, 1, (("mine",),))
    made = answer(replace(question, blocks=(*question.blocks, mine)))
    assert made.settled is not None
    assert "Why (2)" in [sheet.name for sheet in made.settled.changes.sheets]
    links = [cell.link for cells in made.settled.changes.cells.values() for cell in cells.values() if cell.link]
    assert links and all(link.startswith("Why (2)!") for link in links)


def test_a_second_fill_takes_the_place_of_the_first(log: Path) -> None:
    question = asked("fill", log)
    first = answer(question).settled
    assert first is not None
    ours = tuple(SheetBlock(sheet.name, 1, 1, (("x",),)) for sheet in first.changes.sheets)
    again = answer(replace(question, blocks=(*question.blocks, *ours), marks=first.marks)).settled
    assert again == first


def test_clear_takes_out_what_was_filled_in(log: Path) -> None:
    question = asked("fill", log)
    filled = answer(question).settled
    assert filled is not None
    ours = tuple(SheetBlock(sheet.name, 1, 1, (("x",),)) for sheet in filled.changes.sheets)
    cleared = answer(replace(question, command="clear", blocks=(*question.blocks, *ours), marks=filled.marks)).settled
    assert cleared is not None and cleared.marks == ()
    assert set(cleared.changes.removed) == {sheet.name for sheet in filled.changes.sheets}
    assert cleared.changes.cells.keys() == filled.changes.cells.keys()
    assert all(cell.value is None for cells in cleared.changes.cells.values() for cell in cells.values())


def test_clear_of_nothing_is_said(log: Path) -> None:
    with pytest.raises(LogbookError, match="nothing of strapline's"):
        answer(asked("clear", log))


def test_check_changes_nothing(log: Path) -> None:
    made = answer(asked("check", log))
    assert made.settled is None and any("2 runs" in line for line in made.lines)


def test_air_asks_first_and_then_draws_today(log: Path) -> None:
    assert [field.key for field in answer(asked("air", log)).form][:2] == ["--temp", "--pressure"]
    made = answer(asked("air", log, air={"--temp": "95", "--pressure": "29.3", "--humidity": "30"}))
    assert made.settled is not None and [sheet.name for sheet in made.settled.changes.sheets] == ["Today"]
    with pytest.raises(LogbookError, match="--temp"):
        answer(asked("air", log, air={"--temp": "warm", "--pressure": "29.3"}))


def test_why_before_a_fill_or_of_no_single_cell(log: Path) -> None:
    with pytest.raises(LogbookError, match="press Fill first"):
        answer(asked("why", log, selected=Selected("Readings", 4, 17)))
    with pytest.raises(LogbookError, match="no single cell is selected"):
        answer(asked("why", log))


def test_an_unknown_command_and_a_workbook_without_a_log(log: Path) -> None:
    with pytest.raises(LogbookError, match="no command dance"):
        answer(asked("dance", log))
    with pytest.raises(LogbookError):
        answer(Asked("fill", "x.ods", (SheetBlock("Sheet1", 1, 1, (("milk", 2.0),)),)))


@pytest.mark.parametrize("sent", [b"", b"no json", b"[]", b'{"command": "fill"}'])
def test_a_broken_question_is_one_sentence(sent: bytes) -> None:
    said: Mapping[str, Any] = reply(sent)
    assert said.keys() == {"error"} and "\n" not in said["error"]


def test_the_process_answers_in_json_alone(log: Path, tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "workbook_template.live_protocol"],
        input=question("fill", log), capture_output=True, timeout=120, check=True,
    )  # fmt: skip
    said = json.loads(run.stdout)
    assert said["data"]["run"] == "2" and said["changes"]["workbook"]
    assert said == json.loads(json.dumps(reply(question("fill", log)))) | {"changes": said["changes"]}


def test_a_removed_sheet_goes_from_a_file_too(log: Path) -> None:
    host = FileHost(log)
    made = answer(asked("fill", log)).settled
    assert made is not None
    host.apply(made.changes)
    FileHost(log).apply(Changes(removed=("Why",)))
    assert "Why" not in open_package(log).sheet_names and "Next run" in open_package(log).sheet_names
