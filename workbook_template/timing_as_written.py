"""Timing with its exceptions in one cell, and a slip's time with its speed: '34/32 on 5,7', '-2 #7', '10.42@127'."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

_DEGREES = r"[+\-]?\d{1,2}(?:\.\d+)?"
_CYLINDERS = (
    r"(?:#|\bon\b|\bat\b|\bcyl(?:inders?)?\b\.?|\bno\b\.?)\s*#?\s*(\d{1,2}(?:\s*(?:,|&|\band\b|#|\s)\s*#?\d{1,2})*)"
)
_TOTAL = re.compile(rf"\s*({_DEGREES})\s*(?:°|deg(?:rees)?|btdc|total)?\s*", re.IGNORECASE)
_COMMA = re.compile(r"([+\-]?\d{1,2}),(\d)\s*(?:°|deg(?:rees)?|btdc|total)?", re.IGNORECASE)
_SPLIT = re.compile(rf"\s*({_DEGREES})\s*/\s*({_DEGREES})\s*(?:°|deg)?\s*{_CYLINDERS}\s*", re.IGNORECASE)
_TRIM = re.compile(rf"\s*[,;]?\s*([+\-]\d{{1,2}}(?:\.\d+)?)\s*(?:°|deg)?\s*{_CYLINDERS}", re.IGNORECASE)
_SLIP = re.compile(
    r"\s*(\d{1,2}[.,]\d{1,3})\s*(?:s|sec)?\s*(?:@|\bat\b)\s*(\d{2,3}(?:[.,]\d+)?)\s*([a-z/]*)\s*", re.IGNORECASE
)
_DASHES = str.maketrans("−–—", "---")


@dataclass(frozen=True, slots=True)
class TimingWritten:
    """Total timing, None where only exceptions are named; cylinder -> degrees against the total."""

    total_deg: float | None
    trims_deg: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SlipWritten:
    """Elapsed time in seconds, and the speed in the unit written behind it ('' where none is)."""

    elapsed_s: float
    speed: float
    unit: str


def timing_written(written: str) -> TimingWritten | None:
    """What a cell says of the timing, None where it is not clear."""
    text = " ".join(written.translate(_DASHES).split())
    comma = _COMMA.fullmatch(text)
    if comma is not None:
        return TimingWritten(float(f"{comma[1]}.{comma[2]}"))
    split = _SPLIT.fullmatch(text)
    if split is not None:
        total, other = float(split[1]), float(split[2])
        return TimingWritten(total, dict.fromkeys(_numbers(split[3]), round(other - total, 6)))
    total_deg, rest = None, text
    lead = _TOTAL.match(text)
    whole = _TRIM.match(text)
    if whole is None and lead is not None and lead[1][0] not in "+-":
        total_deg, rest = float(lead[1]), text[lead.end() :]
    trims: dict[int, float] = {}
    while rest.strip():
        match = _TRIM.match(rest)
        if match is None:
            return None
        trims |= dict.fromkeys(_numbers(match[2]), float(match[1]))
        rest = rest[match.end() :]
    return TimingWritten(total_deg, trims) if trims or total_deg is not None else None


def slip_written(written: str) -> SlipWritten | None:
    """'10.42@127' as time and speed, None for anything else."""
    match = _SLIP.fullmatch(" ".join(written.split()))
    if match is None:
        return None
    return SlipWritten(float(match[1].replace(",", ".")), float(match[2].replace(",", ".")), match[3])


def _numbers(written: str) -> list[int]:
    return [int(number) for number in re.findall(r"\d+", written)]
