"""Patterns held against facts outside the network: what could a rule use, and what was it short of?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from engine_rules.facts import Worded
from engine_rules.inference import ANDFC, NOTFC, ORFC, ConditionalElement, Fact, L, P, W


def matches(pattern: Worded, fact: Worded, bound: Mapping[str, Any]) -> bool:
    """Whether a fact meets a pattern, given what its names are bound to; a name that is not bound is free."""
    if type(pattern) is not type(fact):
        return False
    named = {key: value for key, value in pattern.items() if not Fact.is_special(key)}
    return all(key in fact and _field_holds(value, fact[key], bound) for key, value in named.items())


def _field_holds(constraint: Any, value: Any, bound: Mapping[str, Any]) -> bool:
    if isinstance(constraint, ORFC):
        return any(_field_holds(part, value, bound) for part in constraint)
    if isinstance(constraint, ANDFC):
        return all(_field_holds(part, value, bound) for part in constraint)
    if isinstance(constraint, NOTFC):
        return not _field_holds(constraint[0], value, bound)
    if isinstance(constraint, W):
        return constraint.__bind__ not in bound or bool(bound[constraint.__bind__] == value)
    if isinstance(constraint, P):
        return bool(constraint.match(value))
    if isinstance(constraint, L):
        return bool(constraint.value == value)
    assert not isinstance(constraint, ConditionalElement), constraint
    return bool(constraint == value)
