"""Looking rules up: by id, by decision, by a slip of the pen, and the thresholds that they name."""

from __future__ import annotations

import pytest

from engine_rules.look_up import find_rules, targets_named
from engine_rules.rulebook import all_rules


def ids(asked: str | None) -> list[str]:
    return [entry.id for entry in find_rules(asked)]


def test_without_a_name_the_whole_book_is_found() -> None:
    assert find_rules() == all_rules()


def test_a_rule_is_found_by_id_decision_or_beginning() -> None:
    assert ids("safety.bright_specks") == ["safety.bright_specks"]
    assert ids(" Heat ") == [entry.id for entry in all_rules() if entry.id.startswith("heat.")]
    assert set(ids("safety.bright")) == {"safety.bright_specks", "safety.bright_in_doubt"}


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("safty.bright_speks", "did you mean safety.bright_specks?"),
        ("bright_spekcs", "did you mean safety.bright_specks?"),
        ("haet", "did you mean heat?"),
        ("qqq", "the decisions are reading, evidence, safety"),
        (" ", "the decisions are"),
    ],
)
def test_an_unknown_name_gets_the_nearest(asked: str, words: str) -> None:
    with pytest.raises(LookupError) as caught:
        find_rules(asked)
    assert words in str(caught.value)


def test_the_thresholds_of_a_rule_are_those_that_its_conclusion_names() -> None:
    (entry,) = find_rules("safety.bright_specks")
    assert [target.key for target in targets_named(entry)] == ["safety.knock_retard_deg", "safety.knock_richer_sizes"]
    (plain,) = find_rules("order.safety_first")
    assert targets_named(plain) == ()
