"""`strapline new --style` to a filled workbook through the installed command, and the form as it leaves the printer."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest

from tests.logs_on_disk import contents, strapline
from tests.workbook_template.styled_books import styled
from workbook_template.build import BlankOptions
from workbook_template.build_form import COPIES

OPTIONS = BlankOptions(timing_hardware="tabs")
LOG_SHEET = {"wide": "Log", "form": "Run 2"}
without_office = pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is missing")


def filled(folder: Path, style: str) -> tuple[Path, dict[str, object]]:
    log = folder / f"{style}.xlsx"
    styled(OPTIONS, style).save(log)
    done = strapline("fill", log, "--json", f"{style}.json", cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    return log, json.loads((folder / f"{style}.json").read_text("utf-8"))


@pytest.mark.parametrize("style", LOG_SHEET)
def test_a_style_is_filled_in_its_own_way(tmp_path: Path, style: str) -> None:
    _, ordinary = filled(tmp_path, "rows")
    log, advice = filled(tmp_path, style)
    assert [advice[key] for key in ("headline", "jets", "timing")] == [
        ordinary[key] for key in ("headline", "jets", "timing")
    ]
    page = openpyxl.load_workbook(log)[LOG_SHEET[style]]
    heads = {cell.value: cell for row in page.iter_rows() for cell in row if "(strapline)" in str(cell.value)}
    cylinders = advice["cylinders"]
    assert isinstance(cylinders, list)
    if style == "wide":
        written = [page.cell(5, heads[f"Cyl {n} mixture, % (strapline)"].column).value for n in range(1, 9)]
    else:
        head = heads["Mixture, % (strapline)"]
        written = [page.cell(head.row + n, head.column).value for n in range(1, 9)]
    assert written == [one["mixture_pct"] for one in cylinders]

    once = contents(tmp_path)
    assert strapline("fill", log, cwd=tmp_path).returncode == 0
    assert contents(tmp_path) == once
    assert strapline("clear", log, cwd=tmp_path).returncode == 0
    styled(OPTIONS, style).save(tmp_path / "again.xlsx")
    assert openpyxl.load_workbook(log).sheetnames == openpyxl.load_workbook(tmp_path / "again.xlsx").sheetnames


@pytest.mark.parametrize("style", LOG_SHEET)
def test_a_blank_one_says_where_to_begin(tmp_path: Path, style: str) -> None:
    assert strapline("new", "LOG.xlsx", "--style", style, cwd=tmp_path).returncode == 0
    before = contents(tmp_path)
    done = strapline("fill", "LOG.xlsx", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "") and "no plug reading yet; the sheet Start here" in done.stderr
    assert contents(tmp_path) == before


@without_office
@pytest.mark.parametrize(
    "options", [(), ("--cylinders", "12", "--carburetion", "individual runners"), ("--arrangement", "inline")]
)
def test_each_form_prints_on_one_page(tmp_path: Path, options: tuple[str, ...]) -> None:
    assert strapline("new", "LOG.xlsx", "--style", "form", *options, cwd=tmp_path).returncode == 0
    book = openpyxl.load_workbook(tmp_path / "LOG.xlsx")
    for page in book.worksheets[1 + COPIES :]:
        del book[page.title]
    del book["Start here"]
    book.save(tmp_path / "LOG.xlsx")
    command = [
        "soffice",
        f"-env:UserInstallation={(tmp_path / 'office').as_uri()}",
        "--headless",
        "--convert-to",
        "pdf",
    ]
    subprocess.run([*command, "LOG.xlsx"], cwd=tmp_path, check=True, capture_output=True, timeout=120)
    pages = re.findall(rb"/Type\s*/Page\b", (tmp_path / "LOG.pdf").read_bytes())
    assert len(pages) == COPIES
