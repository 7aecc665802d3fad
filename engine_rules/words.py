"""The trade's words for what is seen on a plug, read from words.toml."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources


@dataclass(frozen=True, slots=True)
class WordList:
    """One list of words. On a scale, `unit` is set and each word stands for an amount in it.

    amounts: word -> amount, in the order from least to most (empty for a plain list). likes: what racers write -> word.
    """

    kind: str
    title: str
    about: str
    unit: str
    words: tuple[str, ...]
    amounts: Mapping[str, float]
    likes: Mapping[str, str]

    def find(self, written: str) -> str | None:
        """The word meant by what was written, or None. Case, spaces and dots at the end do not matter."""
        return self.likes.get(plain(written))


def plain(written: str) -> str:
    """Text as it is compared: lower case, single spaces, no closing full stop."""
    return re.sub(r"\s+", " ", written).strip().rstrip(".").lower()


@cache
def word_lists() -> Mapping[str, WordList]:
    """All lists by kind, such as 'ring', 'strap_mark' or 'also_seen'."""
    table = tomllib.loads(resources.files("engine_rules").joinpath("words.toml").read_text("utf-8"))
    return {kind: _word_list(kind, fields) for kind, fields in table.items()}


def _word_list(kind: str, fields: Mapping[str, object]) -> WordList:
    words: Mapping[str, Mapping[str, object]] = fields["words"]  # type: ignore[assignment]
    likes = {plain(word): word for word in words}
    for word, entry in words.items():
        for like in entry.get("likes", []):  # type: ignore[attr-defined]
            likes.setdefault(plain(like), word)
    return WordList(
        kind=kind,
        title=str(fields["title"]),
        about=str(fields["about"]),
        unit=str(fields.get("unit", "")),
        words=tuple(words),
        amounts={word: float(entry["amount"]) for word, entry in words.items() if "amount" in entry},  # type: ignore[arg-type]
        likes=likes,
    )
