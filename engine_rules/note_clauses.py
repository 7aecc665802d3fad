"""A note cut into sentences and clauses of understood items, before anything is concluded from them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from engine_rules.note_counts import count_at
from engine_rules.note_marks import mark_at
from engine_rules.note_places import BOTH, Layout, Place, counted_at, is_list, listed_at
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
    "save for",
    "cept",
    "except on",
)
ANEW = ("has", "had", "is", "was", "shows", "got", "which", "that")
LINKS = ("and", "&", "n", "or", "nor", "+", "/")


@dataclass(frozen=True, slots=True)
class Clause:
    """The items between two commas or the like. lead: the word that parts it from the one before ('but', 'except')."""

    items: tuple[Item, ...]
    lead: str = ""
    question: bool = False

    def has(self, *tags: str) -> bool:
        """True where an item carries one of these tags."""
        return any(item.tag in tags for item in self.items)

    def span(self) -> tuple[int, int]:
        """Where it stands in the note."""
        return self.items[0].start, self.items[-1].end


def sentences_of(text: str, layout: Layout) -> list[list[Clause]]:
    """The note's sentences, each a list of clauses."""
    sentences: list[list[Clause]] = [[]]
    items: list[Item] = []
    lead = ""
    found = _parted_at_and(list(_listed_apart(list(_left_out_joined(specks_joined(_items(text, layout)))))))
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


def _parted_at_and(items: list[Item]) -> Iterator[Item]:
    """Items with 'and' made a break where another place follows: '5 fat and 7 lean', 'few on 7 and lots on 5'."""
    told = False
    for at, item in enumerate(items):
        told = (told or item.tag in TELLING) and item.tag not in ("stop", "break")
        if item.tag == "link" and told and item.value not in ("or", "nor") and _turns_elsewhere(items[at + 1 :]):
            yield Item("break", "and", item.start, item.end)
            told = False
        else:
            yield item


def _listed_apart(items: list[Item]) -> Iterator[Item]:
    """Items with a break before each place of a list of places and amounts: 'specks 5 few, 7 many rest none'."""
    for at, item in enumerate(items):
        between = item.tag == "place" and 0 < at < len(items) - 1
        if between and all(items[near].tag in ("amount", "negations") for near in (at - 1, at + 1)):
            yield Item("break", ",", item.start, item.start)
        yield item


def _turns_elsewhere(behind: Sequence[Item]) -> bool:
    while behind and behind[0].tag == "empty":
        behind = behind[1:]
    if behind and behind[0].tag == "place":
        return True
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
    pair = items[at : at + 2]
    if [one.tag for one in pair] == ["place", "place"] and pair[0].value.kind == "but":
        left = pair[0].value.cylinders - pair[1].value.cylinders
        return Item("place", Place("listed", left, True, pair[1].value.cylinders), pair[0].start, pair[1].end), at + 2
    near = [other for other in range(at, min(at + 4, len(items))) if items[other].value not in ("for", "on")][:3]
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
            tag, value = "place", layout.named(tokens[at].text)
        found.append(Item(tag, value, tokens[at].start, tokens[behind - 1].end))
        at = behind
    return found


def _is_side(tokens: Sequence[Token], at: int, sides: frozenset[str]) -> bool:
    """True for a 'left' that names a bank: one that `sides` holds, or the end of 'on the left'."""
    before, text = tokens[at - 1].text if at else "", tokens[at].text
    if text in sides and not before.isalpha():
        return True
    ends = at + 1 == len(tokens) or not tokens[at + 1].text.isalnum() or tokens[at + 1].text == "and"
    return text in ("left", "right") and ends and before in ("the", "on") and at > 1 - (before == "on")


def _sides_named(tokens: Sequence[Token]) -> frozenset[str]:
    """'left' and 'right' where the note names one of them as a bank, or begins clauses with both."""
    texts = [token.text for token in tokens]
    bank = any(one in ("left", "right") and other in ("bank", "side") for one, other in pairwise(texts))
    leads = {
        text for at, text in enumerate(texts) if text in ("left", "right") and (at == 0 or not texts[at - 1].isalpha())
    }
    return frozenset(leads) if bank or len(leads) == BOTH else frozenset()


def _item_at(tokens: Sequence[Token], at: int, layout: Layout) -> tuple[str, object, int]:
    """Tag, value and the place behind it: the longest of a phrase, a count and a list of cylinders."""
    count, place = count_at(tokens, at), counted_at(tokens, at, layout) or listed_at(tokens, at, layout)
    bare = place is not None and layout.own is None and (at == 0 or tokens[at - 1].text not in MARKS)
    measured = bare or (count is not None and count[0].unit == "")
    phrase = phrase_at(
        tokens, at, lambda one, behind: _counted(tokens, behind, one.words) or (measured and one.words[0] in WILD)
    )
    mark = mark_at(tokens, at)
    longest = max(one[1] for one in (count, place, phrase, mark, (None, at)) if one is not None)
    if mark is not None and mark[1] == longest:
        return "sign", ("strap_mark", mark[0]), longest
    if phrase is not None and phrase[1] == longest:
        if phrase[0].tag != "place":
            return phrase[0].tag, phrase[0].value or " ".join(phrase[0].words), phrase[1]
        if phrase[0].words == ("one",) and (layout.own is not None or _one_of_many(tokens, phrase[1])):
            return "amount", "few", phrase[1]
        if phrase[0].words[0] == "any" and layout.own is not None:
            return "empty", "any", phrase[1]
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
    """True where the words go on: 'ring .5' mm, 'pulled 1' and 3, 'spot on' it."""
    if tuple(words) == ("spot", "on"):
        return behind < len(tokens) and tokens[behind].text.isalnum()
    ends_in_number = words[-1] in (*WILD, *NUMBER_WORDS) and len(words) > 1
    return ends_in_number and (count_at(tokens, behind - 1) is not None or is_list(tokens, behind - 1))


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
    if token.number is not None:
        return "number", token.number, at + 1
    if token.text in NUMBER_WORDS:
        return "number", float(NUMBER_WORDS[token.text]), at + 1
    if token.text in lexicon().table["words"]["empty"] or not token.text.isalpha():
        return "empty", token.text, at + 1
    return "unknown", token.text, at + 1
