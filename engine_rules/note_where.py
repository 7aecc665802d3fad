"""On which cylinders a note's signs were seen: named before the sign, behind it, or carried from the clause before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from engine_rules.note_clauses import Clause
from engine_rules.note_places import Layout, Place
from engine_rules.note_words import Item

WHERE = ("on", "in", "of", "off", "for", "from", "onto", "over")
WIDE = ("unknown", "all")
JOINING = ("empty", "link", "doubts", "hedges", "part")
PRONOUNS = ("they", "those", "that", "it", "thats", "which", "its", "theyre")
ANEW = ("is", "was", "has", "had", "are", "were", "shows")
LIKENESS = ("as", "same as", "like", "look like", "looks like", "same w/")

Spots = dict[int, list[Place | None]]
"""By place of a sign in its clause, where it was seen; None where nothing was named."""


@dataclass(slots=True)
class Whereabouts:
    """Goes through a note beside its reader. told: how many lists of cylinders this sentence has named."""

    layout: Layout
    carried: Place | None = None
    named: set[int] = field(default_factory=set)
    unknown_plug: bool = False
    told: int = 0
    just: list[Place] = field(default_factory=list)

    def begin(self, heading: bool) -> None:
        """A new sentence; the place is kept where the one before was only a heading ('7. Pepper, blue to the weld')."""
        self.carried, self.told = self.carried if heading else None, 0

    def places(self, clause: Clause, signs: set[int]) -> Spots:
        """Where each sign of the clause was seen."""
        items, current = clause.items, self.carried
        if current is not None and current.besides and items[0].value in PRONOUNS:
            current = Place("listed", current.besides)
        walk = _Walk(items, signs, current, self.carried is None and _trail(items, signs))
        of_rest: Place | None = None
        for at, item in enumerate(items):
            if at in signs:
                walk.sign(at)
                of_rest = None
            elif item.tag == "ask" and item.value.startswith("names no"):
                self.unknown_plug = True
                walk.current = Place("unknown", frozenset(self.layout.cylinders))
            elif item.tag == "place" and not _compares(items, at) and not _behind_than(items, at):
                before = None if _tells_anew(items, at) else _before(items, at)
                if before in LIKENESS and item.value.kind != "listed":
                    continue
                place = self._of_rest(item.value, of_rest)
                of_rest = place if item.value.kind == "rest" else None
                walk.place(at, place, before)
        self.carried = walk.current
        return walk.where

    def settled(self, place: Place) -> Place:
        """The place with 'the rest' made cylinders; it counts as named from now on."""
        if place.kind == "rest":
            own = {self.layout.own} if self.layout.own else set()
            return Place("unknown" if self.unknown_plug else "listed", place.cylinders - self.named - own)
        if place.kind == "last":
            place = self._just_named(place)
        if place.kind == "unknown":
            self.unknown_plug = True
        if place.kind == "listed":
            self.named |= place.cylinders
            self.told += 1
            self.just += [place, Place("listed", place.besides)] if place.besides else [place]
        return place

    def _just_named(self, place: Place) -> Place:
        """The cylinders that 'both' or 'all three' look back to."""
        cylinders: frozenset[int] = frozenset()
        for before in reversed(self.just):
            cylinders |= before.cylinders
            if len(cylinders) >= place.count:
                break
        return (
            replace(place, kind="listed", cylinders=cylinders)
            if len(cylinders) == place.count
            else (replace(place, kind="unknown"))
        )

    def _of_rest(self, place: Place, rest: Place | None) -> Place:
        """The place, or what 'the rest of the left bank' leaves of it."""
        settled = self.settled(place)
        if rest is None or settled.kind != "listed":
            return settled
        return Place("listed", settled.cylinders & rest.cylinders)


@dataclass(slots=True)
class _Walk:
    """Goes through the items of one clause. current: the place last named; unplaced: the signs since then.

    led: a place stood before its signs. placed_at, placed: the place last put to signs before it, and those signs.
    """

    items: Sequence[Item]
    signs: set[int]
    current: Place | None
    trails: bool
    where: Spots = field(default_factory=dict)
    unplaced: list[int] = field(default_factory=list)
    led: bool = False
    placed_at: int | None = None
    placed: Sequence[int] = ()

    def sign(self, at: int) -> None:
        self.where[at] = [self.current]
        self.unplaced.append(at)

    def place(self, at: int, named: Place, before: object) -> None:
        place = _within(named, self.current)
        if before in LIKENESS:
            self._also(self.unplaced, named)
        elif self.placed_at is not None and _joined(self.items[self.placed_at + 1 : at]):
            self._also(self.placed, place)
            self.placed_at = at
        elif before not in WHERE or not self._narrows(place):
            if self.unplaced and (before in WHERE or self.trails or not (self.led or self._sign_follows(at))):
                self.where |= {one: [place] for one in self.unplaced}
                self.placed_at, self.placed = at, self.unplaced
            else:
                self.led = True
            self.current, self.unplaced = place, []

    def _also(self, signs: Sequence[int], place: Place) -> None:
        for one in signs:
            self.where[one] = [*self.where[one], place]

    def _narrows(self, place: Place) -> bool:
        """True for the bank of '5 on the left bank' and of 'silver on one plug on the left bank'."""
        current = self.current
        if current is None:
            return False
        if current.cylinders < place.cylinders and not self.unplaced:
            return True
        if place.kind != "listed" or current.kind not in WIDE:
            return False
        narrowed = replace(current if current.kind == "unknown" else place, cylinders=place.cylinders)
        self.where = {at: [narrowed if one == current else one for one in ones] for at, ones in self.where.items()}
        self.current = narrowed
        return True

    def _sign_follows(self, at: int) -> bool:
        """True where a sign stands behind, before the next place."""
        for other in range(at + 1, len(self.items)):
            if other in self.signs:
                return True
            if self.items[other].tag == "place":
                return False
        return False


def _joined(between: Sequence[Item]) -> bool:
    """True for what stands between the places of 'on 5 and maybe on 7'."""
    return any(item.tag == "link" for item in between) and all(item.tag in JOINING for item in between)


def _trail(items: Sequence[Item], signs: set[int]) -> bool:
    """True for 'rich left bank, lean right bank', where each place stands behind its signs."""
    told = [at for at, item in enumerate(items) if at in signs or item.tag == "place"]
    return bool(told) and told[0] in signs and told[-1] not in signs


def _before(items: Sequence[Item], at: int) -> object:
    """What stands before that place, articles apart."""
    near = [item.value for item in items[max(at - 2, 0) : at] if item.value not in ("the", "a", "an")]
    return near[-1] if near else None


def _tells_anew(items: Sequence[Item], at: int) -> bool:
    """True for the place of 'as 5 was peppered' and 'looks like 5 is gone', which is compared with nothing."""
    return 0 < at < len(items) - 1 and items[at + 1].value in ANEW and items[at - 1].value in LIKENESS


def _compares(items: Sequence[Item], at: int) -> bool:
    """True for the second place of '1-4 all' and '5 & 7 both'."""
    return items[at].value.kind in ("all", "last") and _beside_named(items, at)


def _behind_than(items: Sequence[Item], at: int) -> bool:
    """True for the 'others' of 'darker than the others'."""
    before = [item for item in items[max(at - 2, 0) : at] if item.tag != "empty"]
    return bool(before) and before[-1].tag == "compared" and at > 2


def _beside_named(items: Sequence[Item], at: int) -> bool:
    """True for the 'both' of '5 & 7 both' and 'both 5 and 7'."""
    behind = items[at + 1] if at + 1 < len(items) else None
    if at and items[at - 1].tag == "place":
        return True
    return items[at].value.kind == "last" and behind is not None and behind.tag == "place"


def _within(place: Place, current: Place | None) -> Place:
    """'Two of them' of the bank that was named before."""
    if place.kind == "unknown" and current is not None and current.kind == "listed" and len(current.cylinders) > 1:
        return replace(place, cylinders=current.cylinders)
    return place
