"""Where on the strap the colour ends, put together from its words: 'shy of the bend', 'almost touching the weld'."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

from engine_rules.note_words import Token, lexicon

SAID = {
    ("tip", "at"): "tip",
    ("bend", "toward"): "short of bend",
    ("bend", "short"): "short of bend",
    ("bend", "at"): "at bend",
    ("bend", "past"): "past bend",
    ("weld", "toward"): "",
    ("weld", "short"): "near weld",
    ("weld", "at"): "at weld",
    ("weld", "past"): "at weld",
}
VERB_OF = ("it", "a", "the")
OF_MARK = ("mark", "color", "colour", "colored", "coloured", "heat", "line", "blue", "blued")
UNITS = ("mm", "in", "inch", "thou", '"', "hair")
LANDMARKS = ("tip", "bend", "weld")
SHARES = ("/", "half", "halfway", "quarter", "part", "partway")
ROUND = ("around", "round")


def mark_at(tokens: Sequence[Token], at: int) -> tuple[str | None, int] | None:
    """The word of the strap mark whose phrase starts there, and the place behind it; None for a word not settled."""
    start, relation, near, share = at, "", False, False
    while at < len(tokens):
        name, behind = _named(tokens, at)
        if name in LANDMARKS:
            return _said(tokens, start, at, name, behind, _met(relation, near) if not share else "part")
        if name == "near":
            near = True
        elif name in ("short", "at", "past", "toward"):
            share = share or (name == "past" and tokens[at].text in ROUND and _is_share(tokens, start))
            relation = relation if relation in ("short", "past") else name
        elif name != "small" and not _measures(tokens, at, start):
            return None
        at = behind
    return None


def _said(
    tokens: Sequence[Token], start: int, at: int, name: str, behind: int, relation: str
) -> tuple[str | None, int] | None:
    follows = tokens[behind].text if behind < len(tokens) else ""
    relation = relation or ("at" if name == "tip" else "")
    if not relation or (at and tokens[at - 1].text == "to" and follows in VERB_OF):
        return None
    near = [*tokens[max(start - 6, 0) : start], *tokens[behind : behind + 4]]
    if name == "tip" and not any(token.text in OF_MARK for token in near):
        return None
    return SAID.get((name, relation)), behind


def _measures(tokens: Sequence[Token], at: int, start: int) -> bool:
    """True for the '2 mm' of '2 mm past the bend' and the '1/16' of 'just 1/16 past'."""
    if at > start and tokens[at].text in UNITS:
        return tokens[at - 1].number is not None
    if at == start:
        behind = [token.text for token in tokens[at + 1 : at + 4]]
        return tokens[at].number is not None and bool({*behind[:1]} & {*UNITS} or {*behind[2:]} & {*ROUND})
    return tokens[at].number is not None or tokens[at].text == "/"


def _is_share(tokens: Sequence[Token], start: int) -> bool:
    """True for '3/4 round the bend', which may be a part of the bend or of the strap."""
    return any(token.text in SHARES for token in tokens[max(start - 2, 0) : start + 4])


def _met(relation: str, near: bool) -> str:
    """'Almost at' is short of it, 'almost past' is at it."""
    return {"past": "at", "at": "short"}.get(relation, relation) if near else relation


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
