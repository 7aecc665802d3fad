"""What one cell says of several columns, written out: jets of all corners, timing with exceptions, slips, blanks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from engine_rules.logbook import Cell, Finding, LogbookError
from workbook_template.found import Value
from workbook_template.headings import READINGS, RUNS
from workbook_template.jets_as_written import FOUR, JetsWritten, is_label, jets_written, stepped_label
from workbook_template.joined import LoggedRun, spot_of
from workbook_template.layout import Unit, layout
from workbook_template.read_values import read_label
from workbook_template.tables import as_text, is_ditto
from workbook_template.timing_as_written import slip_written, timing_written

_JETS = {"jets": FOUR, "jets.alike": FOUR, "jets.front": FOUR[:2], "jets.rear": FOUR[2:]}
_TUNE_UP = ("jets", "jets.alike", "jets.front", "jets.rear", "total_timing_deg", *(f"jets.{corner}" for corner in FOUR))
SINGLE_JET = "jets.one number"
_PER_CYLINDER = ("plug", "timing_trim_deg")
_LEAST_CHANGES = 2  # seen to be written at a change alone, before a blank is taken for unchanged

Ask = Callable[[str, Cell], None]


def spell_out(runs: Sequence[LoggedRun], ask: Ask, findings: list[Finding]) -> None:
    """Write out, oldest run first, what the cells say in short; what is not clear is asked and stays unknown."""
    for key in _TUNE_UP:
        _carry([run.values for run in runs], key, findings, ask)
    for key in _PER_CYLINDER:
        _carry_plugs(runs, key, findings)
    _spell_jets(runs, ask)
    above: Value | None = None
    for run in runs:
        above = _spell_timing(run, above, ask, findings)
        _spell_slip(run, ask)
        _share_plug(run)


def _carry(sets: Sequence[dict[str, Value]], key: str, findings: list[Finding], ask: Ask) -> None:
    """Blanks of a column that the log fills only where something changed, filled with what stood before."""
    column = [one[key] for one in sets if key in one]
    habit = _written_at_changes(column)
    if habit is None:
        return
    cell = next(value.cell for value in column if value.value is None)
    heading = column[0].heading.written
    if not habit:
        ask(
            f"{heading} is blank in some runs: does a blank mean unchanged? Until it is said they count as unknown",
            cell,
        )
        return
    last: Value | None = None
    for one in sets:
        value = one.get(key)
        if value is None or value.value is not None:
            last = value or last
        elif last is not None:
            one[key] = Value(last.value, value.cell, value.heading)
    findings.append(
        Finding(f"a blank under {heading} was taken as unchanged, as this log writes only what changes", cell)
    )


def _written_at_changes(column: Sequence[Value]) -> bool | None:
    """True where every filled cell differs from the one before and blanks stand between; None where nothing is blank.

    A log that says 'same' means something else by a blank.
    """
    filled = [as_text(value.value).casefold() for value in column if value.value is not None]
    if len(filled) == len(column) or not filled or column[0].value is None:
        return None
    changes = all(one != other for one, other in pairwise(filled))
    said = any(is_ditto(value.value) for value in column)
    return changes and not said and len(filled) > _LEAST_CHANGES


def _carry_plugs(runs: Sequence[LoggedRun], key: str, findings: list[Finding]) -> None:
    for number in sorted({number for run in runs for number in run.cylinders}):
        sets = [run.cylinders[number] for run in runs if number in run.cylinders]
        _carry(sets, key, findings, lambda *_: None)


def _spell_jets(runs: Sequence[LoggedRun], ask: Ask) -> None:
    before: dict[str, Value] = {}
    for run in runs:
        now = dict(before)
        for key, corners in _JETS.items():
            # A barrel may be called front or rear itself, as the two over a single row are: its column stays.
            whole = key in ("jets", "jets.alike")
            value = run.values.pop(key, None) if whole else run.values.get(key)
            if value is None or value.value is None:
                if value is not None:
                    run.values |= {
                        f"jets.{corner}": value.worked_out(None, RUNS, f"jets.{corner}") for corner in corners
                    }
                    now = {corner: label for corner, label in now.items() if corner not in corners}
                continue
            try:
                label = read_label(spot_of(value)).value
            except LogbookError as error:
                run.unread.append(error)
                now = {}
                continue
            one_number = not is_ditto(value.value) and is_label(label)
            if one_number and key == "jets":
                run.values[SINGLE_JET] = value  # of which it is depends on the carburetors
                now = {}
                continue
            if one_number and key == "jets.alike":
                value = replace(value, value=f"{label} sq")
            found = _jets(value, corners, now)
            if found is None:
                ask(_unclear_jets(value), value.cell)
                now = {corner: label for corner, label in now.items() if corner not in corners}
                continue
            for corner, label in found.items():
                run.values[f"jets.{corner}"] = now[corner] = value.worked_out(label, RUNS, f"jets.{corner}")
        for corner in FOUR:
            single = run.values.get(f"jets.{corner}")
            if single is not None and single.value is not None and not is_ditto(single.value):
                now.pop(corner, None)
                if _has_label(single):
                    now[corner] = single
        before = now


def _has_label(value: Value) -> bool:
    """False for what stands in the cell of a jet and cannot be one; the reader of the cell says so."""
    try:
        read_label(spot_of(value))
    except LogbookError:
        return False
    return True


def settle_single_jets(runs: Sequence[LoggedRun], stations: Sequence[str], ask: Ask) -> None:
    """One number for the run is the jet of each station, but of four corners it may be of two: that is asked."""
    for run in runs:
        value = run.values.pop(SINGLE_JET, None)
        if value is None:
            continue
        if set(stations) & set(FOUR):
            ask(_unclear_jets(value), value.cell)
            continue
        for station in stations:
            run.values[f"jets.{station}"] = value.worked_out(value.value, RUNS, f"jets.{station}")


def _jets(value: Value, corners: Sequence[str], before: dict[str, Value]) -> dict[str, str] | None:
    """The label of each corner that the cell settles; a step or 'same' needs the run before."""
    if is_ditto(value.value):
        written: JetsWritten | None = JetsWritten(steps=dict.fromkeys(corners, 0))
    else:
        written = jets_written(read_label(spot_of(value)).value, corners)
    if written is None:
        return None
    found = dict(written.labels)
    known = {corner: read_label(spot_of(one)).value for corner, one in before.items()}
    if written.steps:
        found |= {corner: known[corner] for corner in corners if corner in known and corner not in written.steps}
    for corner, step in written.steps.items():
        label = known.get(corner)
        moved = None if label is None else label if step == 0 else stepped_label(label, step)
        if moved is None:
            return None
        found[corner] = moved
    return found


def _unclear_jets(value: Value) -> str:
    return (
        f"which jets does '{spot_of(value).shown}' mean? Write front/rear as 72/80, all four as 76-76-84-86 "
        "(LF RF LR RR), all alike as 72 sq; a step such as +2 rear needs numbers in the run before. Where one number "
        "stands for all, say 'Run: Jets, all alike' of its heading on the sheet How it was read"
    )


def _spell_timing(run: LoggedRun, above: Value | None, ask: Ask, findings: list[Finding]) -> Value | None:
    """The total and the trims of exceptions; the total that a later run may take over."""
    value = run.values.get("total_timing_deg")
    if value is None or value.value is None:
        return None
    if is_ditto(value.value):
        if above is not None:
            run.values["total_timing_deg"] = value.worked_out(above.value, RUNS, "total_timing_deg", _degrees())
        return above
    if not isinstance(value.value, str):
        return value
    found = timing_written(value.value)
    if found is None:
        ask(f"what timing does '{spot_of(value).shown}' mean? Write it as 34, 34/32 on 5,7, or 34 -2 #7", value.cell)
        del run.values["total_timing_deg"]
        return None
    total: float | None = found.total_deg
    if total is None and above is not None and isinstance(above.value, float):
        total = above.value
        findings.append(Finding(f"no total stands here; {total:g} of the run before was taken", value.cell))
    for number, trim in found.trims_deg.items():
        own = run.cylinders.setdefault(number, {})
        if own.get("timing_trim_deg") is None or own["timing_trim_deg"].value is None:
            own["timing_trim_deg"] = value.worked_out(trim, READINGS, "timing_trim_deg", _degrees())
    made = value.worked_out(total, RUNS, "total_timing_deg", _degrees())
    run.values["total_timing_deg"] = made
    return made if total is not None else None


def _degrees() -> Unit:
    return layout().quantities["total_timing"].units["°"]


def _spell_slip(run: LoggedRun, ask: Ask) -> None:
    value = run.values.get("et_s")
    slip = slip_written(value.value) if value is not None and isinstance(value.value, str) else None
    if value is None or slip is None:
        return
    seconds = layout().quantities["elapsed_time"].units["s"]
    run.values["et_s"] = value.worked_out(slip.elapsed_s, RUNS, "et_s", seconds)
    known = run.values.get("speed_m_s")
    if known is None or known.value is None:
        unit = layout().quantities["speed"].unit(slip.unit or _named_in(value.heading.written))
        run.values["speed_m_s"] = value.worked_out(slip.speed, RUNS, "speed_m_s", unit)


def _named_in(heading: str) -> str:
    lowered = heading.casefold()
    return next((unit for unit in ("mph", "km/h", "kmh", "m/s") if unit in lowered), "?")


def _share_plug(run: LoggedRun) -> None:
    """One plug named for the run is the plug of every cylinder that names none."""
    value = run.values.pop("plug", None)
    if value is None or value.value is None:
        return
    for own in run.cylinders.values():
        if own.get("plug") is None:
            own["plug"] = value
