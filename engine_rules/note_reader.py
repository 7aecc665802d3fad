"""A note read clause by clause: what is seen, where, how surely; what is taken back, asked or left alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import zip_longest

from engine_rules.note_asks import Told, open_questions
from engine_rules.note_clauses import Clause
from engine_rules.note_conduct import conduct_of, settled
from engine_rules.note_context import (
    DANGER,
    answer_apart,
    beside_stranger,
    denials_carried,
    is_danger,
    of_another_thing,
    of_others,
    of_the_unknown,
    one_of_two,
    speaks_of_plugs,
    strangers,
)
from engine_rules.note_found import Found
from engine_rules.note_lookback import BLACK, DOUBTED, WITHDRAWN, LookBack
from engine_rules.note_meaning import TOPICS, Meant, amount_alone, furthest, meanings, none_said, topic_at, with_amounts
from engine_rules.note_places import Place
from engine_rules.note_scope import Scope, Standing, scope_of
from engine_rules.note_specks import BRIGHT, FEW_BLACK
from engine_rules.note_where import Whereabouts
from engine_rules.note_withdrawn import CAUSES, at_first_sight, withdraws
from engine_rules.note_words import Item, lexicon

COUNTED = ("strap_mark", "threads", "shell_ring")
ONE_PLUGS = (("also_seen", "strap melted"), ("porcelain", "cracked"))
JUST = ("might just be", "could just be", "may just be", "its just", "probably just")
OURS = ("ours", "mine", "our", "my", "we", "us", "i")
UNSETTLED = "is not settled: write in the columns what you see"
ELSEWHERE = "may be meant of the plugs or of something else: write it in the columns"


@dataclass(slots=True)
class NoteReader:
    """Goes through one note; what it finds gathers as it goes. left: the clauses of which nothing was made."""

    found: Found
    where: Whereabouts
    back: LookBack
    conduct: dict[str, bool] = field(default_factory=dict)
    left: list[str] = field(default_factory=list)
    specks_named: bool = False
    topic: str | None = None
    standing: Standing = field(default_factory=Standing)
    harmless: bool = False
    ours: bool = False
    instead: bool = False
    of_others: bool = False
    heads: bool = False
    headed: bool = False
    led: bool = False

    def sentence(self, clauses: Sequence[Clause], own_run: bool) -> None:
        """Read one sentence; places, topics and times carry from clause to clause within it.

        own_run: a run that it begins with is the one that the note is of.
        """
        # 'odds: thin line. evens: wide'
        self.topic = self.topic if clauses[0].items[0].tag in ("place", "count") else None
        self.standing, self.of_others = Standing(), False
        self.found.begin_sentence()
        self.where.begin(self.heads or (self.led and _of_one_plug(clauses[0])))
        self.heads = _is_heading([item for clause in clauses for item in clause.items])
        self.harmless = any(clause.has("harmless") for clause in clauses)
        self.ours = any(item.value in OURS for clause in clauses for item in clause.items)
        clauses = list(denials_carried(answer_apart(clauses) if self.back.asked else clauses))
        for clause, behind in zip_longest(clauses, clauses[1:]):
            if behind is not None and _is_over(clause, behind):
                self.where.places(clause, set())
                self.topic = topic_at(clause.items, len(clause.items), self.topic)
                continue
            self.instead = any(_is_instead(one) for one in (clause, behind) if one is not None)
            before = self._gathered()
            self._clause(clause, own_run)
            own_run = False
            self.headed = _is_heading(clause.items)
            if self._gathered() == before and clause.has("unknown") and self._may_be_of_plugs(clause):
                start, end = clause.span()
                self.left.append(self.found.text[start:end])
            self.found.count += 1
        carried = self.where.carried
        self.led = carried is not None and carried.kind == "listed" and len(carried.cylinders) == 1

    def _gathered(self) -> int:
        return len(self.found.seen) + len(self.found.praised) + len(self.found.asks) + len(self.conduct)

    def _may_be_of_plugs(self, clause: Clause) -> bool:
        return self.found.own_row or (clause.has("place", "part", "sign") and not clause.has("harmless"))

    def _clause(self, clause: Clause, own_run: bool) -> None:
        items = clause.items
        scope = scope_of(clause, self.standing, own_run)
        everything = with_amounts(
            items, [*meanings(items, self.topic, self.found.own_row or clause.has("place")), *self._spoken_short(items)]
        )
        found = [one for one in everything if one.at not in scope.dead]
        if self._tells_of_others(clause, scope, found):
            found = []
        of_plugs = speaks_of_plugs(clause, self.found.own_row, self.where.carried is not None)
        named = everything or (clause.question and clause.has("part", "adjective"))
        if scope.undecided and of_plugs and named and not found:
            self.found.ask(*clause.span(), UNSETTLED)
        self.back.before(clause, scope, found)
        places = self.where.places(clause, {one.at for one in found})
        if of_plugs:
            for meant in furthest(found, places):
                self._gather(clause, scope, meant, places[meant.at])
        else:
            self._keep_danger(clause, scope, found)
        self.back.behind(clause, scope, found, everything)
        self._conduct(clause, scope)
        self._ask_what_is_open(clause, scope, of_plugs)
        told = next((TOPICS[one.kind] for one in reversed(found) if one.kind in TOPICS), self.topic)
        self.topic = topic_at(items, len(items), told)
        self.found.last_at = clause.span()[0]
        self.specks_named = any(one.kind == "specks" for one in everything) or (self.specks_named and not everything)

    def _tells_of_others(self, clause: Clause, scope: Scope, found: Sequence[Meant]) -> bool:
        """True where another engine is spoken of, or still is: 'his motor blew up, aluminum everywhere'."""
        if of_others(clause):
            self.of_others = clause.has("broke", "sign", "adjective")
            return True
        still = self.of_others and not clause.has("place", "part", "now")
        self.of_others = still and not any(item.value in OURS for item in clause.items)
        if self.of_others and any(is_danger(one) and one.at not in scope.denied for one in found):
            self.found.ask(*clause.span(), ELSEWHERE)
        return self.of_others

    def _spoken_short(self, items: Sequence[Item]) -> Iterator[Meant]:
        """'lots on 5' and 'none on 1-4', which speak of what was named before."""
        if self.found.own_row and not self.found.seen and items[-1].value == "carbon" and _is_all_soot(items):
            yield Meant("porcelain", "sooty", len(items) - 1)
        none = none_said(items, self.topic)
        if none is not None:
            yield none
        if self.specks_named:
            self.back.worsen(items)
        if not self.specks_named or any(
            item.tag in ("sign", "adjective", "count", "unknown") or (item.tag == "part" and item.value != "specks")
            for item in items
        ):
            return
        short = next((at for at, item in enumerate(items) if item.tag in ("amount", "number", "part")), None)
        if short is not None and any(item.tag == "place" for item in items):
            yield Meant(*(amount_alone(items) or FEW_BLACK), short)
        if none is None and any(item.tag == "ends" for item in items):
            yield Meant("specks", "none", 0)

    def _gather(self, clause: Clause, scope: Scope, meant: Meant, places: Sequence[Place | None]) -> None:
        """One sign: dropped, asked about, or kept with its certainty."""
        told = self._as_denied(scope, meant)
        if told is None or self._says_nothing(clause, scope, told, places):
            return
        meant, danger, denied = told, is_danger(told), told.at in scope.denied
        unknown = not denied and any(place is not None and place.kind == "unknown" for place in places)
        if danger and (
            (unknown and self._of_a_thing(clause, meant) and not clause.has("part")) or of_the_unknown(clause, meant)
        ):
            self.found.ask(*clause.span(), ELSEWHERE)
            return
        if danger and not self._speaks_plainly(clause, meant, places):
            self.found.add(clause, meant, None, "doubted")
            self.found.ask(*clause.span(), ELSEWHERE)
            return
        item = clause.items[meant.at]
        either = (one_of_two(clause.items) or (item.tag == "count" and item.value.either)) and not denied
        if meant.kind == "good" and unknown:
            return
        if not danger and (scope.undecided or either or unknown):
            self.found.ask(*clause.span(), UNSETTLED)
            return
        nowhere = not self.found.own_row and list(places) == [None]
        excused = danger and (clause.has("excuses") or (nowhere and beside_stranger(clause, meant)))
        doubted = scope.doubted or either or excused or meant.at in scope.nearly or meant.at in scope.denied_far
        for place in places:
            self._add_there(clause, meant, place, "doubted" if doubted else "hedged" if scope.hedged else "plain")
        if danger and (doubted or unknown):
            self.found.ask(*clause.span(), DOUBTED)

    def _of_a_thing(self, clause: Clause, meant: Meant) -> bool:
        """True where something that is no plug is named beside it; for all but specks anywhere in the sentence."""
        return clause.has("harmless") or (self.harmless and meant.kind != "specks")

    def _as_denied(self, scope: Scope, meant: Meant) -> Meant | None:
        """The sign as a denial leaves it: 'no pepper' is specks none, 'not lean' is nothing at all."""
        if meant.at not in scope.denied and (meant.at not in scope.denied_far or is_danger(meant)):
            return meant
        if meant.kind == "specks" and meant.word in BLACK:
            return None if meant.at in scope.contrasted and self.instead else replace(meant, word="none")
        return meant if meant.kind in ("ring", "shell_ring") and meant.word == "none" else None

    def _says_nothing(self, clause: Clause, scope: Scope, meant: Meant, places: Sequence[Place | None]) -> bool:
        if of_another_thing(clause.items, meant) or self._explains_away(clause, scope, meant):
            return True
        if is_danger(meant) and withdraws(clause, meant.at + 1, wrong=at_first_sight(clause)):
            self.found.ask(*clause.span(), WITHDRAWN)
            return True
        if meant.word == "lean" and self._is_of_soot(clause, meant):
            return True
        # A car is loose or dead as often as a plug is.
        if meant.word in ("loose", "dead") and not self.found.own_row and list(places) == [None]:
            return not clause.has("part")
        return meant.at in scope.nearly and not is_danger(meant) and meant.kind not in COUNTED

    def _is_of_soot(self, clause: Clause, meant: Meant) -> bool:
        """True for the 'dry' of 'black, dry', which speaks of the soot."""
        item = clause.items[meant.at]
        near = [one for one in self.found.seen if one.clause >= self.found.count - 1]
        return self.found.text[item.start : item.end].lower() == "dry" and any(
            one.what == ("porcelain", "sooty") for one in near
        )

    def _speaks_plainly(self, clause: Clause, meant: Meant, places: Sequence[Place | None]) -> bool:
        """False for 'cracked' or 'shiny' in a run's note that names neither a cylinder nor a part of the plug."""
        item = clause.items[meant.at]
        return item.tag != "adjective" or self.found.own_row or list(places) != [None] or clause.has("part", "sign")

    def _explains_away(self, clause: Clause, scope: Scope, meant: Meant) -> bool:
        """True for what tells the cause of the clause before: 'might just be anti seize', 'thats the silver paste'."""
        last = self.found.of_last_clause()
        cause = meant.word in CAUSES or (not is_danger(meant) and clause.items[0].value in JUST)
        if cause and (scope.doubted or clause.has("explained")) and any(one.what in DANGER for one in last):
            return True
        return clause.has("explained") and any(one.meant.word in CAUSES for one in last)

    def _keep_danger(self, clause: Clause, scope: Scope, found: Iterable[Meant]) -> None:
        """A word of danger with one stranger beside it may still be meant of the plugs: kept, and asked about."""
        for meant in found:
            if not is_danger(meant) or meant.at in scope.denied:
                continue
            if clause.has("harmless"):
                pepper = meant.kind == "specks" and meant.word in BLACK and not of_another_thing(clause.items, meant)
                if pepper:
                    self.found.add(clause, meant, None, "doubted")
                if pepper or any(item.value == "engine" for item in clause.items):
                    self.found.ask(*clause.span(), ELSEWHERE)
            elif not beside_stranger(clause, meant):
                if strangers(clause.items) < 2 and not of_another_thing(clause.items, meant):
                    self.found.add(clause, meant, None, "doubted")
                self.found.ask(*clause.span(), ELSEWHERE)

    def _add_there(self, clause: Clause, meant: Meant, place: Place | None, sure: str) -> None:
        # 'no pepper' behind lists of several cylinders is said of the whole set, not of the last of them.
        if meant.word == "none" and not clause.has("place") and self.where.told > 1 and not self.headed:
            place = None
        self.found.add(clause, meant, place, sure)
        if place is not None and place.besides and (meant.kind, meant.word) == ("specks", "none"):
            self.found.add(clause, replace(meant, word="few black"), Place("listed", place.besides), sure)

    def _conduct(self, clause: Clause, scope: Scope) -> None:
        if (
            not (of_others(clause) and (self.ours or any(item.value == "others" for item in clause.items)))
            and not scope.undecided
        ):
            for key, answer in conduct_of(clause, scope, self.harmless, self.found.text):
                self.conduct[key] = settled(key, self.conduct.get(key), answer)

    def _ask_what_is_open(self, clause: Clause, scope: Scope, of_plugs: bool) -> None:
        for at, item in enumerate(clause.items):
            if item.tag == "ask_sign" and of_plugs and at not in scope.dead | scope.denied:
                kind, word, why = item.value
                meant = Meant(kind, word, at)
                if not self._explains_away(clause, scope, meant):
                    self.found.add(clause, meant, self._place_of(clause), "doubted")
                    self.found.ask(item.start, item.end, why)
        now = [one for one in self.found.seen if one.clause == self.found.count]
        told = Told(frozenset(one.meant.kind for one in now), self.topic, of_plugs, self.found.own_row)
        for start, end, why in open_questions(clause, scope, told):
            self.found.ask(start, end, why)
        near = [one for one in self.found.seen if one.clause >= self.found.count - 1]
        white = [one for one in near if one.what == ("porcelain", "white")]
        bare = [one for one in near if one.what == ("ring", "none")]
        if white and bare and white[0].place == bare[0].place:
            start, end = min(white[0].start, bare[0].start), max(white[0].end, bare[0].end)
            self.found.ask(start, end, "may be lean, a short run or the fuel: write strap and specks in their columns")

    def _place_of(self, clause: Clause) -> Place | None:
        named = [item.value for item in clause.items if item.tag == "place"]
        return self.where.settled(named[0]) if named else self.where.carried


def _is_heading(items: Sequence[Item]) -> bool:
    """True for '7.' and 'Pulled #7 only.', which say of what the next sentence speaks."""
    if all(item.tag in ("place", "empty", "colon") for item in items):
        return True
    named = [item.value for item in items if item.tag == "place"]
    plain = all(item.tag in ("place", "empty", "colon", "unknown", "now") for item in items) and strangers(items) < 2
    return plain and len(named) == 1 and named[0].kind == "listed" and named[0].sure


def _is_all_soot(items: Sequence[Item]) -> bool:
    """True for 'carbon' and 'lots of carbon' by themselves, which excuse no specks."""
    return all(item.tag in ("empty", "amount", "hedges", "unknown", "excuses", "adjective") for item in items)


def _of_one_plug(clause: Clause) -> bool:
    """True where a sentence goes on about the plug of the one before: 'strap burned off', 'no plug like it'."""
    told = [item.value for item in clause.items if item.tag in ("part", "sign", "adjective")]
    return bool(told) and told[0] in ("strap", "porcelain", "centre", "plug", *ONE_PLUGS)


def _is_instead(clause: Clause) -> bool:
    """True for the 'silver' of 'not pepper, silver' and the 'tire rubber' of 'tire rubber, not pepper'."""
    signs = [item.value for item in clause.items if item.tag == "sign"]
    return clause.has("excuses") or any(sign == BRIGHT or sign[1] in CAUSES for sign in signs)


def _is_over(clause: Clause, behind: Clause) -> bool:
    """True for the first part of 'was lean, now fat'."""
    was = any(item.value in ("was", "were", "had") for item in clause.items)
    now = "now" in (behind.items[0].value, behind.items[-1].value)
    return was and now and behind.has("sign", "adjective", "negations", "count", "number")


def certainty_of(sure: str) -> float:
    """How far a sign counts, by how it was said."""
    return float(lexicon().table["certainty"][sure])
