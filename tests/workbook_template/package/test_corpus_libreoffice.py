"""LibreOffice opens every edited workbook, of the corpus and made by hand, and sees every other sheet as it was."""

from __future__ import annotations

import csv
import shutil
import subprocess
from pathlib import Path

import pytest

from workbook_template.package import open_package

from .samples import FIRST, block, corpus, needs_corpus
from .test_corpus_workbooks import REFUSED
from .test_features import BOOKS

NEVER_THE_SAME = {"php_32readwriteSurfaceChart3", "php_explicitdate"}  # their formulas ask for chance or the time
ALL_SHEETS = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"

pytestmark = [
    needs_corpus,
    pytest.mark.libreoffice,
    pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed"),
]


@pytest.fixture(scope="module")
def converted(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, dict[str, str]]:
    """The folders with the CSV files of the originals and of the edited, and the sheet written in each book."""
    folder = tmp_path_factory.mktemp("libreoffice")
    written = {}
    for name in ("before", "after"):
        (folder / name).mkdir()
    books = {path.name: path.read_bytes() for path in corpus("workbooks") if path.name not in REFUSED}
    books |= {f"made by hand {name}.xlsx": data for name, data in BOOKS.items()}
    for name, data in books.items():
        package = open_package(data)
        written[Path(name).stem] = package.worksheet_names[0]
        (folder / "before" / name).write_bytes(data)
        (folder / "after" / name).write_bytes(package.apply(block(package, package.worksheet_names[0])))
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    for name in ("before", "after"):
        files = sorted(map(str, (folder / name).iterdir()))
        command = [
            "soffice",
            profile,
            "--headless",
            "--convert-to",
            ALL_SHEETS,
            "--outdir",
            str(folder / f"{name}-csv"),
        ]
        subprocess.run([*command, *files], capture_output=True, timeout=100, check=True)
    return folder / "before-csv", folder / "after-csv", written


def test_every_book_that_it_opened_before_opens(converted: tuple[Path, Path, dict[str, str]]) -> None:
    before, after, written = converted
    opened = {book for book in written if any(before.glob(f"{book}-*.csv"))}
    assert len(opened) >= len(written) - 2
    assert {book for book in opened if (after / f"{book}-{FIRST}.csv").exists()} == opened


def test_other_sheets_are_the_same(converted: tuple[Path, Path, dict[str, str]]) -> None:
    before, after, written = converted
    ours = {f"{book}-{sheet}.csv" for book, sheet in written.items()}
    others = [path for path in before.glob("*.csv") if path.name not in ours]
    assert len(others) > 50
    for path in others:
        assert (after / path.name).read_bytes() == path.read_bytes(), path.name


def test_the_written_sheet_has_its_old_cells_and_ours(converted: tuple[Path, Path, dict[str, str]]) -> None:
    before, after, written = converted
    for book, sheet in written.items():
        if book in NEVER_THE_SAME or not (before / f"{book}-{sheet}.csv").exists():
            continue
        old, new = (_rows(folder / f"{book}-{sheet}.csv") for folder in (before, after))
        assert "Mixture (%)" in new[0], book
        column = new[0].index("Mixture (%)")
        cut = [row[:column] for row in new]
        width = min(column, max(map(len, old), default=0))
        assert [_bare(row[:width]) for row in cut[: len(old)]] == [_bare(row[:width]) for row in old], book


def _rows(path: Path) -> list[list[str]]:
    with path.open(newline="", encoding="utf-8", errors="replace") as stream:
        return list(csv.reader(stream))


def _bare(row: list[str]) -> list[str]:
    """The row without trailing empty cells, which only say how wide the sheet is."""
    while row and not row[-1]:
        row = row[:-1]
    return row
