"""What a clause says of its own words: which count, which are denied, which are doubted."""

from __future__ import annotations

from dataclasses import dataclass

from engine_rules.note_clauses import Clause
from engine_rules.note_words import Item, lexicon

FAR = 4  # words; a denial further off than this from a word of danger does not take it away
CONTRASTING = ("not", "isnt", "wasnt", "arent")
SPEAKERS = ("i", "we", "you")
SINCE = ("after", "because", "bc", "cause", "since", "from")
TELLING = ("sign", "part", "count")
FOUND = ("got", "found", "saw", "has", "had", "is", "was", "shows", "looks", "looked")
UNTIL = ("until", "till", "til")
SEEKING = ("check", "checked", "checking", "look", "looked", "looking", "watch", "search", "searched", "inspect")
NEVER = ("never", "havent", "hasnt", "never seen", "never saw", "didnt see", "dont see")
RID = ("rid of", "got rid of", "free of", "clear of", "clean of")
SO = ("so", "this", "such", "as")
MODAL = ("means", "mean", "equals", "would", "will", "wont", "gonna", "going to", "should")
NONE = ("none", "no", "nope", "nil", "zero", "nothing", "negative", "0")
DENIABLE = ("sign", "adjective", "conduct", "ask_sign", "ask", "count")
SKIPPED = ("empty", "link", "hedges", "amount", "doubts", "part", "clear", "now", "nearly", "adjective", "place")


@dataclass(slots=True)
class Standing:
    """How long a past, a plan or a condition goes on: they may reach over commas to the end of the sentence."""

    past: bool = False
    condition: bool = False


@dataclass(frozen=True, slots=True)
class Scope:
    """By place in the clause: `dead` items speak of another time or of a wish; `denied` ones are negated, of which
    `contrasted` ones by 'not', as beside what is there instead."""

    dead: frozenset[int]
    denied: frozenset[int]
    contrasted: frozenset[int]
    denied_far: frozenset[int]
    nearly: frozenset[int]
    hedged: bool
    doubted: bool
    undecided: bool


def scope_of(clause: Clause, standing: Standing, own_run: bool) -> Scope:
    """The scope of a clause; `standing` is brought up to date for the next one of the sentence.

    own_run: a run that the clause begins with is the one that the note is of.
    """
    items = clause.items
    denied, far = _denied(items)
    doubts = [item.value for item in items if item.tag == "doubts"]
    return Scope(
        dead=_dead(items, standing, own_run),
        denied=denied,
        contrasted=frozenset(at for at in denied if at and items[at - 1].value in CONTRASTING),
        denied_far=far,
        nearly=frozenset(at + 1 for at, item in enumerate(items) if item.tag == "nearly"),
        hedged=clause.has("hedges") or any(item.tag == "amount" and item.value == "few" for item in items),
        doubted=clause.question or bool(doubts),
        undecided=clause.question or any(said in lexicon().table["scope"]["undecided"] for said in doubts),
    )


def _dead(items: tuple[Item, ...], standing: Standing, own_run: bool) -> frozenset[int]:
    past_at = [at for at, item in enumerate(items) if item.tag == "past" and _tells_time(items, at, own_run)]
    now_at = next((at for at, item in enumerate(items) if item.tag == "now"), None)
    dead: set[int] = set()
    until_then = [at for at in past_at if _then_follows(items, at)]
    if past_at or (standing.past and items[0].tag != "conduct"):
        end = len(items) if now_at is None else now_at if past_at else 0
        if past_at and now_at == past_at[-1] + 1 and now_at == len(items) - 1:
            end = 0  # 'right in Q2 now'
        speaks = next((at for at, item in enumerate(items) if item.value in SPEAKERS), len(items))
        end = next((at for at in range(speaks, end) if items[at].tag == "colon"), end)  # 'before that I looked: '
        # 'glazed after the fuel of last week', 'new plugs since the old ones were oily'
        last = past_at[0] if past_at else 1
        begin = max((at for at in range(1, min(last + 1, end)) if items[at].value in SINCE), default=0)
        dead.update(range(begin, end))
        # 'idled around before I could get it in'
        dead -= {at for at in range(max(until_then, default=0)) if items[at].tag == "conduct"}
    led = next((at for at, item in enumerate(items) if item.tag != "empty"), 0)
    begins = bool(past_at) and (past_at[0] == led or (past_at[0] == 1 and any(item.tag in TELLING for item in items)))
    standing.past = (standing.past or begins) and now_at is None
    # 'went from lean to right on'
    dead.update(at + 1 for at in range(len(items) - 2) if items[at].value == "from" and items[at + 2].value == "to")
    until = next((at for at, item in enumerate(items) if item.value in UNTIL), len(items))
    if until + 1 < len(items) and items[until + 1].tag == "now":
        # 'never had pepper until now'
        return frozenset(dead | set(range(until)))
    for at, item in enumerate(items):
        if item.tag == "compared" and at == 0:
            # 'unlike 5 this one is tan'
            dead.add(next((other for other in range(len(items)) if items[other].tag == "place"), 0))
            continue
        if item.tag in ("future", "compared") or item.tag == "conditions" or standing.condition or _seeks(items, at):
            said = item.value in MODAL and at > 0 and items[at - 1].tag == "sign"
            dead.update(range(at - said, _plan_ends(items, at) if item.tag == "future" else len(items)))
            opens = all(one.tag == "empty" for one in items[:at])
            standing.condition = standing.condition or (item.tag == "conditions" and opens)
            break
    return frozenset(dead)


def _then_follows(items: tuple[Item, ...], at: int) -> bool:
    """True for a 'before' behind which something is said to have come later."""
    return str(items[at].value).startswith("before") and at + 1 < len(items) and at > 0


def _plan_ends(items: tuple[Item, ...], at: int) -> int:
    """Where what is planned or wished gives way to what is: '6 needs a look: strap gone', 'expected tan and got'."""
    for other in range(at + 1, len(items) - 1):
        if items[other].tag == "colon" or (items[other].tag == "link" and items[other + 1].value in FOUND):
            return other
        if items[other].value in ("as", *SINCE) and _place_follows(items, other):
            return other  # 'will pull 2 as 5 was peppered'
    return len(items)


def _seeks(items: tuple[Item, ...], at: int) -> bool:
    """True for the 'for' of 'check all of them for cracks'."""
    if items[at].value != "for" or any(item.value in NONE for item in items[at:]):
        return False
    return any(item.value in SEEKING for item in items[max(at - 4, 0) : at])


def _tells_time(items: tuple[Item, ...], at: int, own_run: bool) -> bool:
    """False where the time is only compared with ('as last pass'), or is the day or the run of the note itself."""
    said = str(items[at].value)
    if at == 0 and ((said.endswith("day") and said != "yesterday") or (own_run and said.endswith("{n}"))):
        return False
    if said.endswith("{n}") and at and items[at - 1].value == "after":
        return False
    if said in ("that had", "that was") and any(item.value == "it" for item in items[:at]):
        return False  # 'was it 5 or 6 that had the blisters'
    if said == "at first" and any(item.value == "thought" for item in items[:at]):
        return False  # 'thought it was oil at first' is of this plug
    before = [item for item in items[:at] if item.tag != "empty"]
    last = items[at - 1] if at else None
    return not (
        (before and before[-1].tag in ("beside", "compared"))
        or (last is not None and last.value in ("as", "like", "from", "for"))
    )


def _denied(items: tuple[Item, ...]) -> tuple[frozenset[int], frozenset[int]]:
    """Places of the signs denied, and of those a denial stands before at some distance."""
    denied: set[int] = set()
    far: set[int] = set()
    since: int | None = None
    for at, item in enumerate(items):
        if item.tag == "negations" and (item.value in RID or _denied_rid(items, at)):
            since = None if _denied_rid(items, at) or _is_denied(items, at) else 0
        elif item.tag == "negations" and not _marvels(items, at):
            since = 0
        elif item.tag in DENIABLE or (item.tag == "part" and item.value != "plug" and since == 0):
            if since is not None:
                (denied if since <= FAR else far).add(at)
                since = _carried(items, at, item)
        elif item.value in SPEAKERS or (item.value in ("as", *SINCE) and _place_follows(items, at)):
            since = None  # 'without the glass I can see pepper'
        elif since is not None:
            since += 1 if item.tag not in SKIPPED else 0
    ends = [
        at for at, item in enumerate(items) if (item.tag == "ends" or _gone(items, at)) and not _is_denied(items, at)
    ]
    none_at = _ends_in_none(items)
    ends += [] if none_at is None else [none_at]
    for end in ends:
        before = [at for at in range(end) if items[at].tag in ("sign", "adjective")]
        denied.update(before[-1:])
    return frozenset(denied), frozenset(far)


def _is_denied(items: tuple[Item, ...], at: int) -> bool:
    """True for the 'gone away' of 'pepper hasnt gone away' and the 'rid of' of 'cant get rid of the pepper'."""
    for item in reversed(items[max(at - 3, 0) : at]):
        if item.tag in TELLING:
            return False
        if item.tag == "negations":
            return True
    return False


def _denied_rid(items: tuple[Item, ...], at: int) -> bool:
    """True for the 'cant' of 'cant get rid of'."""
    return any(item.value in RID for item in items[at + 1 : at + 4])


def _place_follows(items: tuple[Item, ...], at: int) -> bool:
    """True for the 'as' of 'didnt lean it out as 5 was peppered', behind which nothing is denied."""
    return at + 1 < len(items) and items[at + 1].tag == "place"


def _marvels(items: tuple[Item, ...], at: int) -> bool:
    """True for the 'never' of 'never saw it this tan', which denies nothing."""
    return items[at].value in NEVER and any(item.value in SO for item in items[at + 1 : at + 4])


def _gone(items: tuple[Item, ...], at: int) -> bool:
    """True for the 'gone' of 'pepper gone'; a strap that is gone is another matter."""
    if at and items[at - 1].tag == "nearly":
        return False
    item, before = items[at], [one for one in items[:at] if one.tag in ("sign", "part", "adjective")]
    if item.tag != "adjective" or item.value.get("specks") != "specks: none" or not before:
        return False
    return before[-1].tag == "sign" and before[-1].value[0] in ("specks", "porcelain")


def _ends_in_none(items: tuple[Item, ...]) -> int | None:
    """Where the 'none' of 'pepper: none' and 'specks none anywhere' stands."""
    at = next((at for at in range(len(items) - 1, 0, -1) if items[at].tag not in ("place", "empty", "now")), 0)
    before = [item for item in items[:at] if item.tag not in ("empty", "colon", "place")]
    told = bool(before) and before[-1].tag in ("sign", "adjective") and items[at].value in NONE
    return at if told and not any(one.tag == "place" and one.value.kind != "all" for one in items[:at]) else None


def _carried(items: tuple[Item, ...], at: int, item: Item) -> int | None:
    """A denial goes on over 'or' and 'nor', and over 'and' to what it can hardly be parted from; not over a noun."""
    if item.tag in ("part", "adjective") and at + 1 < len(items) and items[at + 1].tag in ("sign", "adjective", "part"):
        return 0
    following = items[at + 1] if at + 1 < len(items) else None
    return 0 if following is not None and following.tag == "link" and following.value in ("or", "nor") else None
