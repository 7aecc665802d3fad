"""Putting a finished package on disk: all or nothing, with the old file kept beside it."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from pathlib import Path

from workbook_template.package.errors import PackageRefused


def save(path: Path | str, data: bytes) -> Path | None:
    """Replace the file by `data` in one step; returns the backup made beside it (None for a new file).

    The backup is the first free of NAME.backup-1.EXT, NAME.backup-2.EXT ..., or an equal one made before.
    Raises PackageRefused where the disk is full or the file is open elsewhere; the file is then as it was.
    """
    target = Path(os.path.realpath(path))
    try:
        if target.exists() and target.read_bytes() == data:
            return None
        fresh = _written_beside(target, data)
        try:
            backup = _backed_up(target) if target.exists() else None
            os.replace(fresh, target)
        except BaseException:  # Ctrl-C too
            fresh.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise PackageRefused(f"the file '{target.name}' could not be saved ({error.strerror}); it is as it was: "
                             "close it in other programs and make room on the disk") from error  # fmt: skip
    return backup


def _written_beside(target: Path, data: bytes) -> Path:
    """A temporary file in the same folder that holds the data, checked by reading it back."""
    handle, name = tempfile.mkstemp(prefix=f".{target.stem}-", suffix=".tmp", dir=target.parent)
    fresh = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if fresh.read_bytes() != data:
            raise OSError(5, "the disk did not keep what was written")
        if target.exists():
            shutil.copymode(target, fresh)
        else:
            fresh.chmod(0o666 & ~_umask())
    except BaseException:
        with contextlib.suppress(OSError):
            fresh.unlink()
        raise
    return fresh


def _backed_up(target: Path) -> Path:
    content = target.read_bytes()
    number = 1
    while True:
        backup = target.with_name(f"{target.stem}.backup-{number}{target.suffix}")
        if not backup.exists():
            break
        if backup.read_bytes() == content:
            return backup
        number += 1
    fresh = _written_beside(target, content)
    try:
        os.replace(fresh, backup)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
    return backup


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
