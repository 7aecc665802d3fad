"""What a clause says of the one before: denied, doubted, left out, the same again, or its cylinder named behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from engine_rules.note_clauses import BUT, Clause
from engine_rules.note_context import DANGER, is_danger
from engine_rules.note_found import Found, Seen
from engine_rules.note_meaning import Meant, amount_alone
from engine_rules.note_places import BOTH, Place
from engine_rules.note_scope import NONE, Scope
from engine_rules.note_specks import FEW_BLACK, MANY_BLACK
from engine_rules.note_where import Whereabouts
from engine_rules.note_withdrawn import CAUSES, at_first_sight, comes_off, only_denies, withdraws
from engine_rules.note_words import Item, pieces

SAME = ("same", "same as", "same w/", "like", "look like", "looks like", "similar", "identical", "ditto")
AGAIN = (*SAME, "too", "also", "likewise", "as well")
BARE = ("place", "empty", "hedges", "doubts", "nearly")
NOR = ("doesnt", "dont", "didnt", "isnt", "arent", "wasnt", "werent", "hasnt", "havent", "does not", "do not", "not")
AUXILIARY = ("is", "are", "was", "were", "does", "do", "did", "has", "had", "have")
WORSE = {"worse", "still", "same", "again", "more"}
THERE = {"got", "does", "do", "there", "it"}
BETTER = {
    "clean",
    "good",
    "fine",
    "nice",
    "right",
    "normal",
    "ok",
    "less",
    "better",
    "happy",
    "great",
    "gone",
    "healthy",
}
BLACK = ("few black", "many black")
DOUBTED = "is doubted, and counts until you say otherwise: write it in the columns"
WITHDRAWN = "is taken back, and does not count: look again, and write in the columns what is left of it"


@dataclass(slots=True)
class LookBack:
    """Goes through a note beside its reader. first_sight: the clause before said what it only looked like.

    said: what the last clause with a sign said, denied or not.
    """

    found: Found
    where: Whereabouts
    first_sight: bool = False
    asked: bool = False
    placed: bool = False
    ends_placed: bool = False
    said: Sequence[Meant] = field(default_factory=tuple)
    denied: Sequence[Meant] = field(default_factory=tuple)
    over: Sequence[Meant] = field(default_factory=tuple)

    def before(self, clause: Clause, scope: Scope, found: Sequence[Meant]) -> None:
        """Before the signs of this clause are kept: what it takes from the one before."""
        self._take_back(clause, scope, found)
        if clause.lead in BUT:
            self._leave_out(clause, {one.kind for one in found})

    def behind(self, clause: Clause, scope: Scope, found: Sequence[Meant], everything: Sequence[Meant]) -> None:
        """Behind its signs: what it adds to earlier ones."""
        self._place_behind(clause)
        self._same_again(clause, found)
        self._so_is_another(clause, found)
        self._maybe_there_too(clause)
        self._goes_on(clause, scope, found, everything)
        self.said = everything or self.said
        self.denied = [one for one in found if one.at in scope.denied and is_danger(one) and one.word not in BLACK]
        self.ends_placed = clause.items[-1].tag == "place" and clause.items[0].tag != "place"
        self.first_sight, self.asked, self.placed = at_first_sight(clause), clause.question, clause.has("place")

    def worsen(self, items: Sequence[Item]) -> None:
        """'..., it's everywhere': the pepper of the clause before is much."""
        if amount_alone(items) == MANY_BLACK and all(item.tag in ("amount", "empty", "now") for item in items):
            for one in self.found.of_last_clause():
                if one.what == FEW_BLACK:
                    self.found.change(one, meant=replace(one.meant, word="many black"))

    def _take_back(self, clause: Clause, scope: Scope, found: Sequence[Meant]) -> None:
        """What this clause says of the one before: denied after a question, or doubted by an excuse."""
        items, last = clause.items, self.found.of_last_clause()
        if only_denies(clause) or (items[0].value in NONE and len(items) > 1 and items[1].tag == "explained"):
            self._deny(clause, last)
            return
        if self.first_sight and self._corrects(clause, scope, found):
            self._withdraw([one for one in last if one.sure == "doubted" or not is_danger(one.meant)], clause)
            return
        danger = any(is_danger(one) and one.at not in scope.denied for one in found)
        wrong = clause.lead == "=" or comes_off(clause) or (self.asked and clause.tags <= {"excuses", "empty"})
        if not danger and withdraws(clause, wrong=wrong):
            self._withdraw([one for one in last if one.what in DANGER], clause)
            return
        denied = {(one.kind, one.word) for one in found if one.at in scope.denied}
        if denied and (clause.has("excuses") or any(item.value == "so" for item in items)):
            self.found.drop([one for one in self.found.seen if one.what in denied])
            return
        if any(is_danger(one) for one in found) or not self._excuses(clause, scope, found):
            return
        for one in last:
            if one.what in DANGER and (clause.has("excuses", "link") or found or len(items) < 4):
                self.found.change(one, sure="doubted")
                self.found.ask(self.found.last_at, clause.span()[1], DOUBTED)

    def _deny(self, clause: Clause, last: Sequence[Seen]) -> None:
        """'its not' and 'no' behind a question or a first sight; 'none' behind a comma as well."""
        bare = clause.items[0].value in NONE
        gone = [one for one in last if one.sure == "doubted" or (bare and clause.lead)]
        self.found.drop(gone)
        self.found.asks = [ask for ask in self.found.asks if not (self.found.last_at <= ask.start < clause.span()[0])]
        none = [replace(one, meant=replace(one.meant, word="none")) for one in gone if one.what[1] in BLACK]
        self.found.seen += none if bare else []

    @staticmethod
    def _corrects(clause: Clause, scope: Scope, found: Sequence[Meant]) -> bool:
        """True where what follows a first sight says that it was wrong: 'its a pencil line', 'but it wiped off'."""
        danger = any(is_danger(one) and one.at not in scope.denied for one in found)
        return not danger and withdraws(clause, 0, wrong=True)

    def _withdraw(self, gone: Sequence[Seen], clause: Clause) -> None:
        self.found.drop(gone)
        if any(is_danger(one.meant) for one in gone):
            self.found.ask(self.found.last_at, clause.span()[1], WITHDRAWN)

    @staticmethod
    def _excuses(clause: Clause, scope: Scope, found: Sequence[Meant]) -> bool:
        if clause.has("excuses") or (clause.has("doubts") and not found):
            return True
        return scope.doubted and (clause.items[0].value == "or" or any(one.word in CAUSES for one in found))

    def _leave_out(self, clause: Clause, kinds: set[str]) -> None:
        """'..., except 6 white': what the clause before said of its cylinders is not said of 6.

        With 'but' only what is of the same kind: 'all tan but 7 has specks'.
        """
        items = [item for item in clause.items if item.tag != "empty"]
        if not items or items[0].tag != "place" or items[0].value.kind != "listed":
            return
        but = items[0].value
        told = any(item.tag in ("sign", "adjective", "count") for item in items)
        self.found.excepted = but.cylinders
        for one in self.found.of_last_clause():
            of_all = one.place is None or len(one.place.cylinders) > 1
            other = clause.lead == "but" and kinds and one.meant.kind not in kinds
            if other or (told and (self.found.own_row or not of_all)):
                continue
            cylinders = one.place.cylinders if one.place else frozenset(self.found.layout.cylinders)
            self.found.change(one, place=Place("listed", cylinders - but.cylinders))
            if one.what == ("specks", "none") and len(items) == 1:
                self.found.seen.append(replace(one, meant=replace(one.meant, word="few black"), place=but))
        if len(items) == 1:
            # 'no plug is cracked except 8'
            start, end = clause.span()
            self.found.seen += [Seen(one, but, start, end, self.found.count) for one in self.denied]

    def _same_again(self, clause: Clause, found: Sequence[Meant]) -> None:
        """'2-4 same', '5 too': what was said of the cylinders named before holds for these."""
        items = clause.items
        place = next((item.value for item in items if item.tag == "place"), None)
        bare = all(item.tag == "empty" for item in items) and items[-1].value == "same" and self.found.own_row
        if bare or (clause.has("again") and (place is None or not self.found.seen)):
            self.found.ask(*clause.span(), "does not say the same as what: copy the words of the other row")
        again = any(item.value in AGAIN or item.tag == "again" for item in items)
        if found or place is None or not self.found.seen or not again:
            return
        before, place = self.found.seen[-1], self.where.settled(place)
        whole = any(item.value in SAME or item.tag == "again" for item in items)
        for one in list(self.found.seen):
            if one.place == before.place and (whole or one.clause == before.clause):
                self.found.seen.append(replace(one, place=place, clause=self.found.count))

    def _place_behind(self, clause: Clause) -> None:
        """'pepper, #7': what was said with no cylinder named is said of the cylinder named next, all by itself."""
        named = [item.value for item in clause.items if item.tag == "place"]
        if self.asked and clause.question and named and clause.items[0].value == "or":
            # 'specks on 4? or 6?'
            self.found.seen += [replace(one, place=named[0]) for one in self.found.of_last_clause()]
        if len(named) == BOTH and named[0].cylinders <= named[1].cylinders:
            named = named[:1]  # 'two of the evens'
        if self.found.own_row or len(named) != 1 or named[0].kind != "listed" or clause.lead in BUT or clause.question:
            return
        if any(item.tag not in BARE or item.value in AUXILIARY for item in clause.items):
            return
        # 'silver? 7 maybe'
        if clause.lead == "," and self.ends_placed:
            # 'pepper on the odds, 2 and 6'
            self.found.seen += [replace(one, place=named[0]) for one in self.found.of_last_clause()]
            return
        aside = clause.lead == "(" and not self.placed
        near = self.found.of_last_clause() if self.asked or aside else self.found.seen[self.found.sentence_at :]
        for one in near:
            if aside or (one.place is None and (one.sure != "doubted" or self.asked)):
                self.found.change(one, place=named[0])

    def _maybe_there_too(self, clause: Clause) -> None:
        """'5 silver, 3 maybe': the danger may be on the other plug as well."""
        named = [item.value for item in clause.items if item.tag == "place"]
        bare = clause.has("doubts") and clause.tags <= {"place", "doubts", "empty"} and not clause.question
        if self.found.own_row or not bare or len(named) != 1 or named[0].kind != "listed":
            return
        for one in self.found.of_last_clause():
            if one.what in DANGER and one.place is not None and not one.place.cylinders & named[0].cylinders:
                self.found.seen.append(replace(one, place=named[0], sure="doubted", clause=self.found.count))

    def _goes_on(self, clause: Clause, scope: Scope, found: Sequence[Meant], everything: Sequence[Meant]) -> None:
        """'last time 5 had pepper, now its worse', 'never had silver before but got it now': danger is there now."""
        said = {one.text for one in pieces(self.found.text[slice(*clause.span())])} if self.over else set()
        still = said & WORSE or (clause.has("now") and said & THERE)
        if not found and still and not said & BETTER and not clause.has("negations", "ends"):
            for one in self.over:
                self.found.seen.append(Seen(one, self.where.carried, *clause.span(), self.found.count, "doubted"))
                self.found.ask(self.found.last_at, clause.span()[1], DOUBTED)
        self.over = [one for one in everything if is_danger(one) and one.at in scope.dead | scope.denied]

    def _so_is_another(self, clause: Clause, found: Sequence[Meant]) -> None:
        """'5 isnt lean, 7 is' and 'so is 4': what the clause before said or denied is said of this cylinder."""
        items = clause.items
        tags = {item.tag for item in items}
        isnt = any(item.tag == "negations" and item.value in NOR for item in items)
        if found or not tags <= {"place", "empty", "link", "negations"} or ("negations" in tags and not isnt):
            return
        said = [replace(one, word="none") for one in self.said if one.word in BLACK] if isnt else self.said
        for item in items:
            if item.tag == "place" and (isnt or any(one.value in AUXILIARY for one in items)):
                place = self.where.settled(item.value)
                self.found.seen += [Seen(one, place, item.start, item.end, self.found.count) for one in said]
