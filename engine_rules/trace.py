"""The listener around the inference: every firing, with the facts that it matched and what it concluded."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import chain
from typing import Any

from engine_rules.advice import FactLine, Firing
from engine_rules.facts import Phase, Solved, Worded
from engine_rules.inference import NOT, ORFC, ConditionalElement, Fact, KnowledgeEngine, ReteMatcher, Rule, Token
from engine_rules.matching import matches
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


class _Matcher(ReteMatcher):  # type: ignore[misc]
    """experta's matcher, spared two labours: offering a fact to patterns of other types, and asking every rule for news
    after a firing that brought none.
    """

    def __init__(self, engine: KnowledgeEngine) -> None:
        super().__init__(engine)
        self._entrances: dict[type, list[Any]] = {}
        for child in self.root_node.children:
            self._entrances.setdefault(child.node.matcher.fact_type, []).append(child.callback)

    def changes(self, adding: Any = None, deleting: Any = None) -> Any:
        if not adding and not deleting:
            return [], []
        for fact in adding or ():
            token = Token.valid(fact)
            for enter in self._entrances.get(type(fact), ()):
                enter(token)
        return super().changes(None, deleting)


class Reasoner(KnowledgeEngine):  # type: ignore[misc]
    """experta's engine with a list of all that fired. Made by `new_reasoner`."""

    __matcher__ = _Matcher
    phases: tuple[str, ...] = PHASES

    def __init__(self) -> None:
        super().__init__()
        self.fired: list[Fired] = []
        self.waiting: list[Worded] = []
        self.runs = 0

    def give(self, facts: Iterable[Worded]) -> None:
        """Declare those of the facts that some rule could use; a pass through the network costs more than a look."""
        self.declare(*(fact for fact in facts if any(matches(pattern, fact, {}) for pattern in self._asked(fact))))

    def _asked(self, fact: Worded) -> Iterable[Worded]:
        patterns = _patterns(self.phases)
        return chain(patterns.get((type(fact), fact.get("what")), ()), patterns.get((type(fact), None), ()))

    def take(self, entry: RuleEntry, bound: Mapping[str, Any]) -> None:
        """Note a firing and what it concludes, each conclusion marked with its rule and its facts."""
        facts = tuple(fact for name, fact in sorted(bound.items()) if isinstance(fact, Fact))
        concluded = entry.concluded(bound)
        key = f"{entry.id} {sorted(fact.words() for fact in facts)}"
        marked = tuple(type(fact)(**fact.as_dict(), origin=key) for fact in concluded)
        self.fired.append(Fired(entry, tuple(fact for fact in facts if not isinstance(fact, Phase)), marked))
        self.waiting.extend(marked)

    def reason(self, phase: str) -> None:
        """Fire the rules of one phase until none is left to fire. Raises RuntimeError when rules feed themselves."""
        self.waiting = [Phase(name=phase)]
        while self.waiting:
            # All conclusions of a round go in together: one pass through the network in place of one each.
            declared, self.waiting = self.waiting, []
            self.declare(*declared)
            self.run(MOST_FIRINGS)
            if len(self.fired) >= MOST_FIRINGS:
                raise RuntimeError("the rules feed themselves")

    def known(self, kind: type[Worded]) -> list[Worded]:
        """All facts of one kind, in an order that does not depend on how they came in."""
        found = [fact for fact in self.facts.values() if type(fact) is kind]
        return sorted(found, key=lambda fact: (fact.words(), str(fact.get("origin", ""))))


def new_reasoner(phases: tuple[str, ...] = PHASES) -> Reasoner:
    """An engine with the rules of these phases and no facts but the first.

    Building the network costs more than reasoning one run, so each thread keeps one and empties it; it is built anew
    after many runs, since a reset has been seen to leave some memory behind.
    """
    kept: dict[tuple[str, ...], Reasoner] = _kept.__dict__.setdefault("reasoners", {})
    reasoner = kept.get(phases)
    if reasoner is None or reasoner.runs >= RUNS_OF_ONE_NETWORK:
        reasoner = kept[phases] = _reasoner_class(phases)()
    reasoner.runs += 1
    reasoner.fired = []
    reasoner.reset()
    return reasoner


@cache
def _reasoner_class(phases: tuple[str, ...]) -> type[Reasoner]:
    rules = {entry.id.replace(".", "_"): _experta_rule(entry) for entry in all_rules() if entry.phase in phases}
    return type("RuleBook", (Reasoner,), {"phases": phases, **rules})


@cache
def _patterns(phases: tuple[str, ...]) -> Mapping[tuple[type[Worded], str | None], list[Worded]]:
    """Every pattern of the rules of these phases, by its type and by what it is about (None: anything)."""
    found: dict[tuple[type[Worded], str | None], list[Worded]] = {}
    for entry in all_rules():
        if entry.phase not in phases:
            continue
        for pattern in entry.patterns:
            asked = pattern[0] if isinstance(pattern, NOT) else pattern
            what = asked.get("what")
            for name in [part.value for part in what] if isinstance(what, ORFC) else [what]:
                found.setdefault((type(asked), name if isinstance(name, str) else None), []).append(asked)
    return found


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
