"""The listener around the inference: every firing, with the facts that it matched and what it concluded."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from engine_rules.advice import FactLine, Firing
from engine_rules.facts import Phase, Solved, Worded
from engine_rules.inference import ConditionalElement, Fact, KnowledgeEngine, Rule
from engine_rules.rulebook import PHASES, RuleEntry, all_rules

# No rule set of this size fires so often on one run; more means a rule that feeds itself.
MOST_FIRINGS = 20_000

RUNS_OF_ONE_NETWORK = 500
_kept = threading.local()

# What tells one conclusion from another: its kind, its words, and the rule and facts that it came by.
Mark = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Fired:
    """One activation as it happened: the rule, its facts, its conclusions."""

    entry: RuleEntry
    facts: tuple[Worded, ...]
    concluded: tuple[Worded, ...]


class Reasoner(KnowledgeEngine):  # type: ignore[misc]
    """experta's engine with a list of all that fired. Made by `new_reasoner`."""

    def __init__(self) -> None:
        super().__init__()
        self.fired: list[Fired] = []
        self.runs = 0

    def take(self, entry: RuleEntry, bound: Mapping[str, Any]) -> None:
        """Note a firing and declare what it concludes, each conclusion marked with its rule and its facts."""
        facts = tuple(fact for name, fact in sorted(bound.items()) if isinstance(fact, Fact))
        concluded = entry.concluded(bound)
        key = f"{entry.id} {sorted(fact.words() for fact in facts)}"
        marked = tuple(type(fact)(**fact.as_dict(), origin=key) for fact in concluded)
        self.fired.append(Fired(entry, tuple(fact for fact in facts if not isinstance(fact, Phase)), marked))
        for fact in marked:
            self.declare(fact)

    def reason(self, phase: str) -> None:
        """Fire the rules of one phase until none is left to fire. Raises RuntimeError when rules feed themselves."""
        self.declare(Phase(name=phase))
        self.run(MOST_FIRINGS)
        if len(self.fired) >= MOST_FIRINGS:
            raise RuntimeError("the rules feed themselves")

    def known(self, kind: type[Worded]) -> list[Worded]:
        """All facts of one kind, in an order that does not depend on how they came in."""
        found = [fact for fact in self.facts.values() if type(fact) is kind]
        return sorted(found, key=lambda fact: (fact.words(), str(fact.get("origin", ""))))


def new_reasoner() -> Reasoner:
    """An engine with the whole rule book and no facts but the first.

    Building the network costs more than reasoning one run, so each thread keeps one and empties it; it is built anew
    after many runs, since a reset has been seen to leave some memory behind.
    """
    reasoner: Reasoner | None = getattr(_kept, "reasoner", None)
    if reasoner is None or reasoner.runs >= RUNS_OF_ONE_NETWORK:
        reasoner = _kept.reasoner = _reasoner_class()()
    reasoner.runs += 1
    reasoner.fired = []
    reasoner.reset()
    return reasoner


@cache
def _reasoner_class() -> type[Reasoner]:
    rules = {entry.id.replace(".", "_"): _experta_rule(entry) for entry in all_rules()}
    return type("RuleBook", (Reasoner,), rules)


def _experta_rule(entry: RuleEntry) -> Any:
    patterns = [_named(pattern, f"fact_{place}") for place, pattern in enumerate(entry.patterns)]

    def act(reasoner: Reasoner, **bound: Any) -> None:
        reasoner.take(entry, bound)

    act.__name__ = entry.id.replace(".", "_")
    return Rule(*patterns)(act)


def _named(pattern: Any, name: str) -> Any:
    """A copy of a positive pattern that binds the fact it matches; a NOT stays as it is."""
    if isinstance(pattern, ConditionalElement):
        return pattern
    copied = type(pattern)(**{key: value for key, value in pattern.items() if not Fact.is_special(key)})
    copied.__bind__ = name
    return copied


@dataclass(slots=True)
class _Step:
    """Firings of one rule with one outcome, taken together."""

    entry: RuleEntry
    concluded: tuple[str, ...]
    facts: set[Worded] = field(default_factory=set)
    conclusions: list[Worded] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Trace:
    """The firings as numbered data, and which of them concluded a given fact."""

    firings: tuple[Firing, ...]
    by_fact: Mapping[Mark, int]  # a conclusion -> the number of its firing

    def number(self, fact: Worded) -> int:
        """The number of the firing that concluded this fact."""
        return self.by_fact[_mark(fact)]


def _mark(fact: Worded) -> Mark:
    return (type(fact).__name__, fact.words(), str(fact.get("origin", "")))


def trace_of(fired: list[Fired]) -> Trace:
    """Number the firings in the order of the work: phase, place in the book, then what was concluded."""
    steps: dict[tuple[str, tuple[str, ...]], _Step] = {}
    for one in fired:
        concluded = tuple(sorted(fact.words() for fact in one.concluded))
        step = steps.setdefault((one.entry.id, concluded), _Step(one.entry, concluded))
        step.facts.update(one.facts)
        step.conclusions.extend(one.concluded)
    book = {entry.id: place for place, entry in enumerate(all_rules())}

    def order(step: _Step) -> tuple[int, int, Any]:
        return (PHASES.index(step.entry.phase), book[step.entry.id], _natural(step))

    ordered = sorted(steps.values(), key=order)
    by_fact = {_mark(fact): number for number, step in enumerate(ordered, 1) for fact in step.conclusions}
    return Trace(tuple(_firing(number, step, by_fact) for number, step in enumerate(ordered, 1)), by_fact)


def _natural(step: _Step) -> tuple[int, tuple[str, ...]]:
    cylinders = [fact["cylinder"] for fact in step.conclusions if isinstance(fact.get("cylinder"), int)]
    return (min(cylinders, default=0), step.concluded)


def _firing(number: int, step: _Step, by_fact: Mapping[Mark, int]) -> Firing:
    lines: list[FactLine] = []
    sources: set[int] = set()
    for fact in sorted(step.facts, key=lambda fact: (str(fact.get("cell", "")), fact.words())):
        if "origin" in fact:
            sources.add(by_fact[_mark(fact)])
        lines.append(FactLine(fact.words(), fact.get("cell") or None))
        if isinstance(fact, Solved):
            lines.extend(FactLine(text, cell or None) for text, cell in fact["lines"])
    return Firing(
        number=number,
        rule=step.entry.id,
        says=step.entry.says,
        facts=tuple(dict.fromkeys(lines)),
        from_firings=tuple(sorted(sources)),
        concluded=step.concluded,
    )
