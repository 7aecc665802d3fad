"""Specks made of a noun for small things and the colour beside it: 'grey metal balls', 'a few dots of aluminum'."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from engine_rules.note_words import Item, lexicon

FEW_BLACK, MANY_BLACK, BRIGHT = ("specks", "few black"), ("specks", "many black"), ("specks", "bright")
SKIPPED = ("empty", "amount", "hedges", "doubts")


def specks_joined(items: Sequence[Item]) -> list[Item]:
    """The items of a note with each noun for small things, and the colour that tells of it, as one sign."""
    found: list[Item] = []
    at = 0
    while at < len(items):
        item = items[at]
        at += 1
        if item.tag != "grain":
            if _colour(item) == BRIGHT and item.tag == "sign":
                _linked(found)
            found.append(item)
            continue
        before = _colour_before(found)
        behind = _colour_behind(items, at) if before is None else None
        coloured = found.pop(before) if before is not None else items[behind] if behind is not None else None
        while coloured is not None and found and before == len(found) and _colour(found[-1]) == BRIGHT:
            before = len(found) - 1
            coloured = found.pop()
        if behind is not None:
            at = behind + 1
        if coloured is not None:
            _linked(found)
        found.append(_named(item, coloured))
    return found


def _linked(found: list[Item]) -> None:
    """The 'black' of 'black and silver specks' made specks of its own."""
    if len(found) > 1 and found[-1].tag == "link" and found[-2].tag == "adjective":
        other = _colour(found[-2])
        found[-2] = found[-2] if other is None else replace(found[-2], tag="sign", value=other)


def _named(grain: Item, coloured: Item | None) -> Item:
    kind = _colour(coloured) if coloured is not None else FEW_BLACK if grain.value == "pepper" else None
    if coloured is not None:
        grain = replace(grain, start=min(grain.start, coloured.start), end=max(grain.end, coloured.end))
    if kind is not None:
        return replace(grain, tag="sign", value=kind)
    if grain.value == "asked":
        return replace(grain, tag="ask", value=lexicon().table["ask_nothing"][0]["why"])
    return replace(grain, tag="part", value="specks")


def _colour_before(found: Sequence[Item]) -> int | None:
    at = len(found) - 1
    while at >= 0 and found[at].tag in SKIPPED:
        at -= 1
    if at < 0 or _colour(found[at]) is None:
        return None
    # 'tan, few specks' is tan; only what shines or is black tells of specks a word further on.
    return at if at == len(found) - 1 or found[at].tag != "sign" or found[at].value[0] == "specks" else None


def _colour_behind(items: Sequence[Item], at: int) -> int | None:
    start = at
    while at < len(items) and items[at].tag in SKIPPED:
        at += 1
    if at == len(items) or (at == start and items[at].tag != "adjective" and items[at].value != BRIGHT):
        return None
    if items[at - 1].value == "of" and items[at].value == FEW_BLACK:
        return at  # 'a speck of pepper'
    bright = _colour(items[at]) == BRIGHT and (items[at].tag == "sign") == (items[at].value == BRIGHT)
    return at if bright and all(item.tag != "amount" for item in items[start:at]) else None


def _colour(item: Item) -> tuple[str, str] | None:
    """The specks that a thing of this colour is."""
    if item.tag == "adjective":
        return {"specks: bright": BRIGHT, "specks: few black": FEW_BLACK}.get(item.value.get("specks"))
    if item.tag != "sign":
        return None
    kind, word = item.value
    if kind == "porcelain" and word in ("grey", "white"):
        return BRIGHT if word == "grey" else None
    return (kind, word) if kind == "specks" and word != "none" else FEW_BLACK if word in ("tan", "sooty") else None
