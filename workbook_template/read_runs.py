"""The sheets Runs and Readings."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time
from typing import TypeVar

from engine_rules.fuel import Ladder
from engine_rules.labels import label_key
from engine_rules.logbook import (
    Air,
    Conduct,
    Engine,
    Entry,
    Finding,
    LogbookError,
    Reading,
    Result,
    Run,
    Sign,
    Tuneup,
)
from engine_rules.plugs import PlugShelf
from workbook_template.layout import layout
from workbook_template.read_values import (
    read_count,
    read_date,
    read_label,
    read_number,
    read_signs,
    read_text,
    read_time,
    read_word,
    read_yes_no,
)
from workbook_template.tables import DITTO, Row, Spot, Table

T = TypeVar("T")
SIGN_KINDS = ("ring", "shell_ring", "strap_mark", "specks", "porcelain", "centre_wire", "threads", "also_seen")


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run, the row that it stands in, and what could not be read there."""

    run: Run
    row: int
    unread: Sequence[LogbookError] = ()


def read_runs(table: Table, engine: Engine, ladder: Ladder, findings: list[Finding]) -> tuple[RunRow, ...]:
    """The runs, oldest first, without their readings. Raises LogbookError for a run given twice."""
    runs: list[RunRow] = []
    seen: dict[str, str] = {}
    above: Row | None = None
    for bare in table.rows():
        row = _with_copies(bare, above, findings, but=("name",))
        name = row.spot("name")
        if name is None:
            findings.append(Finding("this row has no run name and is left out", row.cell("name")))
            continue
        label = read_label(name).value
        if label_key(label) in seen:
            raise name.refusal(f"run {label} stands in the list twice; give each run its own name")
        seen[label_key(label)] = label
        runs.append(RunRow(_run(row, label, engine, ladder, findings), row.number, row.unread))
        above = row
    _note_banks(table, engine, findings)
    return _oldest_first(runs)


def _with_copies(row: Row, source: Row | None, findings: list[Finding], but: tuple[str, ...] = ()) -> Row:
    """The row with 'same' replaced by what it stands for; unknown, and a finding, where there is nothing to copy."""
    copied = {}
    for key in row.dittos():
        if key in but:
            continue
        copied[key] = source.raw(key) if source is not None else None
        if source is None:
            findings.append(Finding("'same' has nothing to copy and counts as unknown", row.cell(key)))
    return replace(row, copied=copied)


def _entry(row: Row, key: str, read: Callable[[Spot], T]) -> T | None:
    """What a cell says; None where it is blank, or cannot be read, which the row then notes."""
    try:
        spot = row.spot(key)
        return None if spot is None else read(spot)
    except LogbookError as error:
        row.unread.append(error)
        return None


def _notes(row: Row) -> tuple[Entry[str], ...]:
    """What every column of notes says; a racer's own sheet may have several."""
    keys = (key for key in row.table.placed if key.partition(".")[0] == "notes")
    return tuple(one for key in keys if (one := _entry(row, key, read_text)) is not None)


def _numbers(row: Row, findings: list[Finding]) -> Callable[[str], Entry[float] | None]:
    return lambda key: _entry(row, key, lambda spot: read_number(spot, findings))


def _run(row: Row, name: str, engine: Engine, ladder: Ladder, findings: list[Finding]) -> Run:
    number = _numbers(row, findings)
    reference = _entry(row, "reference", read_yes_no)
    jets = {station.name: _jet(row, station.name, ladder) for station in engine.stations}
    lambdas = {bank: number(f"bank_lambda.{bank}") for bank in ("L", "R", "")}
    return Run(
        name=name,
        when=_when(row, findings),
        place=_entry(row, "place", read_text),
        air=_air(row, findings),
        tuneup=Tuneup(
            jets={station: jet for station, jet in jets.items() if jet is not None},
            total_timing_deg=number("total_timing_deg"),
            timing_known_safe=_entry(row, "timing_known_safe", read_yes_no),
        ),
        conduct=_conduct(row, findings),
        result=Result(*map(number, ("et_s", "speed_m_s", "lap_time_s", "power_kw", "weight_kg"))),
        bank_lambda={bank: one for bank, one in lambdas.items() if one is not None},
        reference=reference is not None and reference.value,
        notes=_notes(row),
        places=row.places,
    )


def _jet(row: Row, station: str, ladder: Ladder) -> Entry[str] | None:
    return _entry(row, f"jets.{station}", lambda spot: _known_part(spot, lambda label: ladder.jet(label).label))


def _known_part(spot: Spot, known: Callable[[str], str]) -> Entry[str]:
    """The label of a jet or a plug, as the shelf writes it."""
    label = read_label(spot)
    try:
        return replace(label, value=known(label.value))
    except ValueError as error:
        raise spot.refusal(str(error)) from None


def _air(row: Row, findings: list[Finding]) -> Air:
    number = _numbers(row, findings)
    pressure, kind, altitude = number("pressure_pa"), _entry(row, "pressure_kind", read_word), number("altitude_m")
    if pressure is not None and kind is not None and kind.value == "sea-level" and altitude is None:
        findings.append(
            Finding("a sea-level pressure needs the altitude; without it the pressure counts as unknown", pressure.cell)
        )
        pressure = None
    return Air(number("temp_c"), pressure, kind, altitude, _humidity(row, findings))


def _humidity(row: Row, findings: list[Finding]) -> Entry[float] | None:
    """A number up to 1 is a share: air as dry as 1 % is not met, and cells shown as percent hold shares."""
    entry = _numbers(row, findings)("humidity_pct")
    if entry is None or not 0.0 < entry.value <= 1.0:
        return entry
    findings.append(Finding(f"humidity of {entry.written} was read as {100.0 * entry.value:g} %", entry.cell))
    return replace(entry, value=100.0 * entry.value)


def _conduct(row: Row, findings: list[Finding]) -> Conduct:
    number = _numbers(row, findings)
    return Conduct(
        pull=_entry(row, "pull", read_word),
        new_plugs=_entry(row, "new_plugs", read_yes_no),
        clean_cut=_entry(row, "clean_cut", read_yes_no),
        idled_after=_entry(row, "idled_after", read_yes_no),
        lifted_or_spun=_entry(row, "lifted_or_spun", read_yes_no),
        full_load_s=number("full_load_s"),
        laps=number("laps"),
    )


def _when(row: Row, findings: list[Finding]) -> datetime | None:
    day = _entry(row, "date", lambda spot: read_date(spot, findings))
    hour = _entry(row, "time", lambda spot: read_time(spot, findings))
    return day if day is None or hour is None else datetime.combine(day, hour)


def _oldest_first(runs: Sequence[RunRow]) -> tuple[RunRow, ...]:
    """By date and time. A run without a date goes with the one above it; a day that lacks a time keeps its rows."""
    dates = [one.run.when for one in runs]
    timeless = {when.date() for when in dates if when is not None and when.time() == time()}
    last = min((when for when in dates if when is not None), default=datetime.min)
    keyed = []
    for when, one in zip(dates, runs, strict=True):
        last = when or last
        keyed.append(
            (last.replace(hour=0, minute=0, second=0, microsecond=0) if last.date() in timeless else last, one)
        )
    return tuple(one for _, one in sorted(keyed, key=lambda pair: pair[0]))


def _note_banks(table: Table, engine: Engine, findings: list[Finding]) -> None:
    banks = {cylinder.bank for cylinder in engine.cylinders}
    for bank in ("L", "R", ""):
        key = f"bank_lambda.{bank}"
        row = next((row for row in table.rows() if key in table.placed and row.raw(key) is not None), None)
        if row is not None and bank not in banks:
            which = f"bank {bank}" if bank else "single row"
            findings.append(Finding(f"the engine has no {which}; its lambda is left out", row.cell(key)))


@dataclass(frozen=True, slots=True)
class ReadingRows:
    """Readings by run and cylinder, and the row of each; a run whose rows hold nothing yet has rows but no readings.

    unread: name of a run -> what could not be read in its rows.
    """

    readings: Mapping[str, tuple[Reading, ...]]
    rows: Mapping[tuple[str, int], int]
    unread: Mapping[str, Sequence[LogbookError]]


def read_readings(
    table: Table, runs: Sequence[Run], engine: Engine, shelf: PlugShelf, findings: list[Finding]
) -> ReadingRows:
    """The plugs of each run, in the engine's order of cylinders. Raises LogbookError for a row that fits no run."""
    unread: dict[str, list[LogbookError]] = {}
    found = _rows_by_run(table, runs, engine, findings, unread)
    last: dict[int, Row] = {}
    readings: dict[str, tuple[Reading, ...]] = {}
    for run in runs:
        rows = {number: found[run.name, number] for number in engine.numbers if (run.name, number) in found}
        copied = {
            number: _with_copies(row, last.get(number), findings, but=("run", "cylinder"))
            for number, row in rows.items()
        }
        last.update(copied)
        if any(row.holds_any("run", "cylinder") for row in rows.values()):
            readings[run.name] = tuple(_reading(row, number, shelf, findings) for number, row in copied.items())
            unread.setdefault(run.name, []).extend(error for row in copied.values() for error in row.unread)
    return ReadingRows(readings, {place: row.number for place, row in found.items()}, unread)


def _rows_by_run(
    table: Table, runs: Sequence[Run], engine: Engine, findings: list[Finding], unread: dict[str, list[LogbookError]]
) -> Mapping[tuple[str, int], Row]:
    names = {label_key(run.name): run.name for run in runs}
    found: dict[tuple[str, int], Row] = {}
    above: str | None = None
    for row in table.rows():
        name = _run_named(row, names, above, findings)
        above = name
        try:
            number = _cylinder(row, engine)
            if (name, number) in found:
                text = f"cylinder {number} of run {name} stands in the list twice; keep one row"
                raise LogbookError(text, row.cell("cylinder").sheet, row.cell("cylinder").ref)
        except LogbookError as error:
            unread.setdefault(name, []).append(error)
        else:
            found[name, number] = row
    return found


def _cylinder(row: Row, engine: Engine) -> int:
    spot = row.spot("cylinder")
    if spot is None:
        cell = row.cell("cylinder")
        raise LogbookError("this row has no cylinder; write its number or clear the row", cell.sheet, cell.ref)
    number = read_count(spot)
    if number not in engine.numbers:
        known = ", ".join(map(str, sorted(engine.numbers)))
        raise spot.refusal(
            f"the engine has no cylinder {number} (it has {known}); correct it or add it to the sheet Engine"
        )
    return number


def _run_named(row: Row, names: Mapping[str, str], above: str | None, findings: list[Finding]) -> str:
    spot = row.spot("run")
    if spot is None or (isinstance(spot.value, str) and spot.value.strip().lower() in DITTO):
        if above is None:
            cell = row.cell("run")
            raise LogbookError("this row has no run; write its name as on the sheet Runs", cell.sheet, cell.ref)
        text = f"the run is blank; taken as {above}, as in the row above"
        if spot is None and all(finding.text != text for finding in findings):
            findings.append(Finding(text, row.cell("run")))
        return above
    label = read_label(spot).value
    if label_key(label) not in names:
        raise spot.refusal(f"there is no run {label} on the sheet Runs; add its row there, or correct the name here")
    return names[label_key(label)]


def _reading(row: Row, number: int, shelf: PlugShelf, findings: list[Finding]) -> Reading:
    measured = _numbers(row, findings)
    signs = [sign for kind in SIGN_KINDS for sign in _entry(row, kind, read_signs) or ()]
    return Reading(
        cylinder=number,
        plug=_plug(row, shelf),
        signs=_ring_settled(row, tuple(signs), findings),
        egt_c=measured("egt_c"),
        lambda_ratio=measured("lambda_ratio"),
        timing_trim_deg=measured("timing_trim_deg"),
        fuel_trim_pct=measured("fuel_trim_pct"),
        notes=_notes(row),
        places=row.places,
    )


def _plug(row: Row, shelf: PlugShelf) -> Entry[str] | None:
    return _entry(row, "plug", lambda spot: _known_part(spot, lambda label: shelf.plug(label).label))


def _ring_settled(row: Row, signs: tuple[Sign, ...], findings: list[Finding]) -> tuple[Sign, ...]:
    """A measured ring in place of its word; a finding where the two contradict each other."""
    measure = _numbers(row, findings)("ring_mm")
    if measure is None:
        return signs
    sign = Sign("ring", None, measure.value, measure.cell, measure.written)
    worded = next((one for one in signs if one.kind == "ring"), None)
    if worded is not None and _far_apart(worded, measure.value):
        findings.append(
            Finding(
                f"the ring is '{worded.written}' in one column and {measure.written} in the other; the measure counts",
                sign.cell,
            )
        )
    return (sign, *(one for one in signs if one.kind != "ring"))


def _far_apart(worded: Sign, width_mm: float) -> bool:
    """True where the measure's nearest word is not the one written, nor a neighbour of it."""
    amounts = layout().lists["ring"].amounts
    order = list(amounts)

    def nearest(width: float) -> int:
        return min(range(len(order)), key=lambda at: abs(amounts[order[at]] - width))

    assert worded.amount is not None
    return abs(nearest(worded.amount) - nearest(width_mm)) > 1
