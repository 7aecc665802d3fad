"""The labelled plug notes, four sets of them developed on and one unread; and the scores.

What each came out at when first read stands in its own head and in `test_notes`."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from engine_rules.notes import DANGER, read_note

FOLDER = Path(__file__).parent.parent / "workbook_template"
SETS = {
    "development": "plug_notes.toml",
    "fresh": "plug_notes_fresh.toml",
    "third": "plug_notes_third.toml",
    "unread": "plug_notes_fourth.toml",
}
MADE = "plug_notes_made.toml"
CONDUCT = ("new_plugs", "clean_cut", "idled_after", "lifted_or_spun")
IN_HOUSE_UNITS = {"in": 25.4, "percent": 0.01}  # others are written as they are kept
# "A V8 unless the note says otherwise."
OTHER_ENGINE = re.compile(
    r"\b(straight|inline|flat|boxer|slant|v|i)[- ]?(twin|two|three|four|five|six|[2-6])\b"
    r"|\b(four|six|two|[246])[- ]?(?:cyl|cylinder|banger|pot)\b",
    re.IGNORECASE,
)
NUMBERS = {"twin": 2, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}

Fact = tuple[str, str | float | None]
Facts = dict[Fact, frozenset[int]]


@dataclass(frozen=True, slots=True)
class Score:
    """Right, made but not labelled, labelled but not made. A fact is right where word and all its cylinders are."""

    right: int
    extra: int
    missed: int

    @property
    def precision(self) -> float:
        """Share of what was made that is right."""
        return self.right / (self.right + self.extra)

    @property
    def recall(self) -> float:
        """Share of what is labelled that was made."""
        return self.right / (self.right + self.missed)

    def __str__(self) -> str:
        total = self.right + self.missed
        return f"precision {self.precision:.1%}, recall {self.recall:.1%} of {total} facts"


@dataclass(frozen=True, slots=True)
class Measured:
    """The scores of one set. unwarned: notes with a danger on a cylinder of which no danger at all was read."""

    notes: int
    danger: Score
    rest: Score
    asks: Score
    unwarned: int


@cache
def labelled_notes(name: str) -> Sequence[Mapping[str, Any]]:
    """All notes of the set 'development', 'fresh', 'third', 'made' or 'unread'."""
    if name == "made":
        return tuple(_made(*row) for row in tomllib.loads((FOLDER / MADE).read_text("utf-8"))["notes"])
    return tuple(tomllib.loads((FOLDER / SETS[name]).read_text("utf-8"))["note"])


def _made(row: str, text: str, says: str, *asks: str) -> Mapping[str, Any]:
    """A note of the made set, as the others have it."""
    own = {"cylinder": int(row)} if row else {}
    signs = [sign.split() for sign in says.split(";") if sign.strip()]
    facts = [fact for kind, *words in signs for fact in _facts(kind, words, own.get("cylinder"))]
    return {"text": text, "facts": facts, "asks": list(asks), **own}


def _facts(kind: str, words: Sequence[str], own: int | None) -> Sequence[Mapping[str, Any]]:
    if kind in CONDUCT:
        return [{"kind": kind, "word": words[0]}]
    named = own is None or words[-1].startswith("@")
    said, where = (words[:-1], words[-1].lstrip("@")) if named else (words, str(own))
    cylinders = [0] if where == "*" else [int(number) for number in where]
    what = {"amount": float(said[0]), "unit": ""} if said[0][0].isdigit() else {"word": " ".join(said)}
    return [{"cylinder": number, "kind": kind, **what} for number in cylinders]


def engine_of(text: str) -> tuple[tuple[int, ...], Mapping[str, tuple[int, ...]]]:
    """Cylinders and banks of the engine that the note is about."""
    match = OTHER_ENGINE.search(text)
    count = 8 if match is None else _number(match[2] or match[3])
    numbers = tuple(range(1, count + 1))
    in_line = match is not None and (match[1] or "").lower() not in ("v", "flat", "boxer")
    return numbers, {"": numbers} if in_line else {"L": numbers[::2], "R": numbers[1::2]}


def _number(written: str) -> int:
    return NUMBERS[written.lower()] if written.lower() in NUMBERS else int(written)


def measure(name: str) -> Measured:
    """Read every note of a set and score it against its labels."""
    counts = {True: [0, 0, 0], False: [0, 0, 0]}
    asks, unwarned, notes = [0, 0, 0], 0, labelled_notes(name)
    for note in notes:
        wanted, (found, phrases) = _labels(note), _read(note)
        for fact in wanted.keys() | found.keys():
            tally = counts[fact in DANGER]
            same = wanted.get(fact) == found.get(fact)
            tally[0] += same
            tally[1] += not same and fact in found
            tally[2] += not same and fact in wanted
        unwarned += bool(_endangered(wanted) - _endangered(found))
        met = [ask for ask in note["asks"] if any(_overlap(ask, phrase) for phrase in phrases)]
        asks[0] += len(met)
        asks[1] += sum(not any(_overlap(ask, phrase) for ask in note["asks"]) for phrase in phrases)
        asks[2] += len(note["asks"]) - len(met)
    return Measured(len(notes), Score(*counts[True]), Score(*counts[False]), Score(*asks), unwarned)


def _labels(note: Mapping[str, Any]) -> Facts:
    everything = engine_of(note["text"])[0]
    facts: dict[Fact, set[int]] = {}
    for label in note["facts"]:
        kind, word = label["kind"], label.get("word")
        if kind in CONDUCT:
            facts[kind, word] = {0}
            continue
        if word is None:
            word = round(label["amount"] * IN_HOUSE_UNITS.get(label["unit"], 1.0), 3)
        kind = "said_mixture" if kind == "mixture" else kind
        facts.setdefault((kind, word), set()).update([label["cylinder"]] if label["cylinder"] else everything)
    return {fact: frozenset(cylinders) for fact, cylinders in facts.items()}


def _read(note: Mapping[str, Any]) -> tuple[Facts, list[str]]:
    numbers, banks = engine_of(note["text"])
    reading = read_note(note["text"], numbers, note.get("cylinder"), banks)
    facts: dict[Fact, set[int]] = {}
    for cylinder, signs in reading.signs.items():
        for sign in signs:
            word = sign.word if sign.word is not None else round(sign.amount or 0.0, 3)
            facts.setdefault((sign.kind, word), set()).add(cylinder)
    found = {fact: frozenset(cylinders) for fact, cylinders in facts.items()}
    answers = {(key, "yes" if answer else "no"): frozenset({0}) for key, answer in reading.conduct.items()}
    return found | answers, [ask.phrase for ask in reading.asks]


def _endangered(facts: Facts) -> set[int]:
    return {cylinder for fact, cylinders in facts.items() if fact in DANGER for cylinder in cylinders}


def _overlap(one: str, other: str) -> bool:
    one, other = one.lower(), other.lower()
    return one in other or other in one
