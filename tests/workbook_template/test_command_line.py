"""The commands in this process: what they say, what they refuse, and what they wait for."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from engine_rules.logbook import LogbookError
from engine_rules.rulebook import all_rules
from engine_rules.targets import default_targets
from tests.logs_on_disk import contents, place_of, write_log
from workbook_template.command_line import explained, run_command

SLOW_TO_LOAD = {"numpy", "pandas", "openpyxl", "experta", "lxml", "rich", "psychrolib", "xlwings"}


@pytest.fixture(scope="module")
def a_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of three runs whose last has specks, a column and a sheet of the racer's, and a target of his own."""

    def touch(book: openpyxl.Workbook) -> None:
        book["Runs"]["AF3"] = "Tyre [psi]"
        book["Runs"][place_of(book, "Runs", "Humidity", 3)] = "RH (%)"
        book["Targets"][place_of(book, "Targets", "Yours", 4)] = 5.5
        book.create_sheet("Budget")

    path = tmp_path_factory.mktemp("log") / "[bold]LOG.xlsx"
    return write_log(path, runs=3, plugs={3: {"specks": "few black", "ring": None}}, edit=touch)


def said(capsys: pytest.CaptureFixture[str], *arguments: str | Path, status: int = 0) -> tuple[str, str]:
    assert run_command([str(one) for one in arguments]) == status
    captured = capsys.readouterr()
    return captured.out, captured.err


def test_help_waits_for_nothing_slow() -> None:
    code = "import sys, workbook_template.command_line; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout.split()
    assert SLOW_TO_LOAD.isdisjoint(loaded)


@pytest.mark.parametrize("arguments", [[], ["--help"]])
def test_help_names_every_command(capsys: pytest.CaptureFixture[str], arguments: list[str]) -> None:
    out, _ = said(capsys, *arguments)
    assert all(f"  {command} " in out for command in ("new", "check", "fill", "batch", "rules"))


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "--version")[0].startswith("strapline ")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["fil"], "No such command"),
        (["fill"], "Missing argument"),
        (["fill", "a.xlsx", "--run", "1", "--all"], "do not go together"),
        (["fill", "a.xlsx", "--json", "a.xlsx"], "would not end in .json"),
        (["fill", "a.xlsx", "--json", "nowhere/a.json"], "there is no folder nowhere"),
        (["new", "a.xls"], "would not end in .xlsx"),
        (["new", "nowhere/a.xlsx"], "there is no folder nowhere"),
        (["new", "a.xlsx", "--arrangement", "w"], "use one of V, inline, flat"),
        (["new", "a.xlsx", "--units", "cgs"], "use us or si"),
        (["new", "a.xlsx", "--cylinders", "13"], "use 1 to 12"),
        (["new", "a.xlsx", "--cylinders", "four"], "'--cylinders'"),
        (["new", "a.xlsx", "--firing-order", "1-2-x"], "write it such as 1-3-4-2"),
        (["new", "a.xlsx", "--firing-order", "1-2-3"], "firing order"),
        (["batch", "nowhere", "--out", "a"], "there is no folder nowhere"),
        (["batch", ".", "--out", "."], "cannot go into . itself"),
        (["batch", ".", "--out", "a"], "there is no workbook in ."),
        (["batch", ".", "--out", "a", "--workers", "0"], "'--workers'"),
        (["rules", "safty.bright_speks"], "did you mean safety.bright_specks"),
        (["rules", "bright_spekcs"], "did you mean safety.bright_specks"),
        (["rules", "haet"], "did you mean heat"),
        (["rules", "qqq"], "the decisions are reading,"),
    ],
)
def test_a_wrong_command_gets_one_sentence(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    words: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    out, err = said(capsys, *arguments, status=2)
    assert out == "" and err.startswith("strapline: ") and err.count("\n") == 1
    assert words in err
    assert contents(tmp_path) == {}


def test_a_new_workbook_is_made_for_the_engine(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    log = tmp_path / "four.xlsx"
    options = ["--cylinders", "4", "--arrangement", "inline", "--units", "si", "--carburetion", "side-draughts"]
    said(capsys, "new", log, *options, "--fuel", "methanol", "--run-length", "long", "--firing-order", "1-2-4-3")
    out, _ = said(capsys, "check", log)
    assert "inline 4, methanol, side-draughts, individual runner" in out
    assert "Air temp (°C)" in out
    assert "1-2-4-3" in {cell.value for (cell,) in openpyxl.load_workbook(log)["Engine"]["B4:B12"]}


def test_check_says_what_was_read_and_what_was_not(capsys: pytest.CaptureFixture[str], a_log: Path) -> None:
    before = contents(a_log.parent)
    out, err = said(capsys, "check", a_log)
    assert err == ""
    assert out.startswith("[bold]LOG.xlsx: Blue car, V 8, leaded gasoline")  # a name is never taken for markup
    assert "3 runs, 3 with readings: from run 1 (2026-03-14) to run 3 (2026-03-14)" in out
    assert "A3:AF6" in out
    assert "RH (%) (as Humidity)" in out
    assert "AF3 Tyre [psi]" in out
    assert "Other sheets, left alone: Budget" in out
    assert "fit.full_load_s: 5.5 s, not 4" in out
    assert "Newest run 3 (safety): Back off" in out
    assert "Readings!K20: threads of cylinder 1, 2, 3, 4, 5, 6, 7, 8 (heat.threads_hot)" in out
    assert contents(a_log.parent) == before


def test_check_of_a_log_without_runs_says_so(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx", edit=lambda book: book["Runs"].delete_rows(4, 9))
    book = openpyxl.load_workbook(log)
    book["Readings"].delete_rows(4, 40)
    book.save(log)
    out, _ = said(capsys, "check", log)
    assert "No run yet" in out and "No advice yet: " in out


def test_fill_says_headline_changes_and_cautions(
    capsys: pytest.CaptureFixture[str], a_log: Path, tmp_path: Path
) -> None:
    out, _ = said(capsys, "fill", a_log, "-o", tmp_path / "OUT.xlsx", "--json", tmp_path / "advice.json")
    advice = json.loads((tmp_path / "advice.json").read_text("utf-8"))
    lines = out.splitlines()
    assert lines[0] == f"Run 3 (safety): {advice['headline']}"
    assert any(line.startswith("  BACK OFF: Cylinder 3: ") for line in lines)
    assert f"  Total timing: {advice['timing']['from']:g}° → {advice['timing']['to']:g}°" in lines
    assert lines[-1].endswith("Look at its sheet Next run first, and at Why for the reasons.")


def test_fill_all_without_readings_says_what_to_do(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said(capsys, "new", tmp_path / "LOG.xlsx")
    _, err = said(capsys, "fill", tmp_path / "LOG.xlsx", "--all", status=2)
    assert err.startswith("strapline: Readings: there is no reading in the log yet; ")


def test_the_book_prints_every_rule(capsys: pytest.CaptureFixture[str]) -> None:
    out, _ = said(capsys, "rules")
    text = " ".join(out.split())
    assert all(entry.id in text and entry.says in text and entry.source in text for entry in all_rules())
    assert f"{len(all_rules())} rules." in text


def test_the_targets_that_a_rule_names_are_shown(capsys: pytest.CaptureFixture[str]) -> None:
    out, _ = said(capsys, "rules", "safety.bright_specks")
    value = default_targets()["safety.knock_retard_deg"]
    assert f"Target safety.knock_retard_deg: {value:g} degrees" in out


@pytest.mark.parametrize(
    ("error", "status"),
    [(LogbookError("no", "Runs", "A1"), 2), (OSError(28, "No space left on device"), 2), (KeyError("jets"), 1)],
)
def test_what_is_not_usable_and_what_is_our_fault(error: Exception, status: int) -> None:
    sentence, given = explained(error)
    assert given == status and "\n" not in sentence
    assert ("report it" in sentence) == (status == 1)
