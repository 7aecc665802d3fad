"""A note cut into sentences and clauses of understood items, before anything is concluded from them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from engine_rules.note_counts import count_at, number_at
from engine_rules.note_marks import mark_at
from engine_rules.note_places import BOTH, PLUGS, Layout, Place, counted_at, is_list, is_looked_at, listed_at
from engine_rules.note_specks import specks_joined
from engine_rules.note_words import NUMBER_WORDS, WILD, Item, Token, lexicon, phrase_at, tokens_of

STOPS = (".", ";", "!", "?", "\n")
TELLING = ("sign", "adjective", "count", "ask", "ask_sign")
MARKS = ("mark", "line", "marks", "about", "another")
BUT = (
    "but",
    "except",
    "except for",
    "apart from",
    "other than",
    "aside from",
    "besides",
    "excluding",
    "barring",
    "save for",
    "cept",
    "except on",
)
ANEW = ("has", "had", "is", "was", "shows", "got", "which", "that", "does", "did")
PARTS = ("break", "colon")
PRONOUNS = ("they", "those", "theyre")
SMALL = ("the", "for", "on")
DOES = ("does", "do", "did", "is", "are", "was", "were", "has", "have", "had")
TOO = ("rich", "lean", "fat")
OF_SOME = ("of", "plug", "cylinder", "hole", "or", "side", "other")
SIDES = {"l": "left", "r": "right"}
VAGUE = "names no one plug for sure: write it in the rows of its cylinders"
LINKS = ("and", "&", "n", "or", "nor", "+", "/")


@dataclass(frozen=True, slots=True)
class Clause:
    """The items between two commas or the like. lead: the word that parts it from the one before ('but', 'except')."""

    items: tuple[Item, ...]
    lead: str = ""
    question: bool = False
    tags: frozenset[str] = field(init=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "tags", frozenset(item.tag for item in self.items))

    def has(self, *tags: str) -> bool:
        """True where an item carries one of these tags."""
        return not self.tags.isdisjoint(tags)

    def span(self) -> tuple[int, int]:
        """Where it stands in the note."""
        return self.items[0].start, self.items[-1].end


def sentences_of(text: str, layout: Layout) -> list[list[Clause]]:
    """The note's sentences, each a list of clauses."""
    sentences: list[list[Clause]] = [[]]
    items: list[Item] = []
    lead = ""
    found = specks_joined(_items(text, layout))
    for mended in (_named_twice, _named_after, _counts_of_threads, _left_out_joined, _listed_apart, _parted_at_and):
        found = list(mended(found))
    for item in [*found, Item("stop", ".", len(text), len(text))]:
        if item.tag not in ("stop", "break"):
            items.append(item)
            continue
        if items:
            sentences[-1].append(Clause(tuple(items), lead, item.value == "?"))
            items = []
        elif item.value == "?" and sentences[-1]:
            last = sentences[-1][-1]
            sentences[-1][-1] = Clause(last.items, last.lead, True)
        lead = item.value if item.tag == "break" else ""
        if item.tag == "stop" and sentences[-1]:
            sentences.append([])
    return [one for one in sentences if one]


def _named_twice(items: Sequence[Item]) -> Iterator[Item]:
    """Items without a vague name of cylinders that are listed beside it.

    'rear pair 7 & 8', '1 and 2 (front two)', 'all of the odds'.
    """
    unplaced = lexicon().table["unplaced"]
    for at, item in enumerate(items):
        if item.tag == "ask" and item.value in (unplaced, VAGUE):
            beside = [*items[max(at - 3, 0) : at], *items[at + 1 : at + 3]]
            if any(one.value == "is" for one in beside):
                beside = [*items[max(at - 4, 0) : at]]  # '6 is the problem child'
        elif item.tag == "place" and item.value.kind == "all":
            beside = [one for one in items[at + 1 : at + 4] if one.value not in ("of", *SMALL)][:1]
        else:
            beside = []
        if not any(one.tag == "place" and one.value.kind == "listed" for one in beside):
            yield item


def _named_after(items: Sequence[Item]) -> Iterator[Item]:
    """Items with the cylinders of '2 of them have pepper, 5 and 7' put where they are only counted."""
    for at, item in enumerate(items):
        if item.tag == "place" and item.value.kind == "unknown":
            parted = next((other for other in range(at, len(items)) if items[other].tag in PARTS), len(items))
            named = [one for one in items[parted + 1 : parted + 3] if one.tag != "stop"]
            if [one.tag for one in named[:2]] in (["place"], ["place", "break"]) and named[0].value.kind == "listed":
                item = replace(item, value=named[0].value)
        yield item


def _counts_of_threads(items: Sequence[Item]) -> Iterator[Item]:
    """Items with the number behind a place made a count where threads are spoken of: 'three threads. Others: two'."""
    threads, before = False, "stop"
    for item in items:
        if item.tag in ("part", "count", "sign"):
            threads = "threads" in (item.value if item.tag != "count" else (item.value.unit,))
        bare = item.tag == "place" and len(item.value.cylinders) == 1 and not item.value.sure
        if threads and bare and before == "place":
            item = Item("number", float(next(iter(item.value.cylinders))), item.start, item.end)
        before = "place" if item.value in PRONOUNS else before if item.tag in ("colon", "empty") else item.tag
        yield item


def _parted_at_and(items: list[Item]) -> Iterator[Item]:
    """Items with 'and' made a break where another place follows: '5 fat and 7 lean', 'few on 7 and lots on 5'."""
    told, items = False, [*items, Item("stop", ".", 0, 0)]
    for at, item in enumerate(items[:-1]):
        told = (told or item.tag in TELLING) and item.tag not in ("stop", "break")
        if item.value == "so" and told and items[at + 1].value in DOES:
            yield Item("break", ",", item.start, item.start)
        if item.tag == "link" and told and item.value not in ("or", "nor") and _turns_elsewhere(items[at + 1 :]):
            yield Item("break", "and", item.start, item.end)
            told = False
        else:
            yield item


def _listed_apart(items: list[Item]) -> Iterator[Item]:
    """Items with a break before each place of a list of places and amounts: 'specks 5 few, 7 many rest none'."""
    for at, item in enumerate(items):
        if item.tag == "place" and 0 < at < len(items) - 1:
            before, behind = items[at - 1], items[at + 1]
            amounts = {before.tag, behind.tag} <= {"amount", "negations"}
            nones = [one for one in (before, behind) if one.value in ("none", "nothing", "nil")]
            if amounts or (nones and item.value.kind == "listed" and "sign" in (before.tag, behind.tag)):
                yield Item("break", ",", item.start, item.start)
        yield item


def _turns_elsewhere(behind: Sequence[Item]) -> bool:
    anew = False
    while behind and behind[0].tag == "empty":
        anew, behind = anew or behind[0].value in ANEW, behind[1:]
    if behind and behind[0].tag == "place" and anew:
        return True
    if behind and behind[0].tag == "place":
        # 'on 5 and on 7' goes on about the same sign
        ends = next((at for at, item in enumerate(behind) if item.tag in ("stop", "break")), len(behind))
        told = any(item.tag not in ("place", "empty", "link", "now", "past") for item in behind[:ends])
        return told or any(item.value in (*ANEW, "too", "also") for item in behind[:ends])
    if not behind or behind[0].tag != "amount":
        return False
    following = next((item for item in behind[1:] if item.tag != "empty"), None)
    return following is not None and following.tag == "place"


def _left_out_joined(items: Sequence[Item]) -> Iterator[Item]:
    """Items with 'all but 3' made one place."""
    at = 0
    while at < len(items):
        joined = _all_but(items, at)
        if joined is None:
            yield items[at]
            at += 1
            continue
        yield joined[0]
        at = joined[1]
        if at < len(items) and items[at].value in ("which", "that", "who"):
            # 'all but 7 which is white'
            yield Item("break", "but", items[at].start, items[at].start)
            yield Item("place", Place("listed", joined[0].value.besides), items[at].start, items[at].end)


def _all_but(items: Sequence[Item], at: int) -> tuple[Item, int] | None:
    """'all but 3' as one place, and the place behind it; not '... but 3 has', which starts anew."""
    if items[at].tag != "place":
        return None
    pair = [items[at], *(item for item in items[at + 1 : at + 3] if item.value not in SMALL)][:2]
    if [one.tag for one in pair] == ["place", "place"] and pair[0].value.kind == "but":
        left = Place("listed", pair[0].value.cylinders - pair[1].value.cylinders, True, pair[1].value.cylinders)
        return Item("place", left, pair[0].start, pair[1].end), items.index(pair[1]) + 1
    near = [other for other in range(at, min(at + 5, len(items))) if items[other].value not in SMALL][:3]
    part = [items[other] for other in near]
    if [one.tag for one in part] != ["place", "break", "place"] or part[1].value not in BUT:
        return None
    whole, named, behind = part[0].value, part[2].value.cylinders, near[-1] + 1
    leads = at == 0 or items[at - 1].tag in ("stop", "break")
    anew = not leads and behind < len(items) and items[behind].value in ANEW
    if anew or not named < whole.cylinders:
        return None
    return Item("place", Place("listed", whole.cylinders - named, True, named), part[0].start, part[2].end), behind


def _items(text: str, layout: Layout) -> list[Item]:
    tokens = tokens_of(text)
    found: list[Item] = []
    sides = _sides_named(tokens) if layout.own is None else frozenset()
    at = 0
    while at < len(tokens):
        tag, value, behind = _item_at(tokens, at, layout)
        if behind == at + 1 and layout.own is None and _is_side(tokens, at, sides):
            tag, value = "place", layout.named(SIDES.get(tokens[at].text, tokens[at].text))
        found.append(Item(tag, value, tokens[at].start, tokens[behind - 1].end))
        at = behind
    return found


def _is_side(tokens: Sequence[Token], at: int, sides: frozenset[str]) -> bool:
    """True for a 'left' that names a bank: one that `sides` holds, or the end of 'on the left'."""
    before, text = tokens[at - 1].text if at else "", tokens[at].text
    if text in sides and (not before.isalpha() or len(text) == 1):
        return True
    ends = at + 1 == len(tokens) or not tokens[at + 1].text.isalnum() or tokens[at + 1].text in ("and", "are", "have")
    return text in ("left", "right") and ends and before in ("the", "on") and at > 1 - (before == "on")


def _sides_named(tokens: Sequence[Token]) -> frozenset[str]:
    """'left' and 'right' where the note names one of them as a bank, or begins clauses with both."""
    texts = [token.text for token in tokens]
    bank = any(one in ("left", "right") and other in ("bank", "side") for one, other in pairwise(texts))
    leads = {
        text for at, text in enumerate(texts) if text in ("left", "right") and (at == 0 or not texts[at - 1].isalpha())
    }
    both = {"l", "r"} <= set(texts) and not {"f", "jet", "jets"} & set(texts)
    return frozenset(leads if bank or len(leads) == BOTH else ()) | frozenset(SIDES if both else ())


def _item_at(tokens: Sequence[Token], at: int, layout: Layout) -> tuple[str, object, int]:
    """Tag, value and the place behind it: the longest of a phrase, a count and a list of cylinders."""
    if tokens[at].text == "x" and at + 1 < len(tokens) and tokens[at + 1].number is not None:
        whole = tokens[at + 1].number == len(layout.cylinders)
        return ("place", layout.named("all"), at + 2) if whole else ("empty", "x", at + 2)
    if tokens[at].text == ")" and all(one.text != "(" for one in tokens[:at]):
        return "colon", ":", at + 1  # '3) pepper'
    count, place = count_at(tokens, at), counted_at(tokens, at, layout) or listed_at(tokens, at, layout)
    bare = place is not None and layout.own is None and (at == 0 or tokens[at - 1].text not in MARKS)
    measured = bare or (count is not None and count[0].unit == "")
    phrase = phrase_at(
        tokens, at, lambda one, behind: _counted(tokens, behind, one.words) or (measured and one.words[0] in WILD)
    )
    mark = mark_at(tokens, at)
    longest = max(one[1] for one in (count, place, phrase, mark, (None, at)) if one is not None)
    if mark is not None and mark[1] == longest:
        if not mark[0]:
            return ("empty", "toward", longest) if mark[0] == "" else ("ask", lexicon().table["height"], longest)
        return "sign", ("strap_mark", mark[0]), longest
    if phrase is not None and phrase[1] == longest:
        if phrase[0].tag != "place":
            return phrase[0].tag, phrase[0].value or " ".join(phrase[0].words), phrase[1]
        if phrase[0].words == ("one",) and (layout.own is not None or _one_of_many(tokens, phrase[1])):
            return "amount", "few", phrase[1]
        if _names_none(tokens, at, phrase[0].words, phrase[1], layout.own is not None):
            return "empty", phrase[0].words[0], phrase[1]
        if phrase[0].words == ("one",) and _counts_up(tokens, at):
            return "place", Place("listed", frozenset((1,))), phrase[1]
        named = layout.named(phrase[0].value)
        return ("place", named, phrase[1]) if named else ("ask", lexicon().table["unplaced"], phrase[1])
    if count is not None and (place is None or count[1] >= place[1]):
        return "count", count[0], count[1]
    if place is not None:
        return "place", place[0], place[1]
    return _mark(tokens, at)


def _names_side(tokens: Sequence[Token], at: int) -> bool:
    """True for 'mag side', which names cylinders in a way of the racer's own."""
    unknown = tokens[at].text.isalpha() and tokens[at].text not in lexicon().vocabulary
    return unknown and at + 1 < len(tokens) and tokens[at + 1].text in ("side", "bank", "row")


def _clipped(tokens: Sequence[Token], at: int) -> bool:
    """True for the stop behind 'alum', which ends no sentence."""
    return at + 1 < len(tokens) and tokens[at - 1].text in lexicon().table["words"]["clipped"]


def _counted(tokens: Sequence[Token], behind: int, words: Sequence[str]) -> bool:
    """True where the words go on or mean another thing: 'ring .5' mm, 'pulled 1' and 3, 'spot on' it."""
    if tuple(words) == ("spot", "on"):
        return behind < len(tokens) and tokens[behind].text.isalnum()
    if words[0] == "two" and words[-1] in TOO:  # 'two rich' may be 'too rich', where no other cylinder is named
        return behind > len(words) or any(_is_number(token) for token in tokens[behind:])
    if tuple(words) == ("missing", "on"):  # on the cylinder whose strap is missing
        before = [lexicon().single.get(token.text) for token in tokens[max(behind - 5, 0) : behind]]
        return any(phrase is not None and phrase.tag == "part" for phrase in before)
    ends_in_number = words[-1] in (*WILD, *NUMBER_WORDS) and len(words) > 1
    last = behind - 1
    goes_on = ends_in_number and (is_list(tokens, last) or is_looked_at(tokens, last))
    return goes_on or (ends_in_number and count_at(tokens, last) is not None)


def _names_none(tokens: Sequence[Token], at: int, words: Sequence[str], behind: int, own: bool) -> bool:
    """True for the 'one' of 'the hot one', the 'all' of 'its all tan' and, in a row of its own, 'both'."""
    if words == ("one",):
        return _stands_for(tokens, at)
    if words[0] == "any":
        return own or _any_of_a_thing(tokens, at, behind)
    if words == ("all",):
        return own or (at > 0 and tokens[at - 1].text in ("is", "was", "its"))
    return own and words in (("both",), ("everything",))


def _counts_up(tokens: Sequence[Token], at: int) -> bool:
    """True for the 'one' of 'pepper on one, lots on two', which is a cylinder as two is."""
    on = [
        place
        for place in range(1, len(tokens))
        if tokens[place - 1].text == "on" and tokens[place].text in NUMBER_WORDS
    ]
    plain = [place for place in on if place + 1 == len(tokens) or tokens[place + 1].text not in (*OF_SOME, *PLUGS)]
    return at in plain and any(tokens[place].text != "one" for place in plain)


def _is_number(token: Token) -> bool:
    return token.number is not None or token.text in NUMBER_WORDS


def _stands_for(tokens: Sequence[Token], at: int) -> bool:
    """True for the 'one' of 'the hot one' and '7 has one too'."""
    before = [token.text for token in tokens[max(at - 3, 0) : at]]
    return "the" in before or "that" in before or before[-1:] in (["has"], ["had"], ["got"])


def _any_of_a_thing(tokens: Sequence[Token], at: int, behind: int) -> bool:
    """True for the 'any' of 'hasnt got any specks', which names no plugs."""
    on = at > 0 and tokens[at - 1].text in ("on", "in", "of", "for", "from")
    return behind == at + 1 < len(tokens) and not on and tokens[behind].text.isalpha() and tokens[behind].text != "of"


def _one_of_many(tokens: Sequence[Token], behind: int) -> bool:
    """True for the 'one' of 'one speck', which is no plug."""
    near = [token.text for token in tokens[behind : behind + 3]]
    return any(text == "side" or text in lexicon().grains for text in near)


def _mark(tokens: Sequence[Token], at: int) -> tuple[str, object, int]:
    token = tokens[at]
    before = tokens[at - 1].end if at else -1
    after = tokens[at + 1].start if at + 1 < len(tokens) else len(tokens[-1].text) + token.end + 1
    spaced = before < token.start and token.end < after
    if token.text == "." and at and tokens[at - 1].end == token.start and _clipped(tokens, at):
        return "empty", token.text, at + 1
    if token.text in STOPS:
        return "stop", token.text, at + 1
    if token.text.startswith(".."):
        return "break", token.text, at + 1
    if token.text in ("-", "/", "=", "~", '"') and spaced:
        return "break", token.text, at + 1
    if token.text == ":":
        return "colon", ":", at + 1
    if _names_side(tokens, at):
        return "ask", lexicon().table["unplaced"], at + 2
    if token.text in LINKS:
        return "link", token.text, at + 1
    if token.number is not None or token.text in NUMBER_WORDS:
        number = number_at(tokens, at)
        if number is not None and number[0] % 1:
            return "number", number[0], number[1]
        return "number", float(NUMBER_WORDS.get(token.text, token.number or 0.0)), at + 1
    if token.text in lexicon().table["words"]["empty"] or not token.text.isalpha():
        return "empty", token.text, at + 1
    return "unknown", token.text, at + 1
