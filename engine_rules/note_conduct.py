"""How the run of a note was made: new plugs, a clean cut, idling after it, lifting."""

from __future__ import annotations

from collections.abc import Iterator

from engine_rules.note_clauses import Clause
from engine_rules.note_scope import Scope


def conduct_of(clause: Clause, scope: Scope, harmless: bool, text: str) -> Iterator[tuple[str, bool]]:
    """Fields of Conduct and what the clause answers. harmless: its sentence names something that is no plug."""
    if _cut_cleanly(clause, scope, text):
        yield "clean_cut", True
    for at, item in enumerate(clause.items):
        if item.tag != "conduct" or at in scope.dead:
            continue
        key, answer = item.value
        # A 'new set' may be one of tyres or pads.
        if harmless and key == "new_plugs" and "plug" not in text[item.start : item.end].lower():
            continue
        if at not in scope.denied | scope.denied_far:
            yield key, answer
        elif key in ("new_plugs", "clean_cut") and answer:
            yield key, False


def settled(key: str, known: bool | None, answer: bool) -> bool:
    """Of two answers the one that trusts the plugs less."""
    if known is None:
        return answer
    return known or answer if key in ("idled_after", "lifted_or_spun") else known and answer


def _cut_cleanly(clause: Clause, scope: Scope, text: str) -> bool:
    """True where a verb of [cutting] and one of its clean words stand in one clause: 'cut it nice and clean'."""
    verb = next((at for at, item in enumerate(clause.items) if item.tag == "cut" and item.value == "verb"), None)
    if verb is None or verb in scope.dead or clause.has("negations"):
        return False
    return any(
        (item.tag, item.value) == ("cut", "clean") or text[item.start : item.end].lower() == "clean"
        for item in clause.items
    )
