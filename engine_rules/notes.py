"""A racer's note in free text -> what was seen, on which cylinder, how surely; and what has to be asked.

Words and phrases stand in notes.toml. In doubt a word of danger is kept and asked about; of all else in doubt nothing
is made.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from engine_rules.logbook import Sign
from engine_rules.note_asks import NoteAsk
from engine_rules.note_clauses import sentences_of
from engine_rules.note_context import DANGER, own_run_at
from engine_rules.note_found import Found, Seen
from engine_rules.note_lookback import LookBack
from engine_rules.note_meaning import Meant
from engine_rules.note_places import Layout
from engine_rules.note_reader import NoteReader, certainty_of
from engine_rules.note_specks import FEW_BLACK, MANY_BLACK
from engine_rules.note_where import Whereabouts
from engine_rules.words import word_lists

__all__ = ["DANGER", "NoteAsk", "NoteReading", "read_note"]


BOTH_WAYS = "says lean and rich of the same plug: write in the columns what you see"


@dataclass(frozen=True, slots=True)
class NoteReading:
    """What one note says.

    signs: cylinder -> signs without a cell, those said of fewest cylinders first; `written` is the racer's phrase.
    conduct: field of Conduct -> yes or no. left_alone: the clauses of which nothing was made.
    """

    signs: Mapping[int, tuple[Sign, ...]]
    conduct: Mapping[str, bool]
    asks: tuple[NoteAsk, ...]
    left_alone: tuple[str, ...]


def read_note(
    text: str,
    cylinders: Sequence[int],
    own_cylinder: int | None = None,
    banks: Mapping[str, Sequence[int]] | None = None,
) -> NoteReading:
    """Read a note of the whole run, or of one cylinder's row (`own_cylinder`).

    banks: 'L' and 'R' ('' inline) -> numbers from front to rear, for corners, middles and sides.
    """
    rows = {bank: tuple(numbers) for bank, numbers in (banks or {}).items()}
    layout = Layout(tuple(cylinders), rows, own_cylinder)
    found, where = Found(text, layout), Whereabouts(layout)
    reader = NoteReader(found, where, LookBack(found, where))
    sentences = sentences_of(text, layout)
    own_run = own_run_at(sentences)
    for at, sentence in enumerate(sentences):
        reader.sentence(sentence, at == own_run)
    for one, other in list(found.contradicted()):
        found.drop([each for each in (one, other) if each in found.seen])
        found.ask(min(one.start, other.start), max(one.end, other.end), BOTH_WAYS)
    asks = tuple(sorted(found.asks, key=lambda ask: ask.start))
    return NoteReading(_by_cylinder(found), reader.conduct, asks, tuple(reader.left))


def _by_cylinder(found: Found) -> Mapping[int, tuple[Sign, ...]]:
    placed = [(_cylinders(found, one), one) for one in [*found.seen, *_right_beside_others(found)]]
    many = [cylinders for cylinders, one in placed if one.what == MANY_BLACK]
    placed = [pair for pair in placed if pair[1].what != FEW_BLACK or pair[0] not in many]
    signs: dict[int, dict[tuple[str, str | None, float | None], Sign]] = {}
    for cylinders, one in sorted(placed, key=lambda pair: len(pair[0])):
        sign = _sign(one, found.text)
        for number in sorted(cylinders):
            signs.setdefault(number, {}).setdefault((sign.kind, sign.word, sign.amount), sign)
    return {number: tuple(own.values()) for number, own in sorted(signs.items())}


def _right_beside_others(found: Found) -> Iterable[Seen]:
    """'Good' and 'ok' say that the mixture is right only where the note gives another cylinder's mixture."""
    told: set[int] = set()
    for one in found.seen:
        if one.meant.kind == "said_mixture":
            told |= _cylinders(found, one)
    for one in found.praised:
        if told and one.place is not None and not _cylinders(found, one) & told:
            yield replace(one, meant=Meant("said_mixture", "right", one.meant.at))


def _cylinders(found: Found, one: Seen) -> frozenset[int]:
    if one.place is not None:
        return one.place.cylinders
    own = found.layout.own
    return frozenset((own,) if own is not None else found.layout.cylinders)


def _sign(one: Seen, text: str) -> Sign:
    kind, word = one.what
    amount = word_lists()[kind].amounts.get(word or "", one.meant.amount)
    return Sign(kind, word, amount, None, text[one.start : one.end], certainty_of(one.sure))
