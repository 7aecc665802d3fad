"""Records of all sheets put together: a car's runs, each with its tune-up, its air and its cylinders."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta

from engine_rules.labels import label_key
from engine_rules.logbook import Cell, Finding, LogbookError
from workbook_template.found import Line, Record, Sheetful, Value, put
from workbook_template.headings import RUNS, column_of
from workbook_template.hosts.protocol import CellValue
from workbook_template.read_values import read_date, read_label, read_time
from workbook_template.shapes_list import run_named
from workbook_template.tables import PlacedColumn, Spot, as_text, is_ditto

WEATHER_HOLDS = timedelta(minutes=60)
REMARK_WORDS = 3
_UNREAD = "?"
_IDENTITY = ("car", "name", "date", "time")


@dataclass(slots=True)
class LoggedRun:
    """A run as found: its values by column key, those of its cylinders, where strapline may write for each cylinder."""

    name: str
    when: datetime | None = None
    values: dict[str, Value] = field(default_factory=dict)
    cylinders: dict[int, dict[str, Value]] = field(default_factory=dict)
    lines: dict[int, Line] = field(default_factory=dict)
    block: Line | None = None
    unread: list[LogbookError] = field(default_factory=list)
    noted: Line | None = None  # the line of its notes, where no record tells of a cylinder

    @property
    def notes(self) -> tuple[str, ...]:
        """What was written on the whole run, in every column of notes."""
        found = (value.value for key, value in self.values.items() if key.partition(".")[0] == "notes")
        return tuple(as_text(value) for value in found if value is not None)


@dataclass(slots=True)
class LoggedCar:
    """One car of the book; the name is '' where no column tells cars apart. Runs oldest first, else as they stand."""

    name: str
    runs: list[LoggedRun] = field(default_factory=list)


def spot_of(value: Value) -> Spot:
    """A found value as the readers of cells take it."""
    meaning = value.heading.meaning
    column = (meaning.column if meaning else None) or column_of(RUNS, "notes")
    assert column is not None
    return Spot(
        value.value, as_text(value.value), value.cell, PlacedColumn(column, 0, meaning.unit if meaning else None)
    )


def join(sheets: Sequence[Sheetful], findings: list[Finding]) -> list[LoggedCar]:
    """The cars of the book, in the order met. A record without a run's name goes to the run of its date and time."""
    records = [record for sheet in sheets for record in _with_identity(_runs_only(sheet.records, findings))]
    named = [record for record in records if _filled(record, "name")]
    waiting = [record for record in records if not _filled(record, "name")]
    cars: dict[str, LoggedCar] = {}
    for car, key, members in _grouped(named, findings):
        run = LoggedRun(key)
        cars.setdefault(label_or_blank(car), LoggedCar(car)).runs.append(run)
        for record in members:
            _merge(run, record, findings)
        run.when = next((when for when in map(_when, members) if when is not None), None)
    _place_unnamed(waiting, cars, findings)
    _share_nameless_car(cars)
    for one in cars.values():
        one.runs = _oldest_first(one.runs)
    return list(cars.values())


def label_or_blank(label: str) -> str:
    """The key of a car's name."""
    return label_key(label) if label.strip() else ""


def _filled(record: Record, key: str) -> Value | None:
    value = record.run.get(key)
    return None if value is None or value.value is None else value


def _runs_only(records: Sequence[Record], findings: list[Finding]) -> list[Record]:
    """The records without lines that hold words under the runs' names and nothing else: a day's heading, a remark."""
    found = []
    for record in records:
        name = _filled(record, "name")
        sets = (record.run, *record.cylinders.values())
        filled = sum(value.value is not None for values in sets for value in values.values())
        if name is not None and filled == 1 and not record.unread and _is_remark(name.value):
            findings.append(Finding(f"'{_short(name)}' names no run and is left out", name.cell))
        else:
            found.append(record)
    return found


def _is_remark(value: CellValue) -> bool:
    return isinstance(value, str) and (len(value.split()) >= REMARK_WORDS or not any(map(str.isdigit, value)))


def _with_identity(records: Sequence[Record]) -> Iterable[Record]:
    """Where the rows of one run follow each other, its name and day may stand in the first alone."""
    above: Record | None = None
    for record in records:
        one_cylinder = bool(record.unread) or (record.line is not None and record.line.cylinder is not None)
        for key in _IDENTITY:
            value = record.run.get(key)
            source = above.run.get(key) if above is not None else None
            if value is None or source is None:
                continue
            blank = value.value is None and (key == "car" or (one_cylinder and not _filled(record, "name")))
            if is_ditto(value.value) or blank:
                record.run[key] = source
        above = record
        yield record


def _label(value: Value) -> str:
    named = run_named(value.value)
    return named if named is not None else read_label(spot_of(value)).value


def _car(record: Record) -> str:
    value = _filled(record, "car")
    return "" if value is None else " ".join(as_text(value.value).split())


def _day_and_time(record: Record) -> tuple[datetime | None, time | None]:
    day, hour = _filled(record, "date"), _filled(record, "time")
    found = None if day is None else read_date(spot_of(day), [])
    at = None if hour is None else read_time(spot_of(hour), [])
    if at is None and found is not None and found.time() != time():
        at = found.time()
    return found, at


def _day_text(record: Record) -> str:
    """A day that was not understood tells runs apart where none was."""
    value = _filled(record, "date")
    return "" if value is None else f"{_UNREAD}{as_text(value.value).strip()}"


def _when(record: Record) -> datetime | None:
    day, at = _day_and_time(record)
    return None if day is None else datetime.combine(day, at or time())


def _grouped(records: Sequence[Record], findings: list[Finding]) -> Iterable[tuple[str, str, list[Record]]]:
    """Records by car and run. A run number that comes again on another day is a run of that day."""
    days: dict[tuple[str, str], dict[str, list[Record]]] = {}
    cars: dict[str, str] = {}
    labels: dict[str, str] = {}
    for record in records:
        name = _label(record.run["name"])
        car = _car(record)
        cars.setdefault(label_or_blank(car), car)
        labels.setdefault(label_key(name), name)
        day, _ = _day_and_time(record)
        by_day = days.setdefault((label_or_blank(car), label_key(name)), {})
        by_day.setdefault(_day_text(record) if day is None else f"{day:%Y-%m-%d}", []).append(record)
    for (car, name), by_day in days.items():
        dated = [day for day in by_day if day and not day.startswith(_UNREAD)] or [day for day in by_day if day]
        if len(dated) < 2:
            yield cars[car], labels[name], [record for members in by_day.values() for record in members]
            continue
        cell = by_day[dated[0]][0].run["name"].cell
        findings.append(Finding(f"run {labels[name]} comes on several days; each is named with its day", cell))
        undated = [record for day, members in by_day.items() if day not in dated for record in members]
        for date in dated:
            members = by_day[date] + (undated if date == dated[-1] else [])
            yield cars[car], f"{date.removeprefix(_UNREAD)}/{labels[name]}", members


def _merge(run: LoggedRun, record: Record, findings: list[Finding]) -> None:
    run.unread += record.unread
    for key, value in record.run.items():
        _keep(run.values, key, value, f"run {run.name}", findings)
    for number, values in record.cylinders.items():
        own = run.cylinders.setdefault(number, {})
        for key, value in values.items():
            _keep(own, key, value, f"run {run.name}, cylinder {number}", findings)
    for number, row in record.lines.items():
        run.lines.setdefault(number, row)
    line = record.line
    if line is None:
        return
    if not record.cylinders:
        run.noted = run.noted or (line if _filled(record, "notes") else None)
        return
    if line.cylinder is None:
        run.block = run.block or line
    else:
        run.lines.setdefault(line.cylinder, line)


def _keep(into: dict[str, Value], key: str, value: Value, what: str, findings: list[Finding]) -> None:
    """The first filled value stands; another one that differs is said."""
    known = into.get(key)
    if known is None or known.value is None:
        into[key] = value
        return
    if key == "notes":
        put(into, key, value)
        return
    if is_ditto(value.value):
        return
    alike = as_text(value.value).casefold() == as_text(known.value).casefold()
    if value.value is not None and not alike and key not in ("name", "car"):
        text = f"{what} says '{_short(value)}' here and '{_short(known)}' at {known.cell}, which counts"
        findings.append(Finding(text, value.cell))


def _short(value: Value) -> str:
    return spot_of(value).shown


def _place_unnamed(records: Sequence[Record], cars: dict[str, LoggedCar], findings: list[Finding]) -> None:
    """By date and time to a run; a record that has readings or times of its own is a run named by its day."""
    near: list[tuple[timedelta, int, Record, LoggedRun]] = []
    for record in records:
        day, at = _day_and_time(record)
        if day is None:
            _place_undated(record, cars, findings)
            continue
        key = label_or_blank(_car(record))
        mates = cars[key].runs if key in cars else [run for car in cars.values() for run in car.runs]
        of_day = [run for run in mates if run.when is not None and run.when.date() == day.date()]
        moment = datetime.combine(day, at or time())
        exact = of_day if at is None else [run for run in of_day if run.when == moment]
        if at is None and record.cylinders:
            exact = [run for run in exact[-1:] if not _tells_again(run, record)]
        for run in exact:
            _merge(run, record, findings)
        if exact:
            continue
        if record.cylinders or "et_s" in record.run or "speed_m_s" in record.run:
            _add_run(record, cars, key, day, at, findings)
            continue
        found = [(abs(run.when - moment), len(near), record, run) for run in of_day if run.when is not None]
        near += [one for one in found if one[0] <= WEATHER_HOLDS]
        if not any(one[0] <= WEATHER_HOLDS for one in found):
            findings.append(Finding("no run was made near this day and time; the row is left out", _any_cell(record)))
    served: set[tuple[int, str]] = set()
    for _, _, record, run in sorted(near, key=lambda one: one[:2]):
        cell = _any_cell(record)
        if cell is None or (id(run), cell.sheet) in served:
            continue
        served.add((id(run), cell.sheet))
        undated = {key: value for key, value in record.run.items() if key not in _IDENTITY}
        _merge(run, Record(undated, {}), findings)
        findings.append(Finding(f"the nearest in time to run {run.name}, and so taken for it", cell))


def _place_undated(record: Record, cars: dict[str, LoggedCar], findings: list[Finding]) -> None:
    """A row of a run that has neither a name nor a day is called by its place; what tells of no plug is left out."""
    cell = _any_cell(record)
    tells = any(value.value is not None for values in record.cylinders.values() for value in values.values())
    line = record.line
    if line is not None and line.cylinder is None and (tells or _filled(record, "notes")):
        run = LoggedRun(f"{'column' if line.frame.across else 'row'} {line.at}")
        cars.setdefault(label_or_blank(_car(record)), LoggedCar(_car(record))).runs.append(run)
        _merge(run, record, findings)
        findings.append(Finding(f"no run and no day stands here; the run is called '{run.name}'", cell))
    elif cell is not None and any(value.value is not None for value in record.run.values()):
        findings.append(Finding("no run and no day stands here; the row is left out", cell))


def _tells_again(run: LoggedRun, record: Record) -> bool:
    """True where the record fills what the run has of a cylinder: then a day without run numbers has another run."""
    return any(
        value.value is not None and (known := run.cylinders.get(number, {}).get(key)) and known.value is not None
        for number, values in record.cylinders.items()
        for key, value in values.items()
        if key not in ("plug", "cylinder")
    )


def _add_run(
    record: Record, cars: dict[str, LoggedCar], key: str, day: datetime, at: time | None, findings: list[Finding]
) -> None:
    car = cars.setdefault(key, LoggedCar(_car(record)))
    name = f"{day:%Y-%m-%d}" + (f" {at:%H:%M}" if at is not None else "")
    same = sum(1 for run in car.runs if run.name == name or run.name.startswith(f"{name}/"))
    run = LoggedRun(name if not same else f"{name}/{same + 1}", _when(record))
    car.runs.append(run)
    _merge(run, record, findings)


def _any_cell(record: Record) -> Cell | None:
    values = [*record.run.values(), *(value for one in record.cylinders.values() for value in one.values())]
    return next((value.cell for value in values if value.value is not None), None)


def _share_nameless_car(cars: dict[str, LoggedCar]) -> None:
    """What names no car belongs to the run of that name of the one car that has it."""
    nameless = cars.get("")
    if nameless is None or len(cars) < 2:
        return
    for run in list(nameless.runs):
        owners = [one for car in cars.values() if car is not nameless for one in car.runs if one.name == run.name]
        if len(owners) == 1:
            owner = owners[0]
            record = Record(run.values, run.cylinders)
            lines, block = run.lines, run.block
            owner.noted = owner.noted or run.noted
            _merge(owner, record, [])
            owner.unread += run.unread
            owner.lines |= lines
            owner.block = owner.block or block
            nameless.runs.remove(run)
    if not nameless.runs:
        del cars[""]


def _oldest_first(runs: list[LoggedRun]) -> list[LoggedRun]:
    """As they stand, but turned round where the log keeps the newest on top."""
    dated = [run.when for run in runs if run.when is not None]
    newest_on_top = len(dated) > 1 and dated == sorted(dated, reverse=True) and dated[0] != dated[-1]
    return runs[::-1] if newest_on_top else runs


def values_of(runs: Iterable[LoggedRun]) -> Iterable[Mapping[str, Value]]:
    """Every set of values of these runs: of each run, then of each of its cylinders."""
    for run in runs:
        yield run.values
        yield from run.cylinders.values()
