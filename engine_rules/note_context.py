"""What a clause of a note is about: the plugs of this engine, or the car, the track and other people's engines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from engine_rules.note_clauses import Clause
from engine_rules.note_meaning import Meant
from engine_rules.note_scope import NONE
from engine_rules.note_words import Item

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


LOOKED = (
    *("found", "saw", "sees", "noticed", "spotted", "pulled", "checked", "looked", "read", "dropped", "cleaned"),
    *("changed", "spots", "finds", "got", "put", "swapped", "gapped", "caught"),
)
OF_GRAINS = (("porcelain", "oily"), ("porcelain", "wet"), ("also_seen", "rubber bits"))
LEADING = ("the", "a", "an", "on", "in", "of", "at", "for", "from", "my", "his")
OF_PLUGS = ("threads", "shell_ring")
APART = ("from", "and", "so", "with", "w/", "by", "off", "after")
WIRES = ("strap", "centre")
BROKEN = (("porcelain", "cracked"), ("also_seen", "strap melted"), ("centre_wire", "melted"))
BLACK = (("specks", "few black"), ("specks", "many black"))


def is_danger(meant: Meant) -> bool:
    """True for a sign of knock, pre-ignition or too much heat."""
    return (meant.kind, meant.word) in DANGER


def of_others(clause: Clause) -> bool:
    """True where another car or engine is spoken of; not where somebody looked at ours: 'son found pepper on 8'."""
    for at, item in enumerate(clause.items):
        if item.tag == "harmless" and item.value in ("others", "people"):
            doing = clause.items[at + 1].value if at + 1 < len(clause.items) else None
            if item.value == "others" or doing not in LOOKED:
                return True
    return False


def speaks_of_plugs(clause: Clause, own_row: bool, place_carried: bool) -> bool:
    """False for clauses about the car, the track or the crew. own_row: the note stands in a cylinder's row."""
    items = clause.items
    if of_others(clause):
        return False
    placed_at_all = clause.has("place")
    plug = any(
        (item.tag == "part" and (item.value in ("plug", "porcelain") or (placed_at_all and item.value in WIRES)))
        or (item.tag == "sign" and item.value in BROKEN)
        for item in items
    )
    placed = any(item.tag == "place" and item.value.sure and item.value.kind != "unknown" for item in items)
    if clause.has("harmless") and not own_row:
        return plug or placed
    plain = any(item.tag == "sign" and (item.value[0] in OF_PLUGS or item.value in BLACK) for item in items)
    if own_row or plug or plain or clause.has("place", "part", "count"):
        return True
    return strangers(items) == 0 or (place_carried and strangers(items) < 3)


def strangers(items: Sequence[Item]) -> int:
    """How many words and numbers a clause about plugs would not need."""
    return sum(item.tag in ("unknown", "number") for item in items)


def beside_stranger(clause: Clause, meant: Meant) -> bool:
    """True where the word is said of an unknown one right behind it, with no part of a plug named: 'silver bullet'."""
    behind = [item for item in clause.items[meant.at + 1 :] if item.value not in LEADING]
    return bool(behind) and behind[0].tag == "unknown" and not clause.has("part")


def of_another_thing(items: Sequence[Item], meant: Meant) -> bool:
    """True for the silver of 'silver car', the crack of 'crack in the block' and the blisters of 'boot blistered'."""
    before = [item for item in items[: meant.at] if item.tag != "empty"]
    if any(item.tag == "part" and item.value != "plug" for item in before):
        return False
    owned = before[-2:-1] if before and before[-1].tag == "place" else before[-1:]
    if owned and owned[0].tag == "harmless" and owned[0].value != "people":
        return True
    following = items[meant.at + 1] if meant.at + 1 < len(items) else None
    if following is not None and following.tag == "excuses":
        return items[meant.at].tag == "adjective" or following.value in ("paint", "tape", "grease", "marker")
    owner = [item for item in items[: meant.at] if item.tag == "harmless" or item.value in ("with", "w/", "has", "had")]
    if len(owner) > 1 and owner[-2].tag == "harmless" and owner[-1].tag != "harmless" and before[-1].tag != "place":
        return True
    for item in items[meant.at + 1 :]:
        if item.tag == "harmless" or (item.tag == "conduct" and item.value[0] == "new_plugs"):
            return True
        if item.tag == "sign" and item.value in OF_GRAINS and items[meant.at + 1].value == "of":
            return True
        if item.tag not in ("empty", "adjective", "unknown") or item.value in APART:
            return False
    return False


def own_run_at(sentences: Sequence[Sequence[Clause]]) -> int | None:
    """Which sentence names the note's own run: the first, or the last that begins with one where several are named."""
    named = [
        at for at, clauses in enumerate(sentences) for clause in clauses for item in clause.items if _names_run(item)
    ]
    begins = [at for at, clauses in enumerate(sentences) if _names_run(clauses[0].items[0])]
    if not begins or (begins[-1] and len(named) == 1):
        return None
    items = sentences[begins[-1]][0].items
    over = len(items) > 1 and items[1].value in ("had", "was", "were")
    return begins[0] if over else begins[-1]


def _names_run(item: Item) -> bool:
    return item.tag == "past" and str(item.value).endswith("{n}")


def of_the_unknown(clause: Clause, meant: Meant) -> bool:
    """True for 'flecks of rust' and 'peppered with questions', where the thing they are of is no word of the trade."""
    behind = [item for item in clause.items[meant.at + 1 :] if item.value not in ("the", "a", "an", "some")]
    of = (
        meant.kind == "specks"
        and len(behind) > 1
        and behind[0].value in ("of", "with", "w/")
        and not clause.has("part")
    )
    return of and (behind[1].tag == "unknown" or (behind[1].tag == "sign" and behind[1].value not in DANGER))


def one_of_two(items: Sequence[Item]) -> bool:
    """True where 'or' stands before words: one of two is meant, or neither."""
    return any(item.tag == "link" and item.value == "or" for item in items[:-1])


def answer_apart(clauses: Sequence[Clause]) -> Sequence[Clause]:
    """Clauses behind a question with the 'no' of 'no its wet' in a clause of its own; not that of 'no pepper'."""
    first, items = clauses[0], clauses[0].items
    if items[0].value not in NONE or len(items) < 2 or items[1].tag not in ("empty", "explained", "now"):
        return clauses
    return [replace(first, items=items[:1]), replace(first, items=items[1:], lead=","), *clauses[1:]]


def denials_carried(clauses: Sequence[Clause]) -> Iterator[Clause]:
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
    return all(item.tag in ("sign", "adjective", "part", "link", "empty", "place") for item in clause.items)


def _has_or(clause: Clause) -> bool:
    return any(item.tag == "link" and item.value in ("or", "nor") for item in clause.items)
