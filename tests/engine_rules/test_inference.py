"""The one door to experta, and when its crutch can go."""

import collections
import subprocess
import sys

import pytest


def test_the_borrowed_name_is_given_back() -> None:
    import engine_rules.inference

    assert engine_rules.inference.KnowledgeEngine
    assert not hasattr(collections, "Mapping")


def test_experta_still_needs_the_crutch() -> None:
    """When this fails, experta imports by itself: delete the borrowing in engine_rules/inference.py, and this test."""
    alone = subprocess.run(
        [sys.executable, "-c", "from experta import KnowledgeEngine"], capture_output=True, text=True
    )
    assert alone.returncode != 0, "experta imports without collections.Mapping now"
    assert "Mapping" in alone.stderr or "KnowledgeEngine" in alone.stderr


@pytest.mark.parametrize("package", ["engine_rules", "workbook_template"])
def test_nothing_else_imports_experta(package: str) -> None:
    from pathlib import Path

    root = Path(__file__).parents[2] / package
    importers = [
        p.name for p in root.rglob("*.py") if "import experta" in p.read_text() or "from experta" in p.read_text()
    ]
    assert importers == (["inference.py"] if package == "engine_rules" else [])
