"""A note read clause by clause: what is seen, where, how surely; what is taken back, asked or left alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import zip_longest

from engine_rules.note_asks import NoteAsk, Told, open_questions
from engine_rules.note_clauses import BUT, Clause
from engine_rules.note_conduct import conduct_of, settled
from engine_rules.note_context import (
    DANGER,
    beside_stranger,
    denials_carried,
    is_danger,
    of_another_thing,
    of_others,
    one_of_two,
    speaks_of_plugs,
    strangers,
    withdraws,
)
from engine_rules.note_meaning import Meant, amount_alone, furthest, meanings, none_said, topic_at, with_amounts
from engine_rules.note_places import Layout, Place
from engine_rules.note_scope import NONE, Scope, Standing, scope_of
from engine_rules.note_specks import FEW_BLACK, MANY_BLACK
from engine_rules.note_where import Whereabouts
from engine_rules.note_words import Item, lexicon

SAME = ("same", "same as", "same w/", "like", "look like", "looks like", "similar", "identical", "ditto")
AGAIN = (*SAME, "too", "also", "likewise", "as well")
AUXILIARY = ("is", "are", "was", "were", "does", "do", "did", "has", "had", "have")
CAUSES = ("anti-seize", "rubber bits", "additive")
COUNTED = ("strap_mark", "threads", "shell_ring")
ONE_PLUGS = (("also_seen", "strap melted"), ("porcelain", "cracked"))
BLACK = ("few black", "many black")
UNSETTLED = "is not settled: write in the columns what you see"
DOUBTED = "is doubted, and counts until you say otherwise: write it in the columns"
WITHDRAWN = "is taken back, and does not count: look again, and write in the columns what is left of it"
ELSEWHERE = "may be meant of the plugs or of something else: write it in the columns"


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
    """Goes through one note; what it finds gathers as it goes. praised: what is only called good or ok."""

    text: str
    layout: Layout
    where: Whereabouts
    seen: list[Seen] = field(default_factory=list)
    praised: list[Seen] = field(default_factory=list)
    conduct: dict[str, bool] = field(default_factory=dict)
    asks: list[NoteAsk] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    specks_named: bool = False
    topic: str | None = None
    last_at: int = 0
    said: list[Meant] = field(default_factory=list)
    standing: Standing = field(default_factory=Standing)
    heads: bool = False
    led: bool = False
    count: int = 0

    def sentence(self, clauses: Sequence[Clause]) -> None:
        """Read one sentence; places, topics and times carry from clause to clause within it."""
        # 'odds: thin line. evens: wide'
        self.topic = self.topic if clauses[0].items[0].tag == "place" else None
        self.standing = Standing()
        self.where.begin(self.heads or (self.led and _of_one_plug(clauses[0])))
        self.heads = all(item.tag in ("place", "empty", "colon") for clause in clauses for item in clause.items)
        harmless = any(clause.has("harmless") for clause in clauses)
        clauses = list(denials_carried(clauses))
        for clause, behind in zip_longest(clauses, clauses[1:]):
            if behind is not None and _is_over(clause, behind):
                self.where.places(clause, set())
                continue
            before = self._gathered()
            self._clause(clause, harmless)
            if self._gathered() == before and clause.has("unknown") and self._may_be_of_plugs(clause):
                start, end = clause.span()
                self.left.append(self.text[start:end])
            self.count += 1
        carried = self.where.carried
        self.led = carried is not None and carried.kind == "listed" and len(carried.cylinders) == 1

    def _gathered(self) -> int:
        return len(self.seen) + len(self.praised) + len(self.asks) + len(self.conduct)

    @property
    def _own_row(self) -> bool:
        return self.layout.own is not None

    def _may_be_of_plugs(self, clause: Clause) -> bool:
        return self._own_row or (clause.has("place", "part", "sign") and not clause.has("harmless"))

    def _clause(self, clause: Clause, harmless: bool) -> None:
        """One clause. harmless: its sentence names something that is no plug."""
        items = clause.items
        scope = scope_of(clause, self.standing, opens_note=self.count == 0)
        everything = with_amounts(
            items, [*meanings(items, self.topic, self._own_row or clause.has("place")), *self._spoken_short(items)]
        )
        found = [] if of_others(clause) else [one for one in everything if one.at not in scope.dead]
        of_plugs = speaks_of_plugs(clause, self._own_row, self.where.carried is not None)
        named = everything or (clause.question and clause.has("part", "adjective"))
        if scope.undecided and of_plugs and named and not found:
            self._ask(*clause.span(), UNSETTLED)
        self._take_back(clause, scope, found)
        if clause.lead in BUT:
            self._leave_out(items)
        places = self.where.places(clause, {one.at for one in found})
        if of_plugs:
            for meant in furthest(found, places):
                self._gather(clause, scope, meant, places[meant.at])
        else:
            self._keep_danger(clause, scope, found)
        self._place_behind(clause)
        self._same_again(clause, found)
        self._so_is_another(clause, found)
        self._conduct(clause, scope, harmless)
        self._ask_what_is_open(clause, scope, of_plugs)
        self.topic = topic_at(items, len(items), self.topic)
        self.said = everything or self.said
        self.last_at = clause.span()[0]
        self.specks_named = any(one.kind == "specks" for one in everything) or (self.specks_named and not everything)

    def _spoken_short(self, items: Sequence[Item]) -> Iterator[Meant]:
        """'lots on 5' and 'none on 1-4', which speak of what was named before."""
        none = none_said(items, self.topic)
        if none is not None:
            yield none
        self._worsen(items)
        if not self.specks_named or any(
            item.tag in ("sign", "adjective", "part", "count", "unknown") for item in items
        ):
            return
        short = amount_alone(items)
        if short is not None and any(item.tag == "place" for item in items):
            at = next(at for at, item in enumerate(items) if item.tag == "amount")
            yield Meant(*short, at)
        if none is None and any(item.tag == "ends" for item in items):
            yield Meant("specks", "none", 0)

    def _worsen(self, items: Sequence[Item]) -> None:
        """'..., it's everywhere': the pepper of the clause before is much."""
        if (
            self.specks_named
            and amount_alone(items) == MANY_BLACK
            and all(i.tag in ("amount", "empty", "now") for i in items)
        ):
            for one in self._of_last_clause():
                if one.what == FEW_BLACK:
                    self.seen[self.seen.index(one)] = replace(one, meant=replace(one.meant, word="many black"))

    def _gather(self, clause: Clause, scope: Scope, meant: Meant, places: Sequence[Place | None]) -> None:
        """One sign: dropped, asked about, or kept with its certainty."""
        told = self._as_denied(scope, meant)
        if told is None or self._says_nothing(clause, scope, told, places):
            return
        meant, danger = told, is_danger(told)
        if danger and not self._speaks_plainly(clause, meant, places):
            self._add(clause, meant, None, "doubted")
            self._ask(*clause.span(), ELSEWHERE)
            return
        denied = meant.at in scope.denied
        either = one_of_two(clause.items) and not denied
        unknown = not denied and any(place is not None and place.kind == "unknown" for place in places)
        if not danger and (scope.undecided or either or unknown):
            self._ask(*clause.span(), UNSETTLED)
            return
        nowhere = not self._own_row and list(places) == [None]
        excused = danger and (clause.has("excuses") or (nowhere and beside_stranger(clause, meant)))
        doubted = scope.doubted or either or excused or meant.at in scope.nearly or meant.at in scope.denied_far
        for place in places:
            self._add_there(clause, meant, place, "doubted" if doubted else "hedged" if scope.hedged else "plain")
        if danger and (doubted or unknown):
            self._ask(*clause.span(), DOUBTED)

    def _as_denied(self, scope: Scope, meant: Meant) -> Meant | None:
        """The sign as a denial leaves it: 'no pepper' is specks none, 'not lean' is nothing at all."""
        if meant.at not in scope.denied and (meant.at not in scope.denied_far or is_danger(meant)):
            return meant
        if meant.kind == "specks" and meant.word in BLACK:
            return replace(meant, word="none")
        return meant if meant.kind in ("ring", "shell_ring") and meant.word == "none" else None

    def _says_nothing(self, clause: Clause, scope: Scope, meant: Meant, places: Sequence[Place | None]) -> bool:
        if of_another_thing(clause.items, meant) or self._explains_away(clause, scope, meant):
            return True
        if is_danger(meant) and withdraws(clause):
            self._ask(*clause.span(), WITHDRAWN)
            return True
        # A car is loose or dead as often as a plug is.
        if meant.word in ("loose", "dead") and not self._own_row and list(places) == [None]:
            return True
        return meant.at in scope.nearly and not is_danger(meant) and meant.kind not in COUNTED

    def _speaks_plainly(self, clause: Clause, meant: Meant, places: Sequence[Place | None]) -> bool:
        """False for 'cracked' or 'shiny' in a run's note that names neither a cylinder nor a part of the plug."""
        item = clause.items[meant.at]
        return item.tag != "adjective" or self._own_row or list(places) != [None] or clause.has("part", "sign")

    def _explains_away(self, clause: Clause, scope: Scope, meant: Meant) -> bool:
        """True for what tells the cause of the clause before: 'might just be anti seize', 'thats the silver paste'."""
        last = self._of_last_clause()
        cause = meant.word in CAUSES
        if cause and (scope.doubted or clause.has("explained")) and any(one.what in DANGER for one in last):
            return True
        return clause.has("explained") and any(one.meant.word in CAUSES for one in last)

    def _of_last_clause(self) -> list[Seen]:
        return [one for one in self.seen if one.clause == self.count - 1]

    def _keep_danger(self, clause: Clause, scope: Scope, found: Iterable[Meant]) -> None:
        """A word of danger with one stranger beside it may still be meant of the plugs: kept, and asked about."""
        for meant in found:
            if not is_danger(meant) or meant.at in scope.denied:
                continue
            if clause.has("harmless"):
                pepper = meant.kind == "specks" and meant.word in BLACK and not of_another_thing(clause.items, meant)
                if pepper:
                    self._add(clause, meant, None, "doubted")
                if pepper or any(item.value == "engine" for item in clause.items):
                    self._ask(*clause.span(), ELSEWHERE)
            elif not beside_stranger(clause, meant):
                if strangers(clause.items) < 2:
                    self._add(clause, meant, None, "doubted")
                self._ask(*clause.span(), ELSEWHERE)

    def _add_there(self, clause: Clause, meant: Meant, place: Place | None, sure: str) -> None:
        # 'no pepper' behind lists of several cylinders is said of the whole set, not of the last of them.
        if meant.word == "none" and not clause.has("place") and self.where.told > 1:
            place = None
        self._add(clause, meant, place, sure)
        if place is not None and place.besides and (meant.kind, meant.word) == ("specks", "none"):
            self._add(clause, replace(meant, word="few black"), Place("listed", place.besides), sure)

    def _add(self, clause: Clause, meant: Meant, place: Place | None, sure: str) -> None:
        item = clause.items[meant.at]
        one = Seen(meant, place, item.start, item.end, self.count, sure)
        (self.praised if meant.kind == "good" else self.seen).append(one)

    def _ask(self, start: int, end: int, why: str) -> None:
        if all(not (one.start <= start and end <= one.end) for one in self.asks):
            self.asks = [one for one in self.asks if one.why != why or one.start < start or one.end > end]
            self.asks.append(NoteAsk(self.text[start:end], why, start))

    def _take_back(self, clause: Clause, scope: Scope, found: Sequence[Meant]) -> None:
        """What this clause says of the one before: denied after a question, or doubted by an excuse."""
        items, last = clause.items, self._of_last_clause()
        if items[0].value in NONE and (len(items) == 1 or items[1].tag == "explained"):
            gone = [one for one in last if one.sure == "doubted" or clause.lead]
            self._drop(gone)
            none = [replace(one, meant=replace(one.meant, word="none")) for one in gone if one.what[1] in BLACK]
            self.seen += none if clause.lead else []
            return
        if withdraws(clause) and not any(is_danger(one) for one in found):
            gone = [one for one in last if one.what in DANGER]
            self._drop(gone)
            if gone:
                self._ask(self.last_at, clause.span()[1], WITHDRAWN)
            return
        denied = {(one.kind, one.word) for one in found if one.at in scope.denied}
        if denied and (clause.has("excuses") or any(item.value == "so" for item in items)):
            self._drop([one for one in self.seen if one.what in denied])
            return
        if any(is_danger(one) for one in found) or not self._excuses(clause, scope, found):
            return
        for one in last:
            if one.what in DANGER and (clause.has("excuses", "link") or found or len(items) < 4):
                self.seen[self.seen.index(one)] = replace(one, sure="doubted")
                self._ask(self.last_at, clause.span()[1], DOUBTED)

    @staticmethod
    def _excuses(clause: Clause, scope: Scope, found: Sequence[Meant]) -> bool:
        if clause.has("excuses") or (clause.has("doubts") and not found):
            return True
        return scope.doubted and (clause.items[0].value == "or" or any(one.word in CAUSES for one in found))

    def _drop(self, gone: Sequence[Seen]) -> None:
        for one in gone:
            self.seen.remove(one)
            self.asks = [ask for ask in self.asks if not ask.start <= one.start < ask.end]

    def _leave_out(self, clause_items: Sequence[Item]) -> None:
        """'..., except 6 white': what the clause before said of its cylinders is not said of 6."""
        items = [item for item in clause_items if item.tag != "empty"]
        if not items or items[0].tag != "place" or items[0].value.kind != "listed":
            return
        but = items[0].value
        told = any(item.tag in ("sign", "adjective", "count") for item in items)
        for one in self._of_last_clause():
            of_all = one.place is None or len(one.place.cylinders) > 1
            if told and (self._own_row or not of_all):
                continue
            cylinders = one.place.cylinders if one.place else frozenset(self.layout.cylinders)
            self.seen[self.seen.index(one)] = replace(one, place=Place("listed", cylinders - but.cylinders))
            if one.what == ("specks", "none") and len(items) == 1:
                self.seen.append(replace(one, meant=replace(one.meant, word="few black"), place=but))

    def _same_again(self, clause: Clause, found: Sequence[Meant]) -> None:
        """'2-4 same', '5 too': what was said of the cylinders named before holds for these."""
        items = clause.items
        if self._own_row and all(item.tag == "empty" for item in items) and items[-1].value == "same":
            self._ask(*clause.span(), "does not say the same as what: copy the words of the other row")
        place = next((item.value for item in items if item.tag == "place"), None)
        if found or place is None or not self.seen or not any(item.value in AGAIN for item in items):
            return
        before, place = self.seen[-1], self.where.settled(place)
        whole = any(item.value in SAME for item in items)
        for one in list(self.seen):
            if one.place == before.place and (whole or one.clause == before.clause):
                self.seen.append(replace(one, place=place, clause=self.count))

    def _place_behind(self, clause: Clause) -> None:
        """'pepper, #7': what was said with no cylinder named is said of the cylinder named next, all by itself."""
        named = [item.value for item in clause.items if item.tag == "place"]
        if self._own_row or len(named) != 1 or named[0].kind != "listed" or clause.lead in BUT or clause.question:
            return
        if any(item.tag not in ("place", "empty", "hedges") or item.value in AUXILIARY for item in clause.items):
            return
        for one in self._of_last_clause():
            if one.place is None and one.sure == "plain":
                self.seen[self.seen.index(one)] = replace(one, place=named[0])

    def _so_is_another(self, clause: Clause, found: Sequence[Meant]) -> None:
        """'5 isnt lean, 7 is' and 'so is 4': what the clause before said or denied is said of this cylinder."""
        items = clause.items
        tags = {item.tag for item in items}
        if found or not tags <= {"place", "empty", "link"} or not any(item.value in AUXILIARY for item in items):
            return
        for item in items:
            if item.tag == "place" and any(one.kind != "good" for one in self.said):
                place = self.where.settled(item.value)
                self.seen += [Seen(one, place, item.start, item.end, self.count) for one in self.said]

    def _conduct(self, clause: Clause, scope: Scope, harmless: bool) -> None:
        if not of_others(clause) and not scope.undecided:
            for key, answer in conduct_of(clause, scope, harmless, self.text):
                self.conduct[key] = settled(key, self.conduct.get(key), answer)

    def _ask_what_is_open(self, clause: Clause, scope: Scope, of_plugs: bool) -> None:
        for at, item in enumerate(clause.items):
            if item.tag == "ask_sign" and of_plugs and at not in scope.dead | scope.denied:
                kind, word, why = item.value
                meant = Meant(kind, word, at)
                if not self._explains_away(clause, scope, meant):
                    self._add(clause, meant, self._place_of(clause), "doubted")
                    self._ask(item.start, item.end, why)
        now = [one for one in self.seen if one.clause == self.count]
        told = Told(frozenset(one.meant.kind for one in now), self.topic, of_plugs, self._own_row)
        for start, end, why in open_questions(clause, scope, told):
            self._ask(start, end, why)
        white = [one for one in now if one.what == ("porcelain", "white")]
        bare = [one for one in now if one.what == ("ring", "none")]
        if white and bare:
            start, end = min(white[0].start, bare[0].start), max(white[0].end, bare[0].end)
            self._ask(start, end, "may be lean, a short run or the fuel: write strap and specks in their columns")

    def _place_of(self, clause: Clause) -> Place | None:
        named = [item.value for item in clause.items if item.tag == "place"]
        return self.where.settled(named[0]) if named else self.where.carried


def _of_one_plug(clause: Clause) -> bool:
    """True where a sentence goes on about the plug of the one before: 'strap burned off', 'no plug like it'."""
    told = [item.value for item in clause.items if item.tag in ("part", "sign", "adjective")]
    return bool(told) and told[0] in ("strap", "porcelain", "centre", "plug", *ONE_PLUGS)


def _is_over(clause: Clause, behind: Clause) -> bool:
    """True for the first part of 'was lean, now fat'."""
    was = any(item.value in ("was", "were", "had") for item in clause.items)
    return was and behind.items[0].value == "now" and behind.has("sign", "adjective", "negations")


def certainty_of(sure: str) -> float:
    """How far a sign counts, by how it was said."""
    return float(lexicon().table["certainty"][sure])
