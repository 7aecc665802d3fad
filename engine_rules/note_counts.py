"""Measures in a note: threads that took colour, turns of the shell ring, widths of the ring, share of the strap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine_rules.note_words import NUMBER_WORDS, Token

THREADS = ("thread", "threads")
TURNS = ("turn", "turns")
BETWEEN = (
    "full",
    "colored",
    "coloured",
    "good",
    "a",
    "an",
    "of",
    "about",
    "so",
    "or",
    "solid",
    "shell",
    "clean",
    "nice",
)
MOST_TOLD_APART = 4.0  # threads; four or five are both 'more'
WIDE = ("wide", "thick", "width")
EIGHTHS = (0.5, 0.75, 0.875)
PARTS = {"half": 0.5, "quarter": 0.25, "couple": 2.0}
MOST_TURNS = 3.0  # '6 3/4 turn' is cylinder 6
WIDEST_RING_IN = 0.2
MM_PER_IN = 25.4


@dataclass(frozen=True, slots=True)
class Count:
    """A number with what it counts: unit 'threads', 'turns', 'mm' (a width, inches too), 'share' or ''.

    open_ended is True for '3+', either for '2 or 3'.
    """

    amount: float
    unit: str
    open_ended: bool = False
    either: bool = False


def count_at(tokens: Sequence[Token], at: int) -> tuple[Count, int] | None:
    """A number that counts something, and the place behind its unit."""
    if tokens[at].text in (*THREADS, *TURNS):
        return _and_a_part(tokens, at)
    read = number_at(tokens, at)
    if read is None:
        return None
    amount, behind, open_ended = read
    fraction = behind == at + 3 and tokens[at + 1].text == "/"
    if behind > at + 1 and not fraction and any(token.text in THREADS for token in tokens[max(at - 2, 0) : at]):
        return Count(amount, "threads"), behind
    unit_at = behind
    while unit_at < len(tokens) and tokens[unit_at].text in BETWEEN:
        unit_at += 1
    if unit_at >= len(tokens):
        return (Count(amount, ""), behind) if fraction and amount in EIGHTHS else None
    unit, decimal = tokens[unit_at].text, "." in tokens[at].text
    either = _text(tokens, at + 1) == "or" and amount < MOST_TOLD_APART
    if unit in THREADS:
        return Count(amount, "threads", open_ended, either), unit_at + 1
    if unit in TURNS and amount > MOST_TURNS:
        return None
    if unit in TURNS:
        if [token.text for token in tokens[unit_at + 1 : unit_at + 3]] in (["of", "thread"], ["of", "threads"]):
            return Count(amount, "threads", open_ended), unit_at + 3
        return Count(amount, "turns", either=either), unit_at + 1
    if unit == "mm":
        return Count(amount, "mm"), unit_at + 1
    if unit in (*WIDE, "in", "inch", '"') and (decimal or fraction) and amount < WIDEST_RING_IN:
        end = unit_at + 1 + (_text(tokens, unit_at + 1) in WIDE)
        return (Count(amount * MM_PER_IN, "mm"), end) if {unit, tokens[end - 1].text} & {*WIDE} else None
    if unit in ("%", "percent"):
        return Count(amount / 100.0, "share"), unit_at + 1
    if (
        fraction
        and amount in EIGHTHS
        and any(token.text in ("shell", "base", "turn", "turns") for token in tokens[max(at - 8, 0) : at + 8])
    ):
        return Count(amount, ""), behind
    return None


def _and_a_part(tokens: Sequence[Token], at: int) -> tuple[Count, int] | None:
    """'Turn and a half', and the place behind it."""
    joined = [token.text for token in tokens[at + 1 : at + 4]]
    if joined[:2] != ["and", "a"] or joined[-1] not in ("half", "quarter"):
        return None
    return Count(1.0 + PARTS[joined[-1]], "threads" if tokens[at].text in THREADS else "turns"), at + 4


def number_at(tokens: Sequence[Token], at: int) -> tuple[float, int, bool] | None:
    """A number, fraction, mixed number or range (its middle); the place behind it; whether it is open ('3+')."""
    whole = _plain(tokens, at)
    if whole is None:
        return None
    fraction = _fraction(tokens, at)
    if fraction is not None:
        return fraction, at + 3, False
    # '2 1/2' and '2-1/2'
    fraction_at = at + 1 + (_text(tokens, at + 1) == "-")
    mixed = _fraction(tokens, fraction_at)
    if mixed is not None and mixed < 1.0:
        return whole + mixed, fraction_at + 3, False
    if _text(tokens, at + 1) in ("and",) and _text(tokens, at + 2) in ("a", "half"):
        behind = at + 4 if _text(tokens, at + 2) == "a" else at + 3
        if _text(tokens, behind - 1) == "half":
            return whole + 0.5, behind, False
    if _text(tokens, at + 1) in ("-", "to", "or"):
        other = _plain(tokens, at + 2)
        if other is not None and other > whole:
            return (whole + other) / 2.0, at + 3, False
    if _text(tokens, at + 1) == "+":
        return whole, at + 2, True
    return whole, at + 1, False


def _text(tokens: Sequence[Token], at: int) -> str:
    return tokens[at].text if at < len(tokens) else ""


def _plain(tokens: Sequence[Token], at: int) -> float | None:
    if at >= len(tokens):
        return None
    token = tokens[at]
    word = NUMBER_WORDS.get(token.text)
    return float(word) if word is not None else PARTS.get(token.text, token.number)


def _fraction(tokens: Sequence[Token], at: int) -> float | None:
    """Such as 7/8, written without spaces."""
    if at + 2 >= len(tokens) or tokens[at + 1].text != "/" or tokens[at].end != tokens[at + 1].start:
        return None
    top, bottom = tokens[at].number, tokens[at + 2].number
    return top / bottom if top is not None and bottom else None
