"""Marks for tests that need a program outside Python."""

from __future__ import annotations

import os
import shutil

import pytest

# What a test so marked runs: (program, the package that brings it).
PROGRAMS = {
    "libreoffice": (("soffice", "libreoffice-calc"), ("pdftotext", "poppler-utils")),
    "live_calc": (("unopkg", "libreoffice-calc"), ("Xvfb", "xvfb")),
}


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "libreoffice: opens or prints workbooks with LibreOffice (soffice, pdftotext)")
    config.addinivalue_line("markers", "live_calc: presses the buttons in LibreOffice (unopkg, Xvfb)")


@pytest.hookimpl(tryfirst=True)  # before a skip of the test's own could hide what is missing
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Where a program is missing a test is skipped with a clear word, but fails where all must run (CI=true)."""
    for mark, programs in PROGRAMS.items():
        missing = [f"{name} (package {package})" for name, package in programs if shutil.which(name) is None]
        if item.get_closest_marker(mark) is None or not missing:
            continue
        reason = f"not tested: this machine lacks {' and '.join(missing)}"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(reason, pytrace=False)
        pytest.skip(reason)
