"""Whether a run may be learned from: what the rules of reading conclude, as plain code for a whole log at once.

Reasoning every run of a long log costs too much. The grades come from `evidence`, so that no threshold stands twice,
and a test holds every answer here against the rules themselves.
"""

from __future__ import annotations

from engine_rules.evidence import anything_read, laps_grade, load_grade, plug_labels
from engine_rules.logbook import Entry, Logbook, Reading, Run
from engine_rules.looks import TELLING

FOULED = ("wet", "oily", "steam clean")
SPOILS = ("wet one side", "loose", "dead", "anti-seize")


def readable(logbook: Logbook, run: Run) -> bool:
    """True where no rule of reading calls the set unfit."""
    conduct, targets = run.conduct, logbook.targets
    refused = (
        _said(conduct.new_plugs, False)
        or _said(conduct.clean_cut, False)
        or _said(conduct.idled_after, True)
        or _said(conduct.lifted_or_spun, True)
        or (conduct.full_load_s is not None and load_grade(conduct.full_load_s.value, targets) == "too short")
        or laps_grade(run, targets) == "too few"
    )
    if refused or any(_silver_in_doubt(reading) for reading in run.readings):
        return False
    return bool(run.bank_lambda) or any(anything_read(reading) for reading in run.readings)


def in_doubt(logbook: Logbook, run: Run) -> bool:
    """True where the rules of reading count the readings of this run for less."""
    conduct, targets = run.conduct, logbook.targets
    unsaid = conduct.new_plugs is None or conduct.clean_cut is None
    if unsaid and any(reading.sign(kind) for reading in run.readings for kind in TELLING):
        return True
    if conduct.full_load_s is not None and load_grade(conduct.full_load_s.value, targets) == "marginal":
        return True
    return len(plug_labels(run)) > 1


def spoiled(reading: Reading) -> bool:
    """True where something on the plug, or a dead cylinder, makes any of its readings doubtful."""
    return any(
        (sign.kind == "porcelain" and sign.word in FOULED) or (sign.kind == "also_seen" and sign.word in SPOILS)
        for sign in reading.signs
    )


def _silver_in_doubt(reading: Reading) -> bool:
    words = {(sign.kind, sign.word) for sign in reading.signs}
    return ("also_seen", "anti-seize") in words and ("specks", "bright") in words


def _said(entry: Entry[bool] | None, value: bool) -> bool:
    return entry is not None and entry.value is value
