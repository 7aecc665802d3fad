"""How a rule is written down, and the book of all of them.

A rule is a function under a decorator: `@safety.rule(says, source, *patterns)`. Its id is the decision and the name
of the function (`safety.bright_specks`), the patterns say what must hold, and it returns what is concluded.
"""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from engine_rules.facts import Phase, Worded

COMMON = "common practice, no source"

# The work is reasoned in this order. A phase's rules see all that earlier phases concluded.
PHASES = ("reading", "evidence", "safety", "want", "order", "choice", "look back")

# The decisions in the order of the work; the book prints them so.
DECISIONS = (
    "reading",
    "evidence",
    "safety",
    "faults",
    "order",
    "fuel",
    "spark",
    "heat",
    "spread",
    "reference",
    "outcome",
)

Conclusion = Worded | Iterable[Worded] | None


@dataclass(frozen=True, slots=True)
class RuleEntry:
    """One rule of the book: id, its place in the book, what a racer would say, source, patterns, conclusion."""

    id: str
    place: int
    phase: str
    says: str
    source: str
    patterns: tuple[Any, ...]
    conclude: Callable[..., Conclusion]

    def concluded(self, bound: Mapping[str, Any]) -> tuple[Worded, ...]:
        """What the rule concludes from the values that its patterns bound."""
        wanted = {name: bound[name] for name in inspect.signature(self.conclude).parameters}
        result = self.conclude(**wanted)
        if result is None:
            return ()
        return (result,) if isinstance(result, Worded) else tuple(result)


class Decision:
    """The rules of one decision that are reasoned in one phase."""

    def __init__(self, name: str, phase: str) -> None:
        self.name, self.phase = name, phase
        self.entries: list[RuleEntry] = []

    def rule(self, says: str, source: str, *patterns: Any) -> Callable[[Callable[..., Conclusion]], RuleEntry]:
        """Write a rule down. says: one sentence in a racer's words. source: a publication, or COMMON."""

        def write(conclude: Callable[..., Conclusion]) -> RuleEntry:
            entry = RuleEntry(
                id=f"{self.name}.{conclude.__name__}",
                place=len(self.entries),
                phase=self.phase,
                says=says,
                source=source,
                patterns=(Phase(name=self.phase), *patterns),
                conclude=conclude,
            )
            self.entries.append(entry)
            return entry

        return write


@cache
def all_rules() -> tuple[RuleEntry, ...]:
    """Every rule, in the order of the work. The order in which rules stand never changes the advice."""
    found: list[RuleEntry] = []
    for name in DECISIONS:
        module = importlib.import_module(f"engine_rules.rules.{name}")
        for decision in (value for value in vars(module).values() if isinstance(value, Decision)):
            found.extend(decision.entries)
    return tuple(found)
