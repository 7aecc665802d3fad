"""The columns Notes: what their free text adds to the columns, contradicts in them, or leaves to be asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from engine_rules.logbook import Cell, Conduct, Engine, Entry, Finding, Reading, Run, Sign
from engine_rules.notes import DANGER, NoteReading, read_note
from engine_rules.words import word_lists

TOLD_BETTER = {"said_mixture": ("ring", "shell_ring")}
SEVERAL = ("also_seen",)
MOST_LISTED = 5


def with_notes(runs: Sequence[Run], engine: Engine, findings: list[Finding]) -> tuple[Run, ...]:
    """The runs with what their notes say added: signs and conduct, where no column of that kind is filled.

    A sign of danger is kept beside its column, whatever the column says. Contradictions, phrases that may mean two
    things, and what was not understood become findings.
    """
    banks: dict[str, list[int]] = {}
    for one in sorted(engine.cylinders, key=lambda one: one.place):
        banks.setdefault(one.bank, []).append(one.number)
    left: list[str] = []
    read = tuple(_with_notes(run, engine.numbers, banks, findings, left) for run in runs)
    if left:
        more = f", and {len(left) - MOST_LISTED} more" if len(left) > MOST_LISTED else ""
        findings.append(Finding("nothing was made of these words in notes: " + "; ".join(left[:MOST_LISTED]) + more))
    return read


def _with_notes(
    run: Run, numbers: Sequence[int], banks: Mapping[str, Sequence[int]], findings: list[Finding], left: list[str]
) -> Run:
    said: dict[int, list[Sign]] = {}
    for reading in run.readings:
        for written in reading.notes:
            note = read_note(written.value, numbers, reading.cylinder, banks)
            _gather(note, written.cell, said, findings, left)
    for written in run.notes:
        note = read_note(written.value, numbers, None, banks)
        _gather(note, written.cell, said, findings, left)
        run = replace(run, conduct=_conduct(run.conduct, note.conduct, written, findings))
    if not said:
        return run
    known = {reading.cylinder: reading for reading in run.readings}
    readings = [known.get(number) or Reading(number) for number in numbers if number in known or number in said]
    return replace(run, readings=tuple(_joined(one, said.get(one.cylinder, ()), findings) for one in readings))


def _gather(
    note: NoteReading, cell: Cell | None, said: dict[int, list[Sign]], findings: list[Finding], left: list[str]
) -> None:
    for number, signs in note.signs.items():
        said.setdefault(number, []).extend(replace(sign, cell=cell) for sign in signs)
    findings.extend(Finding(f'"{ask.phrase}" {ask.why}', cell) for ask in note.asks)
    left.extend(f'"{clause}" ({cell})' if cell else f'"{clause}"' for clause in note.left_alone)


def _joined(reading: Reading, said: Sequence[Sign], findings: list[Finding]) -> Reading:
    """A reading with the signs of notes added to those of its columns."""
    signs = list(reading.signs)
    written = {sign.kind: sign for sign in signs}
    for sign in said:
        column = written.get(sign.kind)
        danger = (sign.kind, sign.word) in DANGER
        if column is not None and _contradicts(sign, reading.signs):
            findings.append(_contradiction(reading, sign, column, danger))
        told = column is not None or any(kind in written for kind in TOLD_BETTER.get(sign.kind, ()))
        again = any((one.kind, one.word) == (sign.kind, sign.word) for one in signs)
        # Of two words on one scale the first stands: notes of the plug's own row, and of fewest cylinders, come first.
        second = bool(word_lists()[sign.kind].unit) and any(one.kind == sign.kind for one in signs)
        if not again and (danger or not (told or second)):
            signs.append(sign)
    return replace(reading, signs=tuple(signs))


def _contradicts(sign: Sign, columns: Sequence[Sign]) -> bool:
    """True where no word of the column is the note's, nor stands next to it on the scale."""
    if sign.kind in SEVERAL and (sign.kind, sign.word) not in DANGER:
        return False
    order = list(word_lists()[sign.kind].amounts)
    for column in columns:
        if column.kind != sign.kind:
            continue
        if order and abs(_rung(column, order) - _rung(sign, order)) <= 1:
            return False
        if not order and column.word == sign.word:
            return False
    return True


def _rung(sign: Sign, order: Sequence[str]) -> int:
    if sign.word is not None:
        return order.index(sign.word)
    amounts = word_lists()[sign.kind].amounts
    return min(range(len(order)), key=lambda at: abs(amounts[order[at]] - (sign.amount or 0.0)))


def _contradiction(reading: Reading, sign: Sign, column: Sign, danger: bool) -> Finding:
    title = word_lists()[sign.kind].title
    counts = "both count until you correct one" if danger else "the column counts"
    said = f"the note says '{sign.written}' of cylinder {reading.cylinder}"
    return Finding(f"{said}, the column {title} '{column.written}'; {counts}", sign.cell)


def _conduct(conduct: Conduct, said: Mapping[str, bool], note: Entry[str], findings: list[Finding]) -> Conduct:
    """The conduct with the blank columns filled from the note; a finding where it contradicts a filled one."""
    found = {}
    for key, answer in said.items():
        column: Entry[bool] | None = getattr(conduct, key)
        if column is None:
            found[key] = Entry(answer, note.cell, note.written)
        elif column.value != answer:
            title, words = key.replace("_", " ").capitalize(), ("no", "yes")
            text = f"the note says {title}: {words[answer]}, the column {words[column.value]}; the column counts"
            findings.append(Finding(text, note.cell))
    return replace(conduct, **found)  # type: ignore[arg-type]
