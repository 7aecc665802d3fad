"""Looking rules up in the book: by id, by decision, and the thresholds that a rule names."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from types import CodeType

from engine_rules.rulebook import RuleEntry, all_rules
from engine_rules.targets import Target, default_targets


def find_rules(asked: str | None = None) -> tuple[RuleEntry, ...]:
    """The rules of that id, decision or beginning of an id, in the order of the work; without one, all of them.

    Raises LookupError, with the nearest name, where there is none.
    """
    if asked is None:
        return all_rules()
    wanted = asked.strip().casefold()
    exact = tuple(entry for entry in all_rules() if entry.id == wanted)
    found = exact or tuple(entry for entry in all_rules() if wanted and entry.id.startswith(wanted))
    if not found:
        raise LookupError(f"there is no rule {asked}; {_nearest(wanted)}")
    return found


def _nearest(wanted: str) -> str:
    ids = [entry.id for entry in all_rules()]
    decisions = list(dict.fromkeys(entry.id.partition(".")[0] for entry in all_rules()))
    by_name = {name.rpartition(".")[2]: name for name in ids}
    near = difflib.get_close_matches(wanted, [*ids, *decisions, *by_name], n=1, cutoff=0.6)
    if near:
        return f"did you mean {by_name.get(near[0], near[0])}?"
    return f"the decisions are {', '.join(decisions)}"


def targets_named(entry: RuleEntry) -> tuple[Target, ...]:
    """The thresholds that the rule's conclusion names; those behind the facts that it stands on are not among them."""
    targets = default_targets()
    named = dict.fromkeys(text for text in _texts(entry.conclude.__code__) if text in targets)
    return tuple(targets.entry(key) for key in named)


def _texts(code: CodeType) -> Iterator[str]:
    """Every text that stands in a function, those in the functions inside it too."""
    waiting: list[object] = list(code.co_consts)
    while waiting:
        one = waiting.pop(0)
        if isinstance(one, str):
            yield one
        elif isinstance(one, tuple):
            waiting.extend(one)
        elif isinstance(one, CodeType):
            yield from _texts(one)
