"""A note read clause by clause: what is seen, where, how surely; what is taken back, asked or left alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from engine_rules.note_clauses import Clause
from engine_rules.note_meaning import Meant, amount_alone, meanings, none_said, topic_at, with_amounts
from engine_rules.note_places import Layout, Place
from engine_rules.note_scope import Scope, Standing, scope_of
from engine_rules.note_words import Item, lexicon
from engine_rules.words import word_lists

DANGER = frozenset(
    {
        ("specks", "few black"),
        ("specks", "many black"),
        ("specks", "bright"),
        ("porcelain", "glazed"),
        ("porcelain", "blistered"),
        ("porcelain", "cracked"),
        ("also_seen", "strap melted"),
        ("centre_wire", "melted"),
    }
)
"""The signs that close every way to more heat: a doubt does not drop them."""
WHERE = ("on", "in", "for", "from", "onto", "over")
LIKENESS = ("as", "same as")
AGAIN = ("same", "too", "also", "likewise", "as well")
CAUSES = ("anti-seize", "rubber bits", "additive")
CHANGES = "jets or degrees"


@dataclass(frozen=True, slots=True)
class NoteAsk:
    """A phrase that may mean two things, as it stands in the note; why it is asked; where it starts."""

    phrase: str
    why: str
    start: int = 0


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
class NoteReader:
    """Goes through one note; what it finds gathers as it goes."""

    text: str
    layout: Layout
    seen: list[Seen] = field(default_factory=list)
    praised: list[Seen] = field(default_factory=list)
    conduct: dict[str, bool] = field(default_factory=dict)
    asks: list[NoteAsk] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    named: set[int] = field(default_factory=set)
    unknown_plug: bool = False
    specks_named: bool = False
    topic: str | None = None
    carried: Place | None = None
    standing: Standing = field(default_factory=Standing)
    heads: bool = False
    count: int = 0

    def sentence(self, clauses: Sequence[Clause]) -> None:
        """Read one sentence; places, topics and times carry from clause to clause within it."""
        # '7. Pepper, blue to the weld': a sentence that only names a cylinder heads the next one.
        heading = self.carried if self.heads else None
        self.topic, self.carried, self.standing = None, heading, Standing()
        self.heads = all(item.tag in ("place", "empty", "colon") for clause in clauses for item in clause.items)
        for clause in _denials_carried(clauses):
            before = self._gathered()
            self._clause(clause)
            if self._gathered() == before and clause.has("unknown") and self._may_be_of_plugs(clause):
                self.left.append(self.words(clause))
            self.count += 1

    def _may_be_of_plugs(self, clause: Clause) -> bool:
        return self.layout.own is not None or (clause.has("place", "part", "sign") and not clause.has("harmless"))

    def _gathered(self) -> int:
        return len(self.seen) + len(self.praised) + len(self.asks) + len(self.conduct)

    def words(self, clause: Clause) -> str:
        """The clause as the racer wrote it."""
        start, end = clause.span()
        return self.text[start:end]

    def ask(self, start: int, end: int, why: str) -> None:
        """Ask about a stretch of the note, once."""
        if all(not (one.start <= start and end <= one.start + len(one.phrase)) for one in self.asks):
            self.asks.append(NoteAsk(self.text[start:end], why, start))

    def _clause(self, clause: Clause) -> None:
        items = clause.items
        scope = scope_of(clause, self.standing, opens_note=self.count == 0)
        everything = with_amounts(items, [*meanings(items, self.topic), *self._spoken_short(items)])
        found = _furthest([one for one in everything if one.at not in scope.dead])
        if clause.has("harmless") and any(item.value == "others" for item in items if item.tag == "harmless"):
            found = []
        if scope.undecided and everything and not found and self._speaks_of_plugs(clause):
            self.ask(*clause.span(), "is not settled: write in the columns what you see")
        self._take_back(clause, scope, found)
        places = self._places(clause, {one.at for one in found})
        if self._speaks_of_plugs(clause):
            for meant in found:
                self._gather(clause, scope, meant, places)
        elif not clause.has("harmless"):
            self._keep_danger(clause, scope, found)
        if self.layout.own is not None and all(item.tag == "empty" for item in items) and items[-1].value == "same":
            self.ask(*clause.span(), "does not say the same as what: copy the words of the other row")
        self._same_again(clause, found)
        self._conduct(clause, scope)
        self._ask(clause, scope)
        self.topic = topic_at(items, len(items), self.topic)
        self.specks_named = any(one.kind == "specks" for one in everything) or (self.specks_named and not everything)

    def _spoken_short(self, items: Sequence[Item]) -> Iterator[Meant]:
        """'lots on 5' and 'none on 1-4', which speak of what was named before."""
        none = none_said(items, self.topic)
        if none is not None:
            yield none
        short = amount_alone(items)
        bare = not any(item.tag in ("sign", "adjective", "part", "count", "unknown", "ask") for item in items)
        if short is not None and bare and self.specks_named and any(item.tag == "place" for item in items):
            at = next(at for at, item in enumerate(items) if item.tag == "amount")
            yield Meant(*short, at, at)
        if self.specks_named and any(item.tag == "ends" for item in items) and bare and none is None:
            yield Meant("specks", "none", 0, 0)

    def _places(self, clause: Clause, signs: set[int]) -> dict[int, list[Place | None]]:
        """By place of a sign in the clause, where it was seen: named before it, or behind it ('on 7')."""
        items, current, led = clause.items, self.carried, False
        where: dict[int, list[Place | None]] = {}
        open_signs: list[int] = []
        if clause.lead == "except":
            self._leave_out(items)
        for at, item in enumerate(items):
            if at in signs:
                where[at] = [current]
                open_signs.append(at)
            elif item.tag == "ask" and item.value.startswith("names no"):
                self.unknown_plug = True
                current = Place("unknown", frozenset(self.layout.cylinders))
            elif item.tag == "place":
                place = self._rest_settled(item.value)
                follow = self._signs_before_next_place(items, at, signs)
                before = items[at - 1] if at else None
                if before is not None and before.value == "like":
                    continue
                if place.kind == "all" and before is not None and before.tag == "place":
                    continue
                if before is not None and before.value in LIKENESS:
                    for one in open_signs:
                        where[one].append(place)
                    continue
                behind = before is not None and before.value in WHERE and open_signs
                if behind or (open_signs and not led and not follow):
                    for one in open_signs:
                        where[one] = [place]
                else:
                    led = True
                current, open_signs = place, []
        self.carried = current
        return where

    @staticmethod
    def _signs_before_next_place(items: Sequence[Item], at: int, signs: set[int]) -> bool:
        for other in range(at + 1, len(items)):
            if other in signs:
                return True
            if items[other].tag == "place":
                return False
        return False

    def _rest_settled(self, place: Place) -> Place:
        if place.kind == "rest":
            own = {self.layout.own} if self.layout.own else set()
            return Place("unknown" if self.unknown_plug else "listed", place.cylinders - self.named - own)
        if place.kind == "unknown":
            self.unknown_plug = True
        if place.kind == "listed":
            self.named |= place.cylinders
        return place

    def _leave_out(self, items: Sequence[Item]) -> None:
        """'..., except 6 white': what the clause before said of its cylinders is not said of 6."""
        first = items[0]
        if first.tag != "place" or first.value.kind != "listed":
            return
        for number, one in enumerate(list(self.seen)):
            if one.clause == self.count - 1:
                cylinders = one.place.cylinders if one.place else frozenset(self.layout.cylinders)
                self.seen[number] = replace(one, place=Place("listed", cylinders - first.value.cylinders))
                if one.what == ("specks", "none") and len(items) == 1:
                    self.seen.append(replace(one, meant=replace(one.meant, word="few black"), place=first.value))

    def _speaks_of_plugs(self, clause: Clause) -> bool:
        """False for clauses about the car, the track or the crew."""
        items = clause.items
        harmless = {item.value for item in items if item.tag == "harmless"}
        if "others" in harmless:
            return False
        plug = any(item.tag == "part" and item.value == "plug" for item in items)
        placed = any(item.tag == "place" and item.value.sure and item.value.kind != "unknown" for item in items)
        if harmless and self.layout.own is None:
            return plug or placed
        if self.layout.own is not None or plug or clause.has("place", "part", "count"):
            return True
        strangers = _strangers(items)
        return strangers == 0 or (self.carried is not None and strangers < 3)

    def _keep_danger(self, clause: Clause, scope: Scope, found: Iterable[Meant]) -> None:
        """A word of danger with one stranger beside it may still be meant of the plugs: kept, and asked about."""
        if _strangers(clause.items) > 1:
            return
        for meant in found:
            if (
                (meant.kind, meant.word) in DANGER
                and meant.at not in scope.denied
                and not _beside_stranger(clause, meant)
            ):
                self._add(clause, meant, None, "doubted")
                self.ask(*clause.span(), "may be meant of the plugs or of something else: write it in the columns")

    def _gather(self, clause: Clause, scope: Scope, meant: Meant, places: Mapping[int, list[Place | None]]) -> None:
        danger = (meant.kind, meant.word) in DANGER
        if self._of_another_thing(clause.items, meant) or self._explains_away(clause, scope, meant):
            return
        if meant.at in scope.denied or (meant.at in scope.denied_far and not danger):
            if meant.kind == "specks" and meant.word in ("few black", "many black"):
                meant = replace(meant, word="none")
            elif not (meant.kind in ("ring", "shell_ring") and meant.word == "none"):
                return
        if danger and not self._speaks_plainly(clause, meant, places[meant.at]):
            self._add(clause, meant, None, "doubted")
            self.ask(*clause.span(), "may be meant of the plugs or of something else: write it in the columns")
            return
        if meant.word in ("loose", "dead") and self.layout.own is None and places[meant.at] == [None]:
            return
        if meant.at in scope.nearly and not danger and meant.kind != "strap_mark":
            return
        either = self._one_of_two(clause, meant, scope)
        excused = clause.has("excuses") or (self.layout.own is None and _beside_stranger(clause, meant))
        doubted = scope.doubted or either or meant.at in scope.nearly or meant.at in scope.denied_far
        unknown = any(place is not None and place.kind == "unknown" for place in places[meant.at])
        if meant.word == "none":
            danger = False
        if not danger and (scope.undecided or either or unknown):
            self.ask(*clause.span(), "is not settled: write in the columns what you see")
            return
        sure = "doubted" if doubted or (danger and excused) else "hedged" if scope.hedged else "plain"
        for place in places[meant.at]:
            self._add(clause, meant, place, sure)
            if place is not None and place.besides and (meant.kind, meant.word) == ("specks", "none"):
                self._add(clause, replace(meant, word="few black"), Place("listed", place.besides), sure)
        if danger and (doubted or excused or unknown):
            self.ask(*clause.span(), "is doubted, and counts until you say otherwise: write it in the columns")

    def _speaks_plainly(self, clause: Clause, meant: Meant, places: Sequence[Place | None]) -> bool:
        """False for 'cracked' or 'shiny' in a run's note that names neither a cylinder nor a part of the plug."""
        item = clause.items[meant.at]
        return item.tag != "adjective" or self.layout.own is not None or places != [None] or clause.has("part", "sign")

    @staticmethod
    def _of_another_thing(items: Sequence[Item], meant: Meant) -> bool:
        """True for the silver of 'silver car' and the crack of 'crack in the block'."""
        for item in items[meant.end + 1 :]:
            if item.tag == "harmless":
                return True
            if item.tag not in ("empty", "adjective") or item.value in ("from", "and", "so"):
                return False
        return False

    def _explains_away(self, clause: Clause, scope: Scope, meant: Meant) -> bool:
        """True for what tells the cause of the clause before: 'might just be anti seize', 'thats the silver paste'."""
        last = [one for one in self.seen if one.clause == self.count - 1]
        cause = meant.word in CAUSES
        if cause and (scope.doubted or clause.has("explained")) and any(one.what in DANGER for one in last):
            return True
        return clause.has("explained") and any(one.meant.word in CAUSES for one in last)

    @staticmethod
    def _one_of_two(clause: Clause, meant: Meant, scope: Scope) -> bool:
        if meant.at in scope.denied:
            return False
        at = next((at for at, item in enumerate(clause.items) if item.tag == "link" and item.value == "or"), None)
        return at is not None and at not in (0, len(clause.items) - 1)

    def _add(self, clause: Clause, meant: Meant, place: Place | None, sure: str) -> None:
        items = clause.items
        one = Seen(meant, place, items[meant.at].start, items[meant.end].end, self.count, sure)
        (self.praised if meant.kind == "good" else self.seen).append(one)

    def _take_back(self, clause: Clause, scope: Scope, found: Sequence[Meant]) -> None:
        """What this clause says of the one before: denied after a question, or doubted by an excuse."""
        items = clause.items
        last = [one for one in self.seen if one.clause == self.count - 1]
        refused = items[0].value in ("no", "nope", "nah") and (len(items) == 1 or items[1].tag == "explained")
        if refused:
            self._drop([one for one in last if one.sure == "doubted"])
            return
        denied = {(one.kind, one.word) for one in found if one.at in scope.denied}
        if denied and (clause.has("excuses") or any(item.value == "so" for item in items)):
            self._drop([one for one in self.seen if one.what in denied])
            return
        excuse = (
            clause.has("excuses")
            or (clause.has("doubts") and not found)
            or (scope.doubted and clause.items[0].value == "or")
        )
        excuse = excuse or (
            scope.doubted and any(one.word in ("anti-seize", "rubber bits", "additive") for one in found)
        )
        if not excuse or any((one.kind, one.word) in DANGER for one in found):
            return
        for one in last:
            if one.what in DANGER and (clause.has("excuses", "link") or found or len(items) < 4):
                self.seen[self.seen.index(one)] = replace(one, sure="doubted")
                self.ask(
                    one.start,
                    clause.span()[1],
                    "is doubted, and counts until you say otherwise: write it in the columns",
                )

    def _drop(self, gone: Sequence[Seen]) -> None:
        for one in gone:
            if one in self.seen:
                self.seen.remove(one)
            self.asks = [ask for ask in self.asks if not ask.start <= one.start < ask.start + len(ask.phrase)]

    def _same_again(self, clause: Clause, found: Sequence[Meant]) -> None:
        """'2-4 same', '5 too': what was said of the cylinders named before holds for these."""
        if found or not any(item.value in AGAIN for item in clause.items):
            return
        place = next((item.value for item in clause.items if item.tag == "place"), None)
        if place is None or not self.seen:
            return
        before, place = self.seen[-1], self._rest_settled(place)
        whole = any(item.value == "same" for item in clause.items)
        for one in list(self.seen):
            if one.place == before.place and (whole or one.clause == before.clause):
                self.seen.append(replace(one, place=place, clause=self.count))

    def _conduct(self, clause: Clause, scope: Scope) -> None:
        if any(item.value == "others" for item in clause.items if item.tag == "harmless"):
            return
        for at, item in enumerate(clause.items):
            if item.tag != "conduct" or at in scope.dead or scope.undecided:
                continue
            key, answer = item.value
            if at in scope.denied or at in scope.denied_far:
                if key in ("new_plugs", "clean_cut") and answer:
                    self.conduct[key] = False
                continue
            # Of two answers the one that trusts the plugs less stands.
            unsafe = key in ("idled_after", "lifted_or_spun")
            known = self.conduct.get(key)
            self.conduct[key] = answer if known is None else (known or answer) if unsafe else (known and answer)

    def _ask(self, clause: Clause, scope: Scope) -> None:
        items = clause.items
        for at, item in enumerate(items):
            if (
                item.tag == "ask_sign"
                and at not in scope.dead
                and at not in scope.denied
                and self._speaks_of_plugs(clause)
            ):
                kind, word, why = item.value
                if self._explains_away(clause, scope, Meant(kind, word, at, at)):
                    continue
                self._add(clause, Meant(kind, word, at, at), self._place_of(items, at), "doubted")
                self.ask(item.start, item.end, why)
            if item.tag != "ask" or at in scope.dead:
                continue
            if CHANGES in item.value and self._settled(items, at):
                continue
            if CHANGES not in item.value and not self._speaks_of_plugs(clause):
                continue
            if at in scope.denied or (item.value.startswith("may be heat") and self._has_now("strap_mark")):
                continue
            if item.value.startswith("may be rubber") and self._has_now("specks"):
                continue
            self.ask(item.start, item.end, item.value)
        white = [one for one in self.seen if one.what == ("porcelain", "white") and one.clause == self.count]
        bare = [one for one in self.seen if one.what == ("ring", "none") and one.clause == self.count]
        if white and bare:
            start, end = min(white[0].start, bare[0].start), max(white[0].end, bare[0].end)
            self.ask(start, end, "may be lean, a short run or the fuel: write strap and specks in their columns")

    def _has_now(self, kind: str) -> bool:
        return any(one.clause == self.count and one.meant.kind == kind for one in self.seen)

    def _place_of(self, items: Sequence[Item], at: int) -> Place | None:
        named = [item.value for item in items if item.tag == "place"]
        return self._rest_settled(named[0]) if named else self.carried

    @staticmethod
    def _settled(items: Sequence[Item], at: int) -> bool:
        """True where a part, a unit or a cylinder named behind the change says what was changed."""
        behind = items[at + 1 : at + 3]
        if len(behind) == 2 and behind[0].value in ("of", "from") and behind[1].tag == "number":
            return True
        for item in items[at + 1 : at + 6]:
            if item.tag in ("clear", "place"):
                return True
            if item.tag in ("link", "sign", "adjective"):
                return False
        return False


def _denials_carried(clauses: Sequence[Clause]) -> Iterator[Clause]:
    """Clauses with the 'no' of 'no pepper, silver or cracks' said in each clause of its list."""
    denial: Item | None = None
    for at, clause in enumerate(clauses):
        first = clause.items[0]
        if first.tag == "negations":
            denial = first
        elif denial is not None and _bare(clause) and any(_has_or(other) for other in clauses[at:]):
            clause = replace(clause, items=(replace(denial, start=first.start, end=first.start), *clause.items))
        else:
            denial = None
        yield clause


def _bare(clause: Clause) -> bool:
    return all(item.tag in ("sign", "adjective", "part", "link", "empty") for item in clause.items)


def _has_or(clause: Clause) -> bool:
    return any(item.tag == "link" and item.value in ("or", "nor") for item in clause.items)


def _strangers(items: Sequence[Item]) -> int:
    """Words and numbers that a clause about plugs would not need."""
    plain = lexicon().table["words"]["plain"]
    return sum(item.tag in ("unknown", "number") or (item.tag == "empty" and item.value not in plain) for item in items)


def _beside_stranger(clause: Clause, meant: Meant) -> bool:
    """True where the word is said of an unknown one right behind it, with no part of a plug named: 'silver bullet'."""
    behind = [item for item in clause.items[meant.end + 1 :] if item.value not in ("the", "a", "an")]
    return bool(behind) and behind[0].tag == "unknown" and not clause.has("part")


def _furthest(found: list[Meant]) -> list[Meant]:
    """Of two strap marks in one clause ('past bend, almost to the weld') the one nearer the weld."""
    amounts = word_lists()["strap_mark"].amounts
    marks = [one for one in found if one.kind == "strap_mark" and one.word is not None]
    if len(marks) < 2:
        return found
    kept = max(marks, key=lambda one: amounts[one.word or ""])
    return [one for one in found if one is kept or one not in marks]


def certainty_of(sure: str) -> float:
    """How far a sign counts, by how it was said."""
    return float(lexicon().table["certainty"][sure])
