"""How the rule book is written: ids, sentences, sources, no numbers, no rule that can never fire."""

import ast
import re
from pathlib import Path

import pytest

from engine_rules.facts import Worded
from engine_rules.inference import NOT, Fact
from engine_rules.rulebook import DECISIONS, PHASES, RuleEntry, all_rules

FOLDER = Path(__file__).parents[2] / "engine_rules" / "rules"
BOOK = all_rules()


def test_the_book_is_of_a_size_and_its_ids_are_its_own() -> None:
    assert len(BOOK) >= 70
    assert len({entry.id for entry in BOOK}) == len(BOOK)
    assert {entry.id.split(".")[0] for entry in BOOK} == set(DECISIONS)
    assert {path.stem for path in FOLDER.glob("*.py")} - {"__init__"} == set(DECISIONS)


@pytest.mark.parametrize("entry", BOOK, ids=lambda entry: entry.id)
def test_a_rule_is_a_sentence_with_a_source(entry: RuleEntry) -> None:
    assert entry.says[0].isupper() and entry.says.endswith("."), entry.says
    assert 20 <= len(entry.says) <= 200, "one sentence that a racer would say"
    assert entry.source and entry.phase in PHASES
    assert len(entry.patterns) >= 2, "a rule without a condition beside its phase always fires"


@pytest.mark.parametrize("entry", BOOK, ids=lambda entry: entry.id)
def test_a_not_stands_behind_what_binds_its_names(entry: RuleEntry) -> None:
    bound: set[str] = set()
    for pattern in entry.patterns:
        names = {match for value in _values(pattern) for match in re.findall(r"W\('(\w+)'\)", repr(value))}
        if isinstance(pattern, NOT):
            assert names <= bound, f"{entry.id}: {names - bound} is not bound before NOT"
        else:
            assert isinstance(pattern, Fact)
            bound |= names


def _values(pattern: object) -> list[object]:
    if isinstance(pattern, NOT):
        return [value for part in pattern for value in _values(part)]
    return list(pattern.values()) if isinstance(pattern, dict) else []


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.py")), ids=lambda path: path.stem)
def test_no_threshold_stands_in_a_rule(path: Path) -> None:
    """Cylinder 0 means the whole engine; every other number belongs in targets.toml."""
    numbers = [
        node.value
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool)
    ]
    assert set(numbers) <= {0}


def test_what_a_rule_concludes_can_say_itself() -> None:
    entry = next(entry for entry in BOOK if entry.id == "safety.bright_specks")
    concluded = entry.concluded({"cylinder": 3, "unused": None})
    assert all(isinstance(fact, Worded) for fact in concluded)
    assert "cylinder 3: bright specks: stop" in [fact.words() for fact in concluded]
