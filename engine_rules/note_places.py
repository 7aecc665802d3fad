"""Which cylinders a note names: numbers, ranges, lists, banks, corners and middles; and what only looks like one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from engine_rules.note_counts import count_at
from engine_rules.note_words import COUNT_WORDS, NUMBER_WORDS, Token, lexicon

THROUGH = ("-", "thru", "through", "to")
AND = (",", "&", "+", "/", "and", "n", "or", "nor")
BOTH = 2
GLUED = 3  # digits; four and more written together may be a list
ENGINE = ("cyl", "cylinder", "cylinders", "banger", "pot")
DENIALS = ("no", "not", "none", "without", "neither", "nothing", "didnt", "isnt", "wasnt", "never", "w/o")
PLUGS = ("plugs", "cylinders", "cyls", "holes", "ones")
GROUPS = ("odds", "evens", "corners", "middles", "left", "right", "ends", "outers", "inners")
THEM = ("them", "em")
LIKE = ("as", "like")
THIS = ("this", "last", "that", "same", "next")
LEADING = {
    "run": THIS,
    "pass": THIS,
    "hit": THIS,
    "time": THIS,
    "of": ("out", "side", "end", "all", "both", "each"),
    "at": ("look", "looked", "looking", "peeked"),
    "about": ("sure", "worried", "concerned", "idea", "unsure", "question", "wonder", "wondering", "doubt"),
}
SHOWED = ("and", "&", ",", "showed", "showing", "have", "with", "all")
HAS = ("has", "had", "is", "was", "looks", "shows", "got", "gets", "also", "too")


@dataclass(frozen=True, slots=True)
class Place:
    """Cylinders meant. kind: 'listed', 'all', 'rest', 'last' (those just named) or 'unknown'.

    sure: named as a cylinder, not by a bare number. besides: those left out of it by name. count: how many of the last.
    """

    kind: str
    cylinders: frozenset[int]
    sure: bool = True
    besides: frozenset[int] = frozenset()
    count: int = 0


@dataclass(frozen=True, slots=True)
class Layout:
    """The engine's cylinders as notes name them. banks: 'L' and 'R' (or '' inline) -> numbers, front to rear."""

    cylinders: tuple[int, ...]
    banks: Mapping[str, tuple[int, ...]]
    own: int | None = None

    def named(self, name: str) -> Place | None:
        """The cylinders of a name of [places] of notes.toml; None where this engine has no such place."""
        everything = frozenset(self.cylinders)
        rows = self.banks.values()
        ends = frozenset(number for row in rows if row for number in (row[0], row[-1]))
        named = {
            "all": everything,
            "rest": everything,
            "unknown": everything,
            "both": everything,
            "but": everything,
            "corners": ends,
            "middles": everything - ends,
            "left": frozenset(self.banks.get("L", ())),
            "right": frozenset(self.banks.get("R", ())),
            "odds": frozenset(number for number in self.cylinders if number % 2),
            "evens": frozenset(number for number in self.cylinders if number % 2 == 0),
        }[name]
        if name == "both" and len(everything) > BOTH:
            return Place("last", everything, count=BOTH)
        kind = name if name in ("all", "rest", "unknown", "but") else "listed"
        return Place(kind, named) if named else None


def counted_at(tokens: Sequence[Token], at: int, layout: Layout) -> tuple[Place, int] | None:
    """'The other six', 'all three' or 'two of them', and the place behind it; None for what counts no plugs."""
    everything = frozenset(layout.cylinders)
    first = tokens[at].text
    if not (first in ("other", "remaining", "all", "these", "those") or _how_many(first)):
        return None
    start = at + (first in ("other", "remaining", "all", "these", "those"))
    count = _how_many(tokens[start].text) if start < len(tokens) else None
    if count is None:
        return None
    behind = _of_them(tokens, start + 1)
    if first in ("other", "remaining"):
        return Place("rest", everything), behind
    if behind < len(tokens) and tokens[behind].text in ("corners", "middles"):
        return None
    if start > at and count > 1 and (behind > start + 1 or not _cylinder_goes_on(tokens, behind)):
        whole = count >= len(everything)
        return (Place("all", everything) if whole else Place("last", everything, count=count)), behind
    words = [token.text for token in tokens[start + 1 : start + 4]]
    of_all = words[:1] == ["of"] and words[1:2] and _how_many(words[1]) == len(everything)
    of_group = words[:2] == ["of", "the"] and words[-1] in GROUPS
    if start == at and (behind > start + 1 or (count > 1 and (of_all or of_group or _sort_of_plugs(words)))):
        return Place("unknown", everything), start + 3 if of_all else max(behind, start + 1)
    return None


def _sort_of_plugs(words: Sequence[str]) -> bool:
    """True for the 'peppered plugs' of 'two peppered plugs'."""
    return len(words) > 1 and words[0].isalpha() and words[0] not in AND and words[1] in PLUGS[:2]


def _how_many(text: str) -> int | None:
    if text.isascii() and text.isdigit() and len(text) == 1:
        return int(text)
    return NUMBER_WORDS.get(text, 2 if text in ("couple", "few", "several", "some") else None)


def _of_them(tokens: Sequence[Token], at: int) -> int:
    """The place behind 'of the plugs', 'plugs' or 'of them'; `at` itself where none of it follows."""
    words = [*(token.text for token in tokens[at : at + 4]), "", ""]
    of, behind = words[0] == "of", at + (words[0] == "of")
    if of and words[1] in ("the", "these", "those"):
        behind += 1
    named = words[behind - at]
    if named in PLUGS or (of and (named in THEM or _how_many(named) is not None)):
        return behind + 1
    return behind if words[behind - at - 1] in ("these", "those") else at


def _cylinder_goes_on(tokens: Sequence[Token], at: int) -> bool:
    """True where a number that 'all' stands before begins a list: 'all 3 and 5'."""
    return at + 1 < len(tokens) and tokens[at].text in (*AND, *THROUGH) and tokens[at + 1].text.isdigit()


def listed_at(tokens: Sequence[Token], at: int, layout: Layout) -> tuple[Place, int] | None:
    """A cylinder or a list of them that starts there, and the place behind it; None for a number that is neither."""
    numbers, here = lexicon().table["numbers"], tokens[at].text
    if not here[0].isdigit() and here not in NUMBER_WORDS and here != "from" and here not in numbers["named_by"]:
        return None
    before = tokens[at - 1] if at else None
    start, named = at, False
    if tokens[at].text == "from" and _is_range(tokens, at + 1):
        start, named = at + 1, True
    while start < len(tokens) and (tokens[start].text in numbers["named_by"] or (named and tokens[start].text == ".")):
        start, named = start + 1, True
    all_over = at > 1 and (tokens[at - 2].text, tokens[at - 1].text) == ("all", "over")
    prepared = before is not None and (before.text in numbers["before_place"] or all_over)
    one = start < len(tokens) and tokens[start].text == "one" and not _goes_on(tokens, start, (*AND, *THROUGH))
    spelled = layout.own is None and not one and not _counts_specks(tokens, start)
    first = _cylinder(tokens, start, layout, words=named or prepared or spelled)
    if first is None:
        glued = _glued(tokens[start].text, layout) if start < len(tokens) else frozenset()
        return (Place("listed", glued), start + 1) if glued else None
    if not named and before is not None and _counts_after(tokens, at, prepared):
        return None
    if _names_engine(tokens, start):
        return None
    if not named and not prepared and _of_threads(tokens, at) and not _is_range(tokens, at):
        return None
    named_there = named or prepared
    found, behind = _list_from(tokens, start, first, layout, named or prepared or spelled, prepared)
    if _counts_before(tokens, behind) and not (
        named_there and tokens[behind].text in ("in", "am", "up", "more", "car")
    ):
        return None
    if behind == start + 3 and tokens[start + 1].text == "/" and _share(tokens, behind):
        return None
    sure = named_there or len(found) > 1
    after = tokens[behind].text if behind < len(tokens) else ""
    if layout.own is not None and not sure and after not in HAS and not (before and before.text in LIKE):
        return (Place("listed", frozenset(found)), behind) if _so_is(tokens, at) or after == "next" else None
    either = any(token.text == "or" for token in tokens[start:behind]) and not _denied_before(tokens, at)
    return Place("unknown" if either else "listed", frozenset(found), sure), behind


def _is_count(token: Token) -> bool:
    return token.number is not None or token.text in COUNT_WORDS


def _so_is(tokens: Sequence[Token], at: int) -> bool:
    return at > 1 and tokens[at - 2].text == "so" and tokens[at - 1].text in HAS


def _denied_before(tokens: Sequence[Token], at: int) -> bool:
    """True for the '5 or 7' of 'no silver on 5 or 7'."""
    before = [token.text for token in tokens[max(at - 6, 0) : at]]
    return any(text in DENIALS for text in before) and not any(text in (",", ".", ";", "but") for text in before)


def _glued(text: str, layout: Layout) -> frozenset[int]:
    """The cylinders of '1357' and '3456'; none for such as 1320 and 2000."""
    digits = [int(digit) for digit in text] if text.isascii() and text.isdigit() else []
    rising = len(digits) > GLUED and all(one < other for one, other in pairwise(digits))
    return frozenset(digits) if rising and set(digits) <= set(layout.cylinders) else frozenset()


def _names_engine(tokens: Sequence[Token], at: int) -> bool:
    """True for the number of '4 cyl motor' and 'straight six'."""
    behind = [token.text for token in tokens[at + 1 : at + 3]]
    if at and tokens[at - 1].text in ("straight", "inline", "flat", "slant", "boxer", "v"):
        return True
    return len(behind) == BOTH and behind[0] in ENGINE and behind[1] in ("motor", "engine", "here", "deal")


def _share(tokens: Sequence[Token], behind: int) -> bool:
    """True for the 2/3 of '2/3 of the way'."""
    return any(token.text in ("way", "strap") for token in tokens[behind : behind + 4])


def _counts_specks(tokens: Sequence[Token], at: int) -> bool:
    near = [token.text for token in tokens[at + 1 : at + 4]]
    told = next((place for place, text in enumerate(near) if text in (*HAS, *SHOWED)), len(near))
    return any(text == "little" or text in lexicon().grains for text in near[:told])


def _cylinder(tokens: Sequence[Token], at: int, layout: Layout, words: bool) -> int | None:
    if at >= len(tokens):
        return None
    text = tokens[at].text
    number = (
        int(text) if text.isascii() and text.isdigit() and len(text) < 3 else NUMBER_WORDS.get(text) if words else None
    )
    return number if number in layout.cylinders else None


def _counts_after(tokens: Sequence[Token], at: int, prepared: bool) -> bool:
    """True where what stands before the number makes it a count, a time or a name."""
    before, here = tokens[at - 1], tokens[at]
    if _so_is(tokens, at) or (before.text == "or" and at > 1 and not _is_count(tokens[at - 2])):
        return False
    joined = before.end == here.start
    if before.text in ("+", "-", "$", "/", ":", "@", ".") and joined:
        return not (before.text in "/+-" and at > 1 and tokens[at - 2].text.isdigit() is False and before.text != "+")
    if at > 1 and _leads_to_place(tokens[at - 2].text, before.text):
        return False
    if before.text in ("+", "$"):
        return not (at > 1 and tokens[at - 2].number is not None)
    if prepared:
        return before.text == "in" and at > 1 and tokens[at - 2].text in ("put", "run", "ran", "rounds")
    if before.text in ("pulled", "pull") and (is_list(tokens, at) or is_looked_at(tokens, at)):
        return False
    words = lexicon().table["numbers"]["not_after"]
    return before.text in words or before.text in HAS[:2]


def _leads_to_place(first: str, second: str) -> bool:
    """True for 'this run' and 'look at', behind which a cylinder may stand though 'run' and 'at' come before counts."""
    return first in LEADING.get(second, ()) or (second == "of" and _names_part(first))


def _names_part(text: str) -> bool:
    """True for the 'strap' of 'strap of 7'."""
    phrase = lexicon().single.get(text)
    return phrase is not None and phrase.tag == "part"


def _of_threads(tokens: Sequence[Token], at: int) -> bool:
    """True behind 'threads' or 'threads:'."""
    back = at - 2 if at > 1 and tokens[at - 1].text == ":" else at - 1
    return back >= 0 and tokens[back].text in ("thread", "threads")


def _is_range(tokens: Sequence[Token], at: int) -> bool:
    return _goes_on(tokens, at, THROUGH)


def _goes_on(tokens: Sequence[Token], at: int, joints: Sequence[str]) -> bool:
    following = at + 2 < len(tokens) and tokens[at + 1].text in joints
    return following and (tokens[at + 2].text.isdigit() or tokens[at + 2].text in NUMBER_WORDS)


def _counts_before(tokens: Sequence[Token], behind: int) -> bool:
    if behind >= len(tokens):
        return False
    after, last = tokens[behind], tokens[behind - 1]
    if after.text == "and" and "half" in [token.text for token in tokens[behind + 1 : behind + 3]]:
        return True
    if after.text in ("/", "-", ":", ".", "%", '"', "'") and after.start == last.end:
        following = tokens[behind + 1] if behind + 1 < len(tokens) else None
        return after.text in "%\"'" or (
            following is not None and following.start == after.end and following.text[0].isdigit()
        )
    return _has_unit(tokens, behind)


def _has_unit(tokens: Sequence[Token], behind: int) -> bool:
    if behind >= len(tokens):
        return False
    if tokens[behind].text == "on" and behind + 1 < len(tokens):
        following = tokens[behind + 1].text
        return following.isdigit() or following in (*GROUPS, "all", "rest", *lexicon().table["numbers"]["named_by"])
    return tokens[behind].text in lexicon().table["numbers"]["not_before"]


def _list_from(
    tokens: Sequence[Token], at: int, first: int, layout: Layout, words: bool, prepared: bool
) -> tuple[list[int], int]:
    """The cylinders of the list that starts with `first`, and the place behind the last of them."""
    found, behind = [first], at + 1
    while behind < len(tokens):
        joint = "-" if tokens[behind].text == ".." else tokens[behind].text
        nexts = behind + 1 if joint in (*THROUGH, *AND, "#") else behind
        if joint == "," and nexts < len(tokens) and tokens[nexts].text in ("and", "&"):
            nexts += 1
        spaced = joint == "," and nexts < len(tokens) and tokens[nexts].start > tokens[behind].end
        while nexts < len(tokens) and nexts > behind and tokens[nexts].text in ("#", "cyl", "number"):
            nexts += 1
        number = _cylinder(tokens, nexts, layout, words)
        if nexts == behind and number is not None and tokens[nexts].text.isdigit() != tokens[behind - 1].text.isdigit():
            break
        counted = count_at(tokens, nexts)
        if counted is not None and (counted[0].unit == "threads" or (counted[0].unit and counted[0].amount <= BOTH)):
            break
        if number is None or number in found or _has_unit(tokens, nexts + 1):
            break
        if prepared and joint in ("and", "&") and _singular(tokens, nexts + 1):
            break
        if spaced and prepared and not _list_goes_on(tokens, nexts + 1):
            break
        if joint in THROUGH:
            if number <= found[-1]:
                break
            found.extend(one for one in range(found[-1] + 1, number + 1) if one in layout.cylinders)
        else:
            found.append(number)
        behind = nexts + 1
    return found, behind


def _singular(tokens: Sequence[Token], at: int) -> bool:
    """True for the 'has' of 'pepper on two and three has a few', which begins anew with three."""
    return at < len(tokens) and tokens[at].text in ("has", "is", "was", "shows", "looks")


def is_looked_at(tokens: Sequence[Token], at: int) -> bool:
    """True for the number of 'when I pulled 3 the porcelain was cracked' and 'dad pulled 6'."""
    before = [token.text for token in tokens[max(at - 4, 0) : at]]
    by = lexicon().single.get(before[-2]) if len(before) > 1 else None
    return "when" in before or (by is not None and by.value == "people")


def is_list(tokens: Sequence[Token], at: int) -> bool:
    """True for the '1, 3 and 5' of 'pulled 1, 3 and 5'."""
    goes_on = at + 2 < len(tokens) and tokens[at + 1].text in (*AND, *THROUGH) and tokens[at + 2].number is not None
    longer = goes_on and at + 4 < len(tokens) and tokens[at + 3].text in AND and tokens[at + 4].number is not None
    return longer or (goes_on and _list_goes_on(tokens, at))


def _list_goes_on(tokens: Sequence[Token], at: int) -> bool:
    """True where a comma and a number after 'on 7' still belong to it: 'on 7, 5 and 3', not 'on 7, 5 is clean'."""
    while at < len(tokens) and (tokens[at].number is not None or tokens[at].text in (*AND, *THROUGH)):
        at += 1
    return at >= len(tokens) or tokens[at].text in (".", ";", ")", "\n") or tokens[at - 1].text == ","
