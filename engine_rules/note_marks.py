"""Where on the strap the colour ends, put together from its words: 'shy of the bend', 'almost touching the weld'."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

from engine_rules.note_words import Token, lexicon

SAID = {
    ("bend", "short"): "short of bend",
    ("bend", "at"): "at bend",
    ("bend", "past"): "past bend",
    ("weld", "short"): "near weld",
    ("weld", "at"): "at weld",
    ("weld", "past"): "at weld",
}
VERB_OF = ("it", "a", "the")


def mark_at(tokens: Sequence[Token], at: int) -> tuple[str, int] | None:
    """The word of the strap mark whose phrase starts there, and the place behind it."""
    start, relation, near = at, "", False
    while at < len(tokens):
        name, behind = _named(tokens, at)
        if name in ("bend", "weld"):
            follows = tokens[behind].text if behind < len(tokens) else ""
            verb = tokens[at - 1].text == "to" and follows in VERB_OF
            return None if not relation or verb else (SAID[name, _met(relation, near)], behind)
        if name == "near":
            near = True
        elif name in ("short", "at", "past"):
            relation = relation if relation in ("short", "past") else name
        elif name != "small" and (at == start or not (tokens[at].number is not None or tokens[at].text == "/")):
            return None
        at = behind
    return None


def _met(relation: str, near: bool) -> str:
    """'Almost at' is short of it, 'almost past' is at it."""
    if not near:
        return relation
    return {"past": "at", "at": "short", "short": "short"}[relation]


def _named(tokens: Sequence[Token], at: int) -> tuple[str, int]:
    """Which list of [marks] the words there stand in, '' for none; and the place behind them."""
    for words, name in _phrases().get(tokens[at].text, ()):
        if words == tuple(token.text for token in tokens[at : at + len(words)]):
            return name, at + len(words)
    return "", at + 1


@cache
def _phrases() -> Mapping[str, Sequence[tuple[tuple[str, ...], str]]]:
    """First word -> phrases of [marks] and their lists, longest first."""
    marks: Mapping[str, Sequence[str]] = lexicon().table["marks"]
    found = [(tuple(phrase.split()), name) for name, phrases in marks.items() for phrase in phrases]
    starting: dict[str, list[tuple[tuple[str, ...], str]]] = {}
    for words, name in sorted(found, key=lambda one: -len(one[0])):
        starting.setdefault(words[0], []).append((words, name))
    return starting
