"""Saving: in one step, with the old file kept, and nothing lost where it fails."""

from __future__ import annotations

import stat
import subprocess
import sys
from pathlib import Path

from workbook_template.package import save

FULL_DISK = """
import resource, signal, sys
from workbook_template.package import PackageRefused, save
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
try:
    save(sys.argv[1], b"n" * 5000)
except PackageRefused as refused:
    print(refused)
"""


def test_the_old_file_is_kept_beside_the_new_one(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(b"old")
    path.chmod(0o640)
    assert save(path, b"new") == tmp_path / "log.backup-1.xlsx"
    assert (path.read_bytes(), (tmp_path / "log.backup-1.xlsx").read_bytes()) == (b"new", b"old")
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert save(path, b"newer") == tmp_path / "log.backup-2.xlsx"
    assert len(list(tmp_path.iterdir())) == 3


def test_the_same_again_writes_nothing_and_an_equal_backup_serves(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(b"old")
    save(path, b"new")
    assert save(path, b"new") is None
    save(path, b"old")
    assert save(path, b"new") == tmp_path / "log.backup-1.xlsx"
    assert sorted(found.name for found in tmp_path.iterdir()) == [
        "log.backup-1.xlsx", "log.backup-2.xlsx", "log.xlsx"
    ]  # fmt: skip


def test_a_new_file_needs_no_backup(tmp_path: Path) -> None:
    assert save(tmp_path / "new.xlsx", b"new") is None
    assert [found.name for found in tmp_path.iterdir()] == ["new.xlsx"]


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.xlsx").write_bytes(b"old")
    (tmp_path / "link.xlsx").symlink_to(tmp_path / "real.xlsx")
    save(tmp_path / "link.xlsx", b"new")
    assert (tmp_path / "link.xlsx").is_symlink()
    assert (tmp_path / "real.xlsx").read_bytes() == b"new"


def test_a_full_disk_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(b"old")
    root = Path(__file__).resolve().parents[3]
    run = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(path)], capture_output=True, text=True, cwd=root, check=True
    )
    assert "could not be saved" in run.stdout and "it is as it was" in run.stdout
    assert [found.name for found in tmp_path.iterdir()] == ["log.xlsx"]
    assert path.read_bytes() == b"old"
