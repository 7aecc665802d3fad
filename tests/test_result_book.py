"""Workbooks that may not be changed in place: one sentence, the advice in a workbook of its own, theirs untouched."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from tests.locked_books import CORPUS, LOCKS, fill_to_the_last_columns, lock_structure, protect_sheets
from tests.logs_on_disk import contents, strapline, texts, write_log
from tests.workbook_template.racers_forms import sheet_per_run
from tests.workbook_template.racers_lists import two_cars, wide
from tests.workbook_template.racers_season import ordinary_advice
from workbook_template.how_read import HOW_READ

LEAN_LEFT_FRONT = {1: {"ring": "none", "porcelain": "white"}, 3: {"ring": "none", "porcelain": "white"}}
with_corpus = pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus is not beside the repository")


def strange_links(path: Path) -> list[str]:
    """Links of a workbook that lead out of it."""
    book = openpyxl.load_workbook(path)
    links = [cell.hyperlink for page in book for row in page.iter_rows() for cell in row if cell.hyperlink]
    assert links
    names = set(book.sheetnames)
    return [
        str(link.location) for link in links if link.target or link.location.rpartition("!")[0].strip("'") not in names
    ]


@with_corpus
@pytest.mark.parametrize(("lock", "reason"), LOCKS.values(), ids=LOCKS.keys())
def test_the_advice_goes_into_a_workbook_beside(tmp_path: Path, lock: Callable[[Path], None], reason: str) -> None:
    log = write_log(tmp_path / "LOG.xlsx", plugs=LEAN_LEFT_FRONT)
    lock(log)
    before = log.read_bytes()
    done = strapline("fill", log, "--json", "advice.json", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "LOG.xlsx cannot be filled in place: " in done.stdout and reason in done.stdout
    assert "LOG.result.xlsx" in done.stdout
    assert set(contents(tmp_path)) == {"LOG.xlsx", "LOG.result.xlsx", "advice.json"} and log.read_bytes() == before

    result = tmp_path / "LOG.result.xlsx"
    book = openpyxl.load_workbook(result)
    assert book.sheetnames == ["Next run", "Advice", "Why", "Ledger", "Charts", "Season charts"]
    assert strange_links(result) == []
    advice = json.loads((tmp_path / "advice.json").read_text("utf-8"))
    assert advice["headline"] in texts(result, "Next run")
    heads = [cell.value for cell in book["Advice"][4]]
    assert heads[:4] == ["Run", "Cylinder", "Mixture, %", "Timing, °"]
    rows = [[cell.value for cell in row[:3]] for row in book["Advice"].iter_rows(min_row=5)]
    assert rows == [[2, one["cylinder"], one["mixture_pct"]] for one in advice["cylinders"]]
    assert any(text.startswith("Readings!") for text in texts(result, "Why"))
    assert any(text.startswith("Advice!") for text in texts(result, "Why"))

    once = contents(tmp_path)
    assert strapline("fill", log, "--json", "advice.json", cwd=tmp_path).returncode == 0
    assert contents(tmp_path) == once


def test_every_run_has_its_rows(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx", runs=3)
    lock_structure(log)
    assert strapline("fill", log, "--all", "-o", "OUT.xlsx", cwd=tmp_path).returncode == 0
    page = openpyxl.load_workbook(tmp_path / "OUT.xlsx")["Advice"]
    assert [row[0].value for row in page.iter_rows(min_row=5)] == [1] * 8 + [2] * 8 + [3] * 8
    assert set(contents(tmp_path)) == {"LOG.xlsx", "OUT.xlsx"}


@pytest.mark.parametrize("lock", [protect_sheets, fill_to_the_last_columns])
def test_a_racers_own_list_without_room_gets_the_same_advice(tmp_path: Path, lock: Callable[[Path], None]) -> None:
    log = tmp_path / "LOG.xlsx"
    wide(lambda number, name: f"Cyl {number} {name}").save(log)
    lock(log)
    before = log.read_bytes()
    done = strapline("fill", log, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "cannot be filled in place" in done.stdout and log.read_bytes() == before
    newest = list(ordinary_advice().values())[-1]
    rows = openpyxl.load_workbook(tmp_path / "LOG.result.xlsx")["Advice"].iter_rows(min_row=5)
    assert [row[2].value for row in rows] == [one["mixture_pct"] for one in newest["cylinders"]]
    assert strange_links(tmp_path / "LOG.result.xlsx") == []
    assert any("what you write here is read then" in text for text in texts(tmp_path / "LOG.result.xlsx", HOW_READ))


def test_several_cars_and_forms(tmp_path: Path) -> None:
    for name, book in (("cars.xlsx", two_cars()), ("forms.xlsx", sheet_per_run())):
        book.save(tmp_path / name)
        lock_structure(tmp_path / name)
        assert strapline("fill", name, cwd=tmp_path).returncode == 0
        assert strange_links(tmp_path / name.replace(".xlsx", ".result.xlsx")) == []
    names = openpyxl.load_workbook(tmp_path / "cars.result.xlsx").sheetnames
    assert sum(name.startswith("Advice ") for name in names) == 2


def test_a_batch_takes_the_result_and_never_reads_one(tmp_path: Path) -> None:
    (tmp_path / "cars").mkdir()
    log = write_log(tmp_path / "cars" / "LOG.xlsx")
    lock_structure(log)
    assert strapline("fill", log, cwd=tmp_path).returncode == 0
    done = strapline("batch", "cars", "--out", "filled", "--workers", "1", cwd=tmp_path)
    assert done.returncode == 0 and "Filled 1 of 1" in done.stdout
    assert json.loads((tmp_path / "filled" / "summary.json").read_text("utf-8"))[0]["filled"] == "LOG.xlsx"
    assert "Advice" in openpyxl.load_workbook(tmp_path / "filled" / "LOG.xlsx").sheetnames


def test_todays_jets_go_beside_too(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx")
    lock_structure(log)
    before = log.read_bytes()
    given = ("--temp", "88", "--pressure", "29.1", "--humidity", "60")
    done = strapline("retune", log, *given, "-o", "OUT.xlsx", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "") and "cannot be changed" in done.stdout
    assert openpyxl.load_workbook(tmp_path / "OUT.xlsx").sheetnames == ["Today"] and log.read_bytes() == before


@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is missing")
def test_libreoffice_opens_a_result(tmp_path: Path) -> None:
    log = write_log(tmp_path / "LOG.xlsx")
    lock_structure(log)
    assert strapline("fill", log, cwd=tmp_path).returncode == 0
    command = ["soffice", f"-env:UserInstallation={(tmp_path / 'office').as_uri()}", "--headless"]
    subprocess.run([*command, "--convert-to", "pdf", "LOG.result.xlsx"], cwd=tmp_path, check=True, timeout=120)
    assert (tmp_path / "LOG.result.pdf").stat().st_size > 10_000


@pytest.mark.parametrize("out", [(), ("-o", "OUT.xlsx")])
def test_what_is_corrected_in_the_result_is_read_and_stays(tmp_path: Path, out: tuple[str, ...]) -> None:
    log, result = tmp_path / "LOG.xlsx", tmp_path / (out[1] if out else "LOG.result.xlsx")
    wide(lambda number, name: f"Cyl {number} {name}").save(log)
    protect_sheets(log)
    assert strapline("fill", log, *out, cwd=tmp_path).returncode == 0
    for answer in ("not used", None):
        book = openpyxl.load_workbook(result)
        page = book[HOW_READ]
        line = next(cell.row for cell in page["A"] if cell.value == "Cyl n EGT")
        if answer:
            page.cell(line, 8).value = answer
            book.save(result)
        assert strapline("fill", log, *out, cwd=tmp_path).returncode == 0
        page = openpyxl.load_workbook(result)[HOW_READ]
        line = next(cell.row for cell in page["A"] if cell.value == "Cyl n EGT")
        assert [page.cell(line, column).value for column in (3, 5, 8)] == ["not used", "yours", "not used"]
