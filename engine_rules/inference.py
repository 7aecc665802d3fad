"""The one door to experta.

experta 1.9.4 pins frozendict 1.2, which subclasses `collections.Mapping`, a name that Python 3.10 took away. The name
is put back while experta is imported and taken out again. tests/engine_rules/test_inference.py says when this can go.
"""

import collections
import collections.abc

_borrowed = not hasattr(collections, "Mapping")
if _borrowed:
    collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
try:
    from experta import AND, MATCH, NOT, Fact, KnowledgeEngine, L, P, Rule, W
    from experta.conditionalelement import EXISTS, ConditionalElement
    from experta.fieldconstraint import ANDFC, NOTFC, ORFC
    from experta.matchers import ReteMatcher
    from experta.matchers.rete.token import Token
finally:
    if _borrowed:
        del collections.Mapping  # type: ignore[attr-defined]

__all__ = [
    "AND",
    "ANDFC",
    "EXISTS",
    "MATCH",
    "NOT",
    "NOTFC",
    "ORFC",
    "ConditionalElement",
    "Fact",
    "KnowledgeEngine",
    "L",
    "P",
    "ReteMatcher",
    "Rule",
    "Token",
    "W",
]
