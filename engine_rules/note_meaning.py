"""From the items of a clause to signs: a word that fits several parts of the plug takes the nearest one named."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from engine_rules.note_counts import Count
from engine_rules.note_words import Item
from engine_rules.words import word_lists

SPECK_KINDS = (("specks", "few black"), ("specks", "many black"))
COLOURS = ("white", "tan", "grey", "orange", "red")
A_HAIR = 0.25  # mm; a smaller number with a point is inches
A_HANDFUL = 6
THREAD_WORDS = {0.0: "none", 1.0: "one", 2.0: "two", 3.0: "three"}
TURN_WORDS = {0.0: "none", 0.5: "half", 0.75: "three quarters", 1.0: "full"}
IS = ("is", "are", "was", "were", "look", "looks", "its", "just", "about", "all", "real", "seems", "read", "reads")
PLAIN = ("empty", "place", "now", "past", "nearly", "hedges", "link", "sign", "amount", "doubts")
HUES = (
    *("got", "heat", "color", "colour", "colored", "coloured", "blue", "any", "sign", "of", "much", "in", "on", "the"),
    "real",
)
OVER = ("up", "on", "to", "down", "over", "for")
UNITS = {"threads": "threads", "turns": "shell"}
TOPICS = {"specks": "specks", "strap_mark": "mark", "ring": "ring", "shell_ring": "shell", "threads": "threads"}
NONE_OF = {"ring": "ring", "shell": "shell_ring", "threads": "threads", "specks": "specks"}
NOT = ("not", "isnt", "wasnt", "arent", "werent")
NOTHING = ("none", "nothing", "nil", "zero", "0", "nope", "negative")


@dataclass(frozen=True, slots=True)
class Meant:
    """A sign that an item of the clause means. at: its place in the clause; word None where amount measures."""

    kind: str
    word: str | None
    at: int
    amount: float | None = None


def meanings(items: Sequence[Item], topic: str | None, placed: bool) -> Iterator[Meant]:
    """Every sign of a clause, denied or not. topic: the part that the sentence speaks of; placed: so is a cylinder."""
    for at, item in enumerate(items):
        if item.tag == "sign":
            kind, word = item.value
            before = topic_at(items, at, topic)
            if (kind, word) == ("said_mixture", "right") and before == "mark":
                if _on_it(items, at):
                    yield Meant("strap_mark", "at bend", at)
                continue
            if (word == "lean" and before == "shell") or ((kind, word) == ("ring", "trace") and before == "specks"):
                continue  # 'shell: dry', 'silver, just a trace'
            if kind == "porcelain" and (word in COLOURS or word == "sooty") and _colours_a_part(items, at):
                continue
            yield Meant(kind, word, at)
        elif item.tag == "adjective":
            found = _of_nearest_part(items, at, topic, placed)
            if found is not None:
                yield found
        elif item.tag == "count":
            found = _counted(items, at, item.value, topic)
            if found is not None:
                yield found
        elif item.tag == "amount" and item.value == "many" and _is_of_ring(items, at):
            yield Meant("ring", "all over", at)
        elif item.tag == "number" and topic_at(items, at, topic) == "threads":
            yield _threads(Count(float(item.value), "threads"), at)
        elif item.tag == "number" and item.value % 1 and item.value > A_HAIR and topic_at(items, at, topic) == "ring":
            yield Meant("ring", None, at, float(item.value))
        elif item.tag == "place" and item.value.kind == "unknown" and topic_at(items, at, topic) == "threads":
            yield Meant("threads", "one", at)


def _on_it(items: Sequence[Item], at: int) -> bool:
    """True for the 'right on it' that speaks of the bend."""
    return at + 1 < len(items) and items[at + 1].value == "it"


def _colours_a_part(items: Sequence[Item], at: int) -> bool:
    """True for the 'tan' of 'a tan ring', with nothing said of the ring itself."""
    behind = items[at + 1 : at + 3]
    if behind and behind[0].value in OVER and (of := items[at + 2 : at + 3]) and not _names_porcelain(items):
        if of[0].tag == "count" and of[0].value.unit == "threads":
            return True
        if of[0].tag == "sign" and of[0].value[0] == "threads":
            return True
    if items[at].value[1] == "sooty" and not any(one.value == "porcelain" for one in items):
        of_ring = any(one.tag == "part" and one.value == "ring" for one in items[:at])
        if of_ring or any(one.tag == "part" and one.value == "shell" for one in items):
            return True
    part = bool(behind) and behind[0].tag == "part" and behind[0].value in ("ring", "mark", "strap", "shell", "threads")
    return part and (len(behind) == 1 or behind[1].tag not in ("adjective", "sign", "count", "amount"))


def _names_porcelain(items: Sequence[Item]) -> bool:
    return any(item.tag == "part" and item.value == "porcelain" for item in items)


def _is_of_ring(items: Sequence[Item], at: int) -> bool:
    """True for the 'all over' of 'ring all over'."""
    before = [item for item in items[:at] if item.tag != "empty"]
    return bool(before) and before[-1].tag == "part" and before[-1].value == "ring"


def topic_at(items: Sequence[Item], at: int, topic: str | None) -> str | None:
    """The part last named before that place, in the clause or before it."""
    for item in reversed(items[:at]):
        if item.tag == "part" and item.value != "plug":
            return str(item.value)
        if item.tag == "sign" and item.value[0] in TOPICS:
            return TOPICS[item.value[0]]
        if item.tag == "count" and item.value.unit in UNITS:
            return UNITS[item.value.unit]
    return topic


def _of_nearest_part(items: Sequence[Item], at: int, topic: str | None, placed: bool) -> Meant | None:
    table: dict[str, str] = items[at].value
    parts = [(abs(other - at) - 0.5 * (other == at + 1), other) for other, one in enumerate(items) if one.tag == "part"]
    near = [str(items[other].value) for _, other in sorted(parts)]
    if table.get("specks") == "specks: few black" and any(
        one.tag == "sign" and one.value[0] == "specks" for one in items
    ):
        return None
    widths = [one.value.get("ring") for one in items if one.tag == "adjective" and one.value.get("ring")]
    outdone = {"ring: wide": ["ring: heavy"], "ring: heavy": ["ring: thin line", "ring: trace"]}
    if any(one in widths for one in outdone.get(table.get("ring", ""), [])):
        table = {part: sign for part, sign in table.items() if part != "ring"}
    if table.get("ring") == "ring: wide" and any(one.tag == "count" and one.value.unit == "mm" for one in items):
        return None
    if table.get("centre") == "centre_wire: sharp" and any(
        one.tag == "adjective" and "softening" in one.value.get("centre", "") for one in items
    ):
        return None
    if "last" in table and _closes(items, at):
        return _sign(table["last"], at)
    if "placed" in table:
        table = {**table, "alone": table["placed"]} if placed and not near else table
    chosen = next((part for part in near if part in table), None)
    if chosen is None and topic in table and "alone" not in table:
        chosen = topic
    if chosen is None and topic in table and not near:
        chosen = topic
    chosen = chosen or ("alone" if "alone" in table else None)
    if chosen is None or not table[chosen]:
        return None
    return _sign(table[chosen], at)


def _sign(said: str, at: int) -> Meant:
    kind, _, word = said.partition(": ")
    return Meant(kind, word or None, at)


def _closes(items: Sequence[Item], at: int) -> bool:
    """True for the 'right' of 'middles right' and 'ours is right', where nothing else is said."""
    last = max((other for other in range(at) if items[other].tag == "place"), default=0)
    if any(item.tag not in PLAIN for item in items[last:] if item is not items[at]):
        return False
    behind = [item for item in items[at + 1 :] if item.tag not in ("now", "past", "empty")]
    before = items[at - 1] if at else None
    if before is None:
        return not behind and any(item.tag in ("now", "past") for item in items)
    return not behind and (before.tag in ("place", "nearly") or before.value in IS)


def _counted(items: Sequence[Item], at: int, count: Count, topic: str | None) -> Meant | None:
    parts = {str(item.value) for item in items if item.tag == "part"} or {topic_at(items, at, topic) or ""}
    if count.unit == "threads" or (count.unit == "turns" and topic_at(items, at, topic) == "threads"):
        return _threads(count, at)
    if count.unit == "" and "shell" in parts:
        count = Count(count.amount, "turns")
    if count.unit == "turns" and count.amount <= 2.0:
        word = TURN_WORDS.get(count.amount)
        return Meant("shell_ring", word, at, None if word else count.amount)
    if count.unit == "mm" and "ring" in parts:
        return Meant("ring", None, at, count.amount)
    if count.unit == "share" and parts & {"mark", "strap"} and count.amount <= 1.0:
        return Meant("strap_mark", None, at, count.amount)
    return None


def _threads(count: Count, at: int) -> Meant:
    word = THREAD_WORDS.get(count.amount, "more" if count.amount >= 4.0 else None)
    return Meant("threads", word, at, None if word else count.amount)


def with_amounts(items: Sequence[Item], found: list[Meant]) -> list[Meant]:
    """Black specks weighed by the amounts that stand by them: a handful is few, lots are many."""
    weighed = []
    for meant in found:
        if (meant.kind, meant.word) == SPECK_KINDS[0] and _is_many(items, meant.at, found):
            meant = replace(meant, word="many black")
        weighed.append(meant)
    return weighed


def _is_many(items: Sequence[Item], at: int, found: Sequence[Meant]) -> bool:
    others = {one.at for one in found if one.at != at and one.kind not in ("specks", "good")}
    # 'pepper light on 7, 5 pepper heavy': a place parts what is said of two lots of specks
    specks = [one.at for one in found if one.at != at and one.kind == "specks"]
    for place in (other for other, item in enumerate(items) if item.tag == "place"):
        if any(one < place < at or at < place < one for one in specks):
            others.add(place)
    left = max((other for other in others if other < at), default=-1)
    right = min((other for other in others if other > at), default=len(items))
    span = items[left + 1 : right]
    if any(item.tag == "number" and item.value > A_HANDFUL for item in items[max(at - 2, 0) : at]):
        return True
    amounts = [item.value for item in span if item.tag == "amount"][:1]
    heavy = any(item.tag == "adjective" and item.value.get("specks") == "specks: many black" for item in span)
    return (heavy or "many" in amounts) and "few" not in amounts


def amount_alone(items: Sequence[Item]) -> tuple[str, str] | None:
    """What 'lots' or 'a little' says of specks named before."""
    for item in items:
        if item.tag == "amount":
            return SPECK_KINDS[item.value == "many"]
    return None


def none_said(items: Sequence[Item], topic: str | None) -> Meant | None:
    """What 'none', 'no ring' and 'no heat in them' say of the part named, or named last."""
    tags = {item.tag for item in items}
    if "negations" not in tags or "doubts" in tags:
        return None
    for at, item in enumerate(items):
        if item.tag != "negations" or item.value in NOT:
            continue
        soot = any(one.tag == "sign" and one.value == ("porcelain", "sooty") for one in items[at + 1 : at + 3])
        if soot and any(one.tag == "part" and one.value == "shell" for one in items):
            return Meant("shell_ring", "none", at)
        behind = [one for one in items[at + 1 :] if one.value not in HUES]
        named = str(behind[0].value) if behind and behind[0].tag == "part" else None
        before = topic_at(items, at, topic)
        if named == "ring" and before == "shell":
            named = "shell"
        rest = behind[1:] if named else behind
        bare = not rest or rest[0].tag not in ("sign", "adjective", "count", "ask")
        uncoloured = before if before != "specks" and len(behind) < len(items[at + 1 :]) else None
        part = named or (before if item.value in NOTHING else uncoloured)
        if part in NONE_OF and bare and (named or _says_no_more(behind)) and not _denies_sign(items, at):
            return Meant(NONE_OF[part], "none", at)
    return None


def _says_no_more(behind: Sequence[Item]) -> bool:
    return all(one.tag in ("empty", "place", "now", "amount") for one in behind)


def _denies_sign(items: Sequence[Item], at: int) -> bool:
    """True for the 'none' of 'silver: none', which is no word on pepper."""
    before = [item for item in items[:at] if item.tag not in ("empty", "colon")]
    return bool(before) and before[-1].tag in ("sign", "adjective") and before[-1].value != SPECK_KINDS[0]


def furthest(found: Sequence[Meant], places: Mapping[int, object]) -> list[Meant]:
    """Of two strap marks of one place ('past bend, almost to the weld') the one nearer the weld."""
    amounts = word_lists()["strap_mark"].amounts
    marks = [one for one in found if one.kind == "strap_mark" and one.word is not None]

    def is_passed(one: Meant) -> bool:
        return any(
            amounts[other.word or ""] > amounts[one.word or ""] for other in marks if places[other.at] == places[one.at]
        )

    return [one for one in found if one not in marks or not is_passed(one)]
