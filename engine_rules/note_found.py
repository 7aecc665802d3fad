"""What has been found in a note so far: signs with their places, and what is asked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from engine_rules.note_asks import NoteAsk
from engine_rules.note_clauses import Clause
from engine_rules.note_meaning import Meant
from engine_rules.note_places import Layout, Place


@dataclass(frozen=True, slots=True)
class Seen:
    """A sign and its place, None where none was named. clause: the number of its clause. sure: key of [certainty]."""

    meant: Meant
    place: Place | None
    start: int
    end: int
    clause: int
    sure: str = "plain"

    @property
    def what(self) -> tuple[str, str | None]:
        """Its kind and word."""
        return self.meant.kind, self.meant.word


@dataclass(slots=True)
class Found:
    """Gathers as a note is read. praised: what is only called good or ok. count: the number of the clause being read.

    last_at: where the clause before begins. sentence_at: how many signs there were before this sentence. excepted: the
    cylinders that 'except' took out of it.
    """

    text: str
    layout: Layout
    seen: list[Seen] = field(default_factory=list)
    praised: list[Seen] = field(default_factory=list)
    asks: list[NoteAsk] = field(default_factory=list)
    count: int = 0
    last_at: int = 0
    sentence_at: int = 0
    excepted: frozenset[int] = frozenset()

    @property
    def own_row(self) -> bool:
        """True where the note stands in the row of one cylinder."""
        return self.layout.own is not None

    def begin_sentence(self) -> None:
        """What 'except' left out holds to the end of its sentence."""
        self.sentence_at, self.excepted = len(self.seen), frozenset()

    def of_last_clause(self) -> list[Seen]:
        """The signs of the clause before."""
        return [one for one in self.seen if one.clause == self.count - 1]

    def add(self, clause: Clause, meant: Meant, place: Place | None, sure: str) -> None:
        """Keep a sign; it outdoes what was said of all cylinders before 'except' named these."""
        item = clause.items[meant.at]
        if place is not None and self.excepted and place.cylinders <= self.excepted:
            self._except(meant.kind)
        one = Seen(meant, place, item.start, item.end, self.count, sure)
        (self.praised if meant.kind == "good" else self.seen).append(one)

    def ask(self, start: int, end: int, why: str) -> None:
        """Ask about a stretch of the note, once."""
        if all(not (one.start <= start and end <= one.end) for one in self.asks):
            self.asks = [one for one in self.asks if one.why != why or one.start < start or one.end > end]
            self.asks.append(NoteAsk(self.text[start:end], why, start))

    def change(self, one: Seen, **fields: Any) -> None:
        """A sign with some of its fields made anew."""
        self.seen[self.seen.index(one)] = replace(one, **fields)

    def contradicted(self) -> Iterator[tuple[Seen, Seen]]:
        """Pairs of signs that call the very same plugs lean and rich."""
        rich = [one for one in self.seen if one.what == ("said_mixture", "rich")]
        lean = [one for one in self.seen if one.what == ("said_mixture", "lean")]
        return ((one, other) for one in lean for other in rich if one.place == other.place)

    def drop(self, gone: Sequence[Seen]) -> None:
        """Take signs back, and what was asked about them."""
        for one in gone:
            self.seen.remove(one)
            self.asks = [ask for ask in self.asks if not ask.start <= one.start < ask.end]

    def _except(self, kind: str) -> None:
        """'all with a thin ring, mark at the bend, except 3: wide ring': the thin ring is not said of 3."""
        if self.own_row:
            return
        for at in range(self.sentence_at, len(self.seen)):
            one = self.seen[at]
            cylinders = one.place.cylinders if one.place else frozenset(self.layout.cylinders)
            if one.meant.kind == kind and self.excepted < cylinders:
                self.seen[at] = replace(one, place=Place("listed", cylinders - self.excepted))
