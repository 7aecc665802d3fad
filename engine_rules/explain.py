"""Rules that were one fact short, and the rule book as a reader sees it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from engine_rules.advice import OneShort
from engine_rules.facts import Said, Seen, Worded
from engine_rules.inference import NOT, Fact
from engine_rules.logbook import Logbook, Run
from engine_rules.matching import matches
from engine_rules.rulebook import RuleEntry, all_rules
from engine_rules.trace import Reasoner
from engine_rules.words import word_lists

# A blank in these columns is an answer (nothing else was seen), so no rule is short of it.
BLANK_IS_AN_ANSWER = {"also_seen", "set_aside", "cold_pipe", "lambda_on_lead", "tip", "egt"}

# Columns that a rule may lack, and what the racer calls them.
RUN_COLUMNS = {
    "new_plugs": "New plugs",
    "clean_cut": "Clean cut",
    "idled_after": "Idled after",
    "lifted_or_spun": "Lifted or spun",
    "full_load": "Full load",
    "timing_known_safe": "Timing known safe",
}
PLACES = {"full_load": "full_load_s"}


def one_short(logbook: Logbook, run: Run, reasoner: Reasoner) -> tuple[OneShort, ...]:
    """The rules that would have had all their facts but for one blank column, with the first cell to fill in."""
    found: list[OneShort] = []
    blanks = {kind: _blank_cylinders(run, kind) for kind in word_lists()}
    facts = list(reasoner.facts.values())
    for entry in all_rules():
        lacking = _lacking(entry, run, blanks)
        if lacking is None:
            continue
        what, cylinders = lacking
        holding = [c for c in cylinders if _rest_holds(entry, what, c, facts)]
        if holding:
            found.append(OneShort(entry.id, entry.says, _lacks(what, holding), _cell(run, what, holding[0])))
    return tuple(found)


def _blank_cylinders(run: Run, kind: str) -> tuple[int, ...]:
    return tuple(reading.cylinder for reading in run.readings if reading.sign(kind) is None)


def _positive(entry: RuleEntry) -> Iterator[Worded]:
    return (pattern for pattern in entry.patterns[1:] if isinstance(pattern, Fact))


def _lacking(entry: RuleEntry, run: Run, blanks: Mapping[str, tuple[int, ...]]) -> tuple[str, tuple[int, ...]] | None:
    """The one column that is blank among those the rule asks for, and for which cylinders (0: the run)."""
    lacking: list[tuple[str, tuple[int, ...]]] = []
    for pattern in _positive(entry):
        what = pattern.get("what")
        if isinstance(pattern, Seen) and isinstance(what, str) and what in blanks and what not in BLANK_IS_AN_ANSWER:
            if blanks[what]:
                lacking.append((what, blanks[what]))
        elif isinstance(pattern, Said) and isinstance(what, str) and what in RUN_COLUMNS and _blank_run(run, what):
            lacking.append((what, (0,)))
    return lacking[0] if len(lacking) == 1 else None


def _blank_run(run: Run, what: str) -> bool:
    if what == "timing_known_safe":
        return run.tuneup.timing_known_safe is None
    return getattr(run.conduct, PLACES.get(what, what)) is None


def _rest_holds(entry: RuleEntry, what: str, cylinder: int, facts: list[Worded]) -> bool:
    bound: dict[str, Any] = {"cylinder": cylinder}
    for pattern in entry.patterns[1:]:
        if isinstance(pattern, NOT):
            if any(matches(pattern[0], fact, bound) for fact in facts):
                return False
        elif pattern.get("what") != what and not any(matches(pattern, fact, bound) for fact in facts):
            return False
    return True


def _lacks(what: str, cylinders: list[int]) -> str:
    if what in RUN_COLUMNS:
        return f"the column '{RUN_COLUMNS[what]}' of this run"
    title = word_lists()[what].title.lower()
    return f"{title} of cylinder {', '.join(str(cylinder) for cylinder in cylinders)}"


def _cell(run: Run, what: str, cylinder: int) -> str | None:
    if what in RUN_COLUMNS:
        cell = run.places.get(PLACES.get(what, what))
    else:
        reading = run.reading(cylinder)
        cell = reading.places.get(what) if reading is not None else None
    return None if cell is None else str(cell)
