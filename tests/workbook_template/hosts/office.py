"""A LibreOffice of its own for tests: fresh profile, our extension in it, a screen in memory, driven from outside."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from workbook_template.hosts.calc import build_extension, install_extension, office_environment

DRIVER = Path(__file__).with_name("office_driver.py")
SNAPSHOT = Path(__file__).with_name("office_snapshot.py")


class Office:
    """The running office; every call goes to `office_driver.Driver`."""

    def __init__(self, driver: subprocess.Popen[str], settings: Path, session: int) -> None:
        self._driver, self._settings, self._session = driver, settings, session

    def __getattr__(self, name: str) -> Any:
        def call(**arguments: Any) -> Any:
            assert self._driver.stdin is not None
            self._driver.stdin.write(json.dumps({"do": name, **arguments}) + "\n")
            self._driver.stdin.flush()
            return self._answer()

        return call

    def _answer(self) -> Any:
        assert self._driver.stdout is not None
        line = self._driver.stdout.readline()
        assert line, "the office went down"
        said = json.loads(line)
        assert "error" not in said, said
        return said["result"]

    def helpers(self) -> list[int]:
        """The processes of this office that work out worksheet functions."""
        found = []
        for folder in Path("/proc").glob("[0-9]*"):
            try:
                ours = os.getsid(int(folder.name)) == self._session
                if ours and b"workbook_template.function_protocol" in (folder / "cmdline").read_bytes():
                    found.append(int(folder.name))
            except OSError:  # it has ended meanwhile
                continue
        return found

    @contextmanager
    def asking(self, **changed: Any) -> Iterator[None]:
        """With other settings in the installed extension, such as another interpreter."""
        kept = self._settings.read_text()
        self._settings.write_text(json.dumps(json.loads(kept) | changed))
        try:
            yield
        finally:
            self._settings.write_text(kept)


def python_of_office() -> str:
    """The Python that has the office's bridge; fails where there is none."""
    for python in ("/usr/bin/python3", "/usr/lib/libreoffice/program/python"):
        if Path(python).exists() and subprocess.run([python, "-c", "import uno"], capture_output=True).returncode == 0:
            return python
    raise AssertionError("no Python with the office's bridge was found; install the package python3-uno")


@contextmanager
def running_office(folder: Path) -> Iterator[Office]:
    """The office, from its start to its end. Everything that it writes is in the folder."""
    where = [f"-env:UserInstallation={(folder / 'profile').as_uri()}",
             f"-env:UNO_SHARED_PACKAGES_CACHE={(folder / 'shared').as_uri()}"]  # fmt: skip
    extension = folder / "strapline.oxt"
    build_extension(extension)
    install_extension(extension, [*where, str(_snapshots(folder / "snapshots.oxt"))])
    settings = next(folder.glob("**/strapline_office/settings.json"))
    screen, display = _screen()
    pipe = f"strapline{os.getpid()}"
    environment = office_environment() | {"DISPLAY": f":{display}"}
    office = subprocess.Popen(
        [shutil.which("soffice") or "soffice", *where, "--norestore", "--nologo", "--nodefault", "--nofirststartwizard",
         f"--accept=pipe,name={pipe};urp;"],
        env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    driver = subprocess.Popen([python_of_office(), str(DRIVER), pipe], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                              env=environment, text=True)  # fmt: skip
    try:
        made = Office(driver, settings, office.pid)
        assert made._answer() == "ready"
        yield made
    finally:
        driver.kill()
        _end(office)
        _end(screen)


def _snapshots(path: Path) -> Path:
    """A second extension, which looks at documents from within."""
    entry = (
        f'<manifest:file-entry manifest:full-path="{SNAPSHOT.name}" '
        'manifest:media-type="application/vnd.sun.star.uno-component;type=Python"/>'
    )
    with zipfile.ZipFile(path, "w") as archive:
        archive.write(SNAPSHOT, SNAPSHOT.name)
        archive.writestr(
            "META-INF/manifest.xml",
            f'<manifest:manifest xmlns:manifest="http://openoffice.org/2001/manifest">{entry}</manifest:manifest>',
        )
    return path


def _screen() -> tuple[subprocess.Popen[bytes], int]:
    reading, writing = os.pipe()
    screen = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", "1400x900x24", "-noreset", "-nolisten", "tcp"],
        pass_fds=[writing], stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    os.close(writing)
    with os.fdopen(reading) as said:
        return screen, int(said.readline())


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a program with all that it started: `soffice` is a script around the office itself."""
    for signal in (15, 9):
        try:
            os.killpg(process.pid, signal)
        except ProcessLookupError:
            return
        for _ in range(30):
            if process.poll() is not None:
                break
            time.sleep(0.1)
