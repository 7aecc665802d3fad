"""What a note takes back of a sign that it named: a harmless cause, a first sight that was wrong, a bare denial."""

from __future__ import annotations

from collections.abc import Sequence

from engine_rules.note_clauses import Clause
from engine_rules.note_scope import NONE, SPEAKERS
from engine_rules.note_words import Item

CAUSES = ("anti-seize", "rubber bits", "additive")
TURNED_OUT = ("turned out", "turns out", "turned out to be", "turns out to be", "ended up being", "proved to be")
ITS_JUST = ("turned out to be", "turns out to be", "ended up being", "proved to be", "its just", "was just", "was only")
SURELY = (
    *TURNED_OUT,
    *("its just", "it was just", "thats just", "was just", "is just", "are just", "were just"),
    *("its only", "it was only", "thats only", "was only", "is only", "just", "so", "only"),
)
FIRST_SIGHT = (
    *("thought", "i thought", "thought i saw", "looked like", "took it for", "mistook", "what i called", "swore"),
    *("what i took for", "had me worried", "could have sworn", "would have sworn", "at first glance", "feared"),
    *("swear i saw", "what looked like", "worried", "i said", "we said"),
    *("never mind", "nevermind", "disregard", "ignore", "scratch that", "false alarm"),
)
THEY = ("it", "that", "they", "those", "this", "these", "them", "stuff", "which")
ARE = ("is", "was", "are", "were", "its", "thats", "theyre")
IT = ("its", "it", "thats", "that", "they", "theyre", "isnt", "wasnt", "arent", "werent")
LEANING = (*IT, *ARE, "on", "of", "them", "there", "really", "after", "again", "just", "any", "though")


def at_first_sight(clause: Clause) -> bool:
    """True for 'thought I saw silver', 'what I called pepper' and 'specks brushed off'."""
    return _comes_off(clause) or any(item.tag == "doubts" and item.value in FIRST_SIGHT for item in clause.items)


def withdraws(clause: Clause, behind: int = 0, wrong: bool = False) -> bool:
    """True where the items from `behind` on say for sure that a thing was something harmless.

    wrong: it is already said that it only looked like the sign, so that 'antiseize' or 'wiped off' alone will do.
    """
    items = clause.items[behind:]
    if not items or clause.question or items[0].value == "or" or any(_unsure(item, wrong) for item in items):
        return False
    surely = [at for at, item in enumerate(items) if item.value in SURELY]
    if surely and items[surely[0]].value in TURNED_OUT and _is_nothing(items[surely[0] + 1 :]):
        return True
    cause = next((at for at, item in enumerate(items) if _is_cause(item)), None)
    if cause is None:
        return False
    said = _says_what(items[:cause], behind > 0)
    if items[cause].tag == "harmless":
        # The car in 'silver on 5, so we parked the car' is no cause.
        return any(items[at].value in ITS_JUST and at < cause for at in surely) or (wrong and said)
    return wrong or said or any(at < cause + 2 for at in surely)


def _is_cause(item: Item) -> bool:
    """True for what is harmless and looks like a sign of danger."""
    return item.tag in ("excuses", "harmless") or (item.tag == "sign" and item.value[1] in CAUSES)


def _is_nothing(items: Sequence[Item]) -> bool:
    """True for the 'a hair' of 'turned out to be a hair'; not for 'a long night'."""
    return bool(items) and all(item.tag in ("empty", "amount", "negations", "excuses") for item in items)


def _unsure(item: Item, wrong: bool) -> bool:
    return item.tag in ("nearly", "past") or (item.tag == "doubts" and not (wrong and item.value in FIRST_SIGHT))


def _says_what(items: Sequence[Item], subject: bool) -> bool:
    """True for 'it was' before the cause, or 'was' alone where the sign is the subject; not for 'we were grinding'."""
    are = next((at for at, item in enumerate(items) if item.value in ARE), None)
    if are is None or any(item.value == "from" for item in items):
        return False
    before = [item for item in items[:are] if item.tag not in ("place", "part")]
    alone = all(item.tag == "empty" and item.value not in SPEAKERS for item in before)
    return items[are].value in IT or (subject and alone) or (bool(before) and before[-1].value in THEY)


def comes_off(clause: Clause) -> bool:
    """True for 'but it brushed off'."""
    return clause.lead == "but" and _comes_off(clause)


def _comes_off(clause: Clause) -> bool:
    return any(item.tag == "excuses" and item.value.endswith((" off", " away", " clean")) for item in clause.items)


def only_denies(clause: Clause) -> bool:
    """True for 'its not' and 'no', said of what was named before."""
    first = clause.items[0].value
    if clause.question or not clause.has("negations") or (first not in NONE and first not in IT):
        return False
    return all(item.tag in ("negations", "now") or item.value in LEANING for item in clause.items)
