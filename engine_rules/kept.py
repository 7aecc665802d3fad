"""A log as the key under which what was worked out of it is kept."""

from __future__ import annotations

from dataclasses import dataclass

from engine_rules.logbook import Logbook


@dataclass(frozen=True, slots=True, eq=False)
class SameLog:
    """A logbook known by identity: two are the same only where they are one."""

    logbook: Logbook

    def __hash__(self) -> int:
        return id(self.logbook)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SameLog) and other.logbook is self.logbook
