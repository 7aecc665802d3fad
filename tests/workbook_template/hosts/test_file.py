"""A file as a host: what is kept, what is refused, and that a failed save harms nothing."""

from __future__ import annotations

import subprocess
import sys
import textwrap
import zipfile
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter

from engine_rules.logbook import LogbookError
from tests.workbook_template.advised_cases import v8_all_change, v8_stop
from tests.workbook_template.filled_books import fill, read, v8_log
from workbook_template.fill import plan
from workbook_template.hosts.file import FileHost
from workbook_template.hosts.protocol import CellOut, Changes, SheetOut, Style

ROOT = Path(__file__).parents[3]


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return v8_log(tmp_path / "LOG.xlsx")


def test_the_file_is_kept_beside_before_it_is_replaced(log: Path) -> None:
    before = log.read_bytes()
    host = fill(log, [v8_all_change().advice])
    assert host.backup == log.with_name("LOG.backup-1.xlsx")
    assert host.backup.read_bytes() == before


def test_no_backup_is_ever_overwritten(log: Path) -> None:
    racers = log.with_name("LOG.backup-1.xlsx")
    racers.write_bytes(b"something of the racer's")
    before = log.read_bytes()
    first = fill(log, [v8_all_change().advice]).backup
    filled = log.read_bytes()
    second = fill(log, [v8_stop().advice]).backup
    assert racers.read_bytes() == b"something of the racer's"
    assert first is not None and first.read_bytes() == before
    assert second is not None and second.read_bytes() == filled
    assert len({racers, first, second}) == 3


def test_a_result_elsewhere_leaves_the_log_as_it_was(log: Path, tmp_path: Path) -> None:
    before = log.read_bytes()
    out = tmp_path / "OUT.xlsx"
    host = fill(log, [v8_all_change().advice], out)
    assert log.read_bytes() == before and host.backup is None
    assert "Next run" in openpyxl.load_workbook(out).sheetnames


def test_parts_that_are_not_ours_keep_their_bytes(log: Path) -> None:
    before = zipfile.ZipFile(log)
    kept = {name: before.read(name) for name in before.namelist()}
    fill(log, [v8_all_change().advice])
    after = zipfile.ZipFile(log)
    changed = {name for name, data in kept.items() if after.read(name) != data}
    readings = 1 + openpyxl.load_workbook(log).sheetnames.index("Readings")
    assert f"xl/worksheets/sheet{readings}.xml" in changed
    others = {f"xl/worksheets/sheet{number}.xml" for number in range(1, 8) if number != readings}
    assert not changed & (others | {"docProps/core.xml", "docProps/app.xml", "xl/sharedStrings.xml"})


def test_a_log_saved_by_someone_else_meanwhile_is_not_written_over(log: Path) -> None:
    host = FileHost(log)
    changes = plan(read(log), [v8_all_change().advice])
    host.read()
    book = openpyxl.load_workbook(log)
    book["Runs"]["A4"].value = 99
    book.save(log)
    theirs = log.read_bytes()
    with pytest.raises(LogbookError, match="was changed while"):
        host.apply(changes)
    assert log.read_bytes() == theirs


def test_a_locked_workbook_is_refused_in_one_sentence(log: Path) -> None:
    book = openpyxl.load_workbook(log)
    book.security.lockStructure = True
    book.save(log)
    before = log.read_bytes()
    with pytest.raises(LogbookError, match="structure is locked; unprotect"):
        fill(log, [v8_all_change().advice])
    assert log.read_bytes() == before


def test_a_cell_that_cannot_be_written_is_named(log: Path) -> None:
    book = openpyxl.load_workbook(log)
    book["Readings"].merge_cells("AC4:AD5")
    book.save(log)
    with pytest.raises(LogbookError, match=r"^Readings!AD5: "):
        FileHost(log).apply(Changes(cells={"Readings": {(5, 30): CellOut("x")}}))


@pytest.mark.parametrize("content", [b"", b"not a workbook", b"PK\x03\x04 broken"])
def test_what_is_no_workbook_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "odd.xlsx"
    path.write_bytes(content)
    with pytest.raises(LogbookError, match=r"^odd\.xlsx: "):
        FileHost(path).read()


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(LogbookError, match=r"LOG\.xlsx cannot be read .* check the name"):
        FileHost(tmp_path / "LOG.xlsx").read()


def test_text_that_looks_like_a_formula_stays_text(log: Path) -> None:
    sheet = SheetOut("Ours", {(1, 1): CellOut("=1+1", Style(bold=True))})
    FileHost(log).apply(Changes(cells={"Readings": {(4, 40): CellOut("=2+2")}}, sheets=(sheet,)))
    book = openpyxl.load_workbook(log)
    assert (book["Ours"]["A1"].value, book["Ours"]["A1"].data_type) == ("=1+1", "s")
    assert (book["Readings"].cell(4, 40).value, book["Readings"].cell(4, 40).data_type) == ("=2+2", "s")


def test_a_sheet_of_the_racers_with_our_name_is_left_alone(log: Path) -> None:
    book = openpyxl.load_workbook(log)
    book.create_sheet("Why")["A1"].value = "why not"
    book.save(log)
    fill(log, [v8_all_change().advice])
    after = openpyxl.load_workbook(log)
    assert after["Why"]["A1"].value == "why not"
    assert after["Why (2)"]["A1"].value == "Why: run 17"
    locations = {c.hyperlink.location for row in after["Next run"].iter_rows() for c in row if c.hyperlink}
    assert locations and all(location.startswith("'Why (2)'!") for location in locations)


NEW_SHEETS = "plan(read_logbook(host.read()), [v8_all_change().advice])"
CELLS_ALONE = "Changes(cells={'Readings': {(4, 40): CellOut('x')}})"


@pytest.mark.skipif(sys.platform == "win32", reason="limits on the size of files are a Unix matter")
@pytest.mark.parametrize("changes", [NEW_SHEETS, CELLS_ALONE], ids=["new sheets", "cells alone"])
def test_a_disk_that_takes_no_more_leaves_the_log_as_it_was(log: Path, changes: str) -> None:
    before = log.read_bytes()
    script = textwrap.dedent(f"""
        import resource, signal, sys
        from engine_rules.logbook import LogbookError
        from tests.workbook_template.advised_cases import v8_all_change
        from workbook_template.fill import plan
        from workbook_template.hosts.file import FileHost
        from workbook_template.hosts.protocol import CellOut, Changes
        from workbook_template.read import read_logbook
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        host = FileHost({str(log)!r})
        changes = {changes}
        resource.setrlimit(resource.RLIMIT_FSIZE, (8192, 8192))
        try:
            host.apply(changes)
        except LogbookError as error:
            sys.exit(str(error))
    """)
    done = subprocess.run([sys.executable, "-B", "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert done.returncode == 1
    assert "could not be saved" in done.stderr and "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert log.read_bytes() == before
    assert [path.name for path in log.parent.iterdir()] == ["LOG.xlsx"]


def test_a_link_that_excels_button_wrote_as_a_formula_is_one_too(tmp_path: Path) -> None:
    path = tmp_path / "LOG.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Readings")
        sheet.write_formula("A1", "=HYPERLINK(\"#'Why'!A9\",-2.4)", None, -2.4)
        sheet.write_formula("B1", "=A1*2", None, -4.8)
    FileHost(path).apply(Changes(if_linked={"Readings": {(1, 1): CellOut(-2.4), (1, 2): CellOut(0.0)}}))
    read_again = openpyxl.load_workbook(path)["Readings"]
    assert (read_again["A1"].value, read_again["B1"].value) == (-2.4, "=A1*2")
