"""The process that the worksheet functions of Calc are worked out in: started once, restarted, given up, ended."""

from __future__ import annotations

import json
import os
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from workbook_template.functions import call
from workbook_template.hosts.office.asking import Unanswered
from workbook_template.hosts.office.calculating import Calculator

HOT = [88.0, 29.42, 45.0]
SETTINGS = {
    "python": sys.executable, "function_module": "workbook_template.function_protocol", "function_limit_s": 20.0,
    "function_rest_s": 60.0,
}  # fmt: skip


def calculator(folder: Path, **changed: Any) -> Calculator:
    path = folder / "settings.json"
    path.write_text(json.dumps(SETTINGS | changed))
    return Calculator(path)


def script(folder: Path, body: str) -> str:
    path = folder / "python"
    path.write_text(f'#!/bin/sh\necho started >>"{folder}/starts"\n{body}\n')
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return str(path)


def reason(asked: Calculator) -> str:
    with pytest.raises(Unanswered) as caught:
        asked.call("AIR", HOT)
    return str(caught.value)


def test_one_process_for_all_calls(tmp_path: Path) -> None:
    asked = calculator(tmp_path, python=script(tmp_path, f'exec {sys.executable} "$@"'))
    assert [asked.call("AIR", HOT) for _ in range(300)] == [call("AIR", HOT)] * 300
    with pytest.raises(Unanswered, match="may be °F or °C"):
        asked.call("AIR", [24.0, *HOT[1:]])
    assert asked.call("AIR", tuple(HOT)) == call("AIR", HOT)
    assert (tmp_path / "starts").read_text() == "started\n"


def test_killed_and_started_again(tmp_path: Path) -> None:
    asked = calculator(tmp_path, python=script(tmp_path, f'echo $$ >"{tmp_path}/pid"; exec {sys.executable} "$@"'))
    assert asked.call("AIR", HOT) == call("AIR", HOT)
    os.kill(int((tmp_path / "pid").read_text()), signal.SIGKILL)
    assert asked.call("AIR", HOT) == call("AIR", HOT)
    assert (tmp_path / "starts").read_text() == "started\n" * 2


FAILURES: dict[str, tuple[Callable[[Path], dict[str, Any]], str]] = {
    "no interpreter": (lambda folder: {"python": str(folder / "gone")}, "cannot be started"),
    "ends": (lambda folder: {"python": script(folder, "exit 1")}, "ended without an answer"),
    "killed in the midst": (lambda folder: {"python": script(folder, "read x; kill -9 $$")}, "ended without an answer"),
    "rubbish": (lambda folder: {"python": script(folder, "echo hm; exec sleep 30")}, "answered something else"),
    "too slow": (
        lambda folder: {"python": script(folder, "exec sleep 30"), "function_limit_s": 0.3},
        "no answer within 0.3 seconds",
    ),
}


@pytest.mark.parametrize("case", FAILURES)
def test_a_failure_is_a_sentence_and_is_not_waited_for_a_thousand_times(tmp_path: Path, case: str) -> None:
    settings, sentence = FAILURES[case]
    asked = calculator(tmp_path, **settings(tmp_path))
    reasons = {reason(asked) for _ in range(1000)}
    assert len(reasons) == 1 and sentence in reasons.pop()
    starts = tmp_path / "starts"
    assert not starts.exists() or starts.read_text() == "started\n"


def test_tried_again_after_a_rest(tmp_path: Path) -> None:
    asked = calculator(tmp_path, python=str(tmp_path / "gone"), function_rest_s=0.0)
    assert "cannot be started" in reason(asked)
    (tmp_path / "settings.json").write_text(json.dumps(SETTINGS))
    assert asked.call("AIR", HOT) == call("AIR", HOT)


OFFICE = """
import sys, time
from pathlib import Path
from workbook_template.hosts.office.calculating import Calculator
Calculator(Path(sys.argv[1])).call("AIR", [88.0, 29.42, 45.0])
print("ready", flush=True)
time.sleep(60)
"""


def test_it_ends_with_the_program_that_started_it_however_that_ends(tmp_path: Path) -> None:
    calculator(tmp_path, python=script(tmp_path, f'echo $$ >"{tmp_path}/pid"; exec {sys.executable} "$@"'))
    office = subprocess.Popen(
        [sys.executable, "-c", OFFICE, str(tmp_path / "settings.json")], stdout=subprocess.PIPE, text=True
    )
    assert office.stdout is not None and office.stdout.readline() == "ready\n"
    helper = int((tmp_path / "pid").read_text())
    os.kill(helper, 0)
    office.kill()
    office.wait()
    for _ in range(100):
        if not running(helper):
            return
        time.sleep(0.1)
    os.kill(helper, signal.SIGKILL)
    pytest.fail("the process outlived the office")


def running(process: int) -> bool:
    try:
        os.kill(process, 0)
        return "Z" not in Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except (ProcessLookupError, FileNotFoundError):
        return False
