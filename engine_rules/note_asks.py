"""What a clause leaves open: phrases that may mean two things, and what in the clause settles them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from engine_rules.note_clauses import Clause
from engine_rules.note_context import strangers
from engine_rules.note_meaning import topic_at
from engine_rules.note_scope import Scope
from engine_rules.note_words import Item, lexicon

# How the reasons of [[ask]] begin that a clause can make needless.
CHANGES, HEAT, TWINS, COLOUR = "may be jets or degrees", "may be heat", "may be rubber", "may be fuel or heat"
COLOURLESS = ("threads", "ring", "shell", "mark")
KNOCK, SOOT = "says knock", "may be the ring on the porcelain or the soot"
SPOTTED = frozenset({"part", "empty", "amount", "hedges"})
A_FEW = 3  # words of a clause that speaks of knock and names no plug
DAMAGE = "says damage and names no part: write in the columns what is broken or melted"
BROKEN = {"also_seen: strap melted", "centre_wire: melted", "porcelain: cracked"}


@dataclass(frozen=True, slots=True)
class NoteAsk:
    """A phrase that may mean two things, as it stands in the note; why it is asked; where it starts."""

    phrase: str
    why: str
    start: int = 0

    @property
    def end(self) -> int:
        """Where it ends in the note."""
        return self.start + len(self.phrase)


@dataclass(frozen=True, slots=True)
class Told:
    """What a clause was read to say: kinds of its signs, the part spoken of before, whether it speaks of plugs."""

    kinds: frozenset[str]
    topic: str | None
    of_plugs: bool
    own_row: bool


def open_questions(clause: Clause, scope: Scope, told: Told) -> Iterator[tuple[int, int, str]]:
    """Start, end and reason of what has to be asked."""
    for at, item in enumerate(clause.items):
        if item.tag == "ask" and at not in scope.dead | scope.denied and not _is_clear(clause, at, told):
            yield item.start, item.end, item.value
    for at, item in enumerate(clause.items[1:], 1):
        uncoloured = item.value in ("color", "colour") and clause.items[at - 1].tag == "negations"
        if uncoloured and told.of_plugs and not told.kinds and topic_at(clause.items, at, told.topic) not in COLOURLESS:
            yield clause.items[at - 1].start, item.end, lexicon().table["colour"]
    bare = told.of_plugs and not told.kinds and all(item.tag in ("part", "empty", "place") for item in clause.items)
    if bare and any(item.value == "threads" for item in clause.items):
        yield *clause.span(), lexicon().table["height"]
    spots = any(item.value == "specks" for item in clause.items)
    if spots and told.own_row and not told.kinds and clause.tags <= SPOTTED:
        yield *clause.span(), lexicon().table["ask_nothing"][0]["why"]
    if told.of_plugs and not told.kinds and _is_damage(clause, scope, told):
        yield *clause.span(), DAMAGE


def _is_clear(clause: Clause, at: int, told: Told) -> bool:
    why = clause.items[at].value
    if why.startswith(CHANGES):
        return _change_is_clear(clause.items, at)
    if why.startswith(KNOCK):
        return clause.has("harmless") or strangers(clause.items) > A_FEW
    if why.startswith(COLOUR) and topic_at(clause.items, at, told.topic) in ("threads", "ring", "shell"):
        return True
    if why.startswith(HEAT) and topic_at(clause.items, len(clause.items), told.topic) == "gasket":
        return True
    settled = {HEAT: {"strap_mark", "threads"}, COLOUR: {"strap_mark"}, TWINS: {"specks"}, SOOT: {"shell_ring"}}
    return not told.of_plugs or any(why.startswith(begin) and told.kinds & kinds for begin, kinds in settled.items())


def _is_damage(clause: Clause, scope: Scope, told: Told) -> bool:
    """True for 'burnt' or 'broken' said of a plug with no part of it named."""
    broken = any(
        (item.tag == "broke" or (item.tag == "adjective" and BROKEN & set(item.value.values())))
        and at not in scope.dead | scope.denied
        for at, item in enumerate(clause.items)
    )
    plug = any(item.tag == "part" and item.value == "plug" for item in clause.items)
    part = any(item.tag == "part" and item.value != "plug" for item in clause.items)
    return broken and (told.own_row or plug or clause.has("place")) and not part and not clause.has("harmless", "sign")


def _change_is_clear(items: Sequence[Item], at: int) -> bool:
    """True where a part, a unit or a cylinder named behind the change at that place says what was changed."""
    beside = [*items[max(at - 1, 0) : at], *items[at + 1 : at + 2]]
    if any(item.tag in ("unknown", "harmless", "neutral") for item in beside):
        return True
    behind = items[at + 1 : at + 3]
    if len(behind) == 2 and behind[0].value in ("of", "from") and behind[1].tag == "number":
        return True
    for item in items[at + 1 : at + 6]:
        if item.tag in ("clear", "place"):
            return True
        if item.tag in ("link", "sign", "adjective"):
            return False
    return False
