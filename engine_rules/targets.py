"""The thresholds of targets.toml, with what a workbook puts in their place."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources


@dataclass(frozen=True, slots=True)
class Target:
    """One threshold: its value in `unit`, the range that a workbook may choose from, and where it comes from."""

    key: str
    value: float
    unit: str
    lowest: float
    highest: float
    about: str
    source: str


class Targets(Mapping[str, float]):
    """Threshold values by key. Unchangeable; `overridden` gives a changed copy."""

    def __init__(self, entries: Mapping[str, Target]) -> None:
        self._entries = dict(entries)

    def __getitem__(self, key: str) -> float:
        return self._entries[key].value

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def entry(self, key: str) -> Target:
        """The whole record of one threshold. Raises KeyError for an unknown key."""
        return self._entries[key]

    def overridden(self, values: Mapping[str, float]) -> Targets:
        """A copy with the workbook's own values. Raises ValueError for an unknown key or a value out of its range."""
        entries = dict(self._entries)
        for key, value in values.items():
            if key not in entries:
                raise ValueError(f"there is no target named {key}")
            target = entries[key]
            if not target.lowest <= value <= target.highest:
                raise ValueError(
                    f"{key} is {value:g} {target.unit}, but must lie between {target.lowest:g} and {target.highest:g}"
                )
            entries[key] = replace(target, value=float(value))
        return Targets(entries)


@cache
def default_targets() -> Targets:
    """The thresholds as shipped."""
    table = tomllib.loads(resources.files("engine_rules").joinpath("targets.toml").read_text("utf-8"))
    return Targets({key: Target(key=key, **fields) for key, fields in table.items()})
