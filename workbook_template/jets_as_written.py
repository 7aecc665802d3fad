"""Jets of several corners in one cell: '72/80', '76-76-84-86', '72 sq', '+2 rear'."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

FOUR = ("LF", "RF", "LR", "RR")
_LABEL = r"[0-9]{1,4}(?:\.[0-9]+)?[a-z]?"
_SQUARE = re.compile(rf"({_LABEL})\s*(?:sq|square|all|all\s+round|all\s+around|x\s*4|all\s+four)\.?", re.IGNORECASE)
_STEP = re.compile(r"([+\-−–]\s*\d{1,2})\s*(?:on\s+|at\s+|in\s+)?([a-z][a-z ]*?)\s*", re.IGNORECASE)
_ENDS = {
    "front": ("LF", "RF"), "fronts": ("LF", "RF"), "primary": ("LF", "RF"), "pri": ("LF", "RF"),
    "rear": ("LR", "RR"), "rears": ("LR", "RR"), "secondary": ("LR", "RR"), "sec": ("LR", "RR"), "back": ("LR", "RR"),
    "left": ("LF", "LR"), "right": ("RF", "RR"), "all": FOUR, "all round": FOUR, "sq": FOUR, "square": FOUR,
    "lf": ("LF",), "rf": ("RF",), "lr": ("LR",), "rr": ("RR",), "left front": ("LF",), "right front": ("RF",),
    "left rear": ("LR",), "right rear": ("RR",),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class JetsWritten:
    """What a cell says of the jets: corner -> label, and corner -> numbers more (or fewer) than in the run before."""

    labels: Mapping[str, str] = field(default_factory=dict)
    steps: Mapping[str, int] = field(default_factory=dict)


def is_label(written: str) -> bool:
    """True for what may stand on a single jet."""
    return re.fullmatch(_LABEL, written, re.IGNORECASE) is not None


def jets_written(written: str, corners: Sequence[str] = FOUR) -> JetsWritten | None:
    """The jets that a cell names for these corners (LF RF LR RR, or the two of an end), None where it is not clear.

    '72/80' is front and rear of four corners, left and right of two. A single number says nothing of four corners.
    """
    text = " ".join(written.split()).strip(" .;")
    square = _SQUARE.fullmatch(text)
    if square is not None:
        return JetsWritten(dict.fromkeys(corners, square[1].upper()))
    parts = re.split(r"\s*[-/,;x–]\s*|\s+", text)
    if all(re.fullmatch(_LABEL, part, re.IGNORECASE) for part in parts):
        return _labelled([part.upper() for part in parts], text, corners)
    return _stepped(text, corners)


def _labelled(parts: Sequence[str], text: str, corners: Sequence[str]) -> JetsWritten | None:
    if len(parts) == len(corners):
        return JetsWritten(dict(zip(corners, parts, strict=True)))
    if len(parts) == 2 and len(corners) == 4 and "/" in text:
        front, rear = parts
        return JetsWritten({"LF": front, "RF": front, "LR": rear, "RR": rear})
    if len(parts) == 1 and len(corners) <= 2:
        return JetsWritten(dict.fromkeys(corners, parts[0]))
    return None


def _stepped(text: str, corners: Sequence[str]) -> JetsWritten | None:
    steps: dict[str, int] = {}
    for part in re.split(r"\s*[,;&]\s*|\s+and\s+", text):
        match = _STEP.fullmatch(part)
        named = _ENDS.get(match[2].lower(), ()) if match else ()
        if match is None or not named or not set(named) <= set(corners) | set(FOUR):
            return None
        step = int(re.sub(r"[−–]", "-", match[1]).replace(" ", ""))
        steps |= {corner: step for corner in named if corner in corners}
    return JetsWritten(steps=steps)


def stepped_label(label: str, step: int) -> str | None:
    """The label that many numbers up or down; None where the label is no whole number."""
    return str(int(label) + step) if label.isdecimal() and int(label) + step > 0 else None
