"""The knowledge in TOML: every threshold and word has what the reader of the book needs, and is used."""

import re
from pathlib import Path

import pytest

from engine_rules.targets import default_targets
from engine_rules.words import plain, word_lists

PACKAGE = Path(__file__).parents[2] / "engine_rules"
TARGETS = default_targets()


@pytest.mark.parametrize("key", TARGETS)
def test_a_target_has_unit_range_and_source(key: str) -> None:
    target = TARGETS.entry(key)
    assert target.lowest <= target.value <= target.highest
    assert target.lowest < target.highest
    assert target.unit and target.about and target.source


@pytest.mark.parametrize("key", TARGETS)
def test_every_target_is_used(key: str) -> None:
    code = "\n".join(path.read_text("utf-8") for path in PACKAGE.rglob("*.py"))
    by_setting = re.sub(r"(short|long|endurance|leaded_gasoline|unleaded_gasoline|e85|methanol)$", "{", key)
    by_part = re.sub(r"^\w+\.(\w+)_(common|own)_", r"\1_{}_", key)
    assert f'"{key}"' in code or f'f"{by_setting}' in code or f'"{by_part}"' in code, f"{key} is used nowhere"


def test_a_workbook_may_override_within_the_range() -> None:
    assert TARGETS.overridden({"ring.target_mm": 1.0})["ring.target_mm"] == 1.0
    assert TARGETS["ring.target_mm"] != 1.0
    with pytest.raises(ValueError, match="must lie between"):
        TARGETS.overridden({"ring.target_mm": 90.0})
    with pytest.raises(ValueError, match="no target named"):
        TARGETS.overridden({"ring.taget_mm": 1.0})


@pytest.mark.parametrize("kind", word_lists())
def test_a_word_is_found_by_what_racers_write(kind: str) -> None:
    words = word_lists()[kind]
    assert words.title and words.about
    for word in words.words:
        assert words.find(f"  {word.upper()} . ".replace(" .", ".")) == word
    assert all(like == plain(like) and word in words.words for like, word in words.likes.items())
    assert words.find("no such word at all") is None


@pytest.mark.parametrize("kind", [kind for kind, words in word_lists().items() if words.amounts])
def test_a_scale_rises_from_word_to_word(kind: str) -> None:
    words = word_lists()[kind]
    assert words.unit
    assert list(words.amounts) == list(words.words)
    assert list(words.amounts.values()) == sorted(words.amounts.values())
