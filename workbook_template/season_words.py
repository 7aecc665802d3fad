"""What the season charts say in words: titles, what was changed in a few letters, why something is not drawn."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from engine_rules.logbook import Engine
from engine_rules.looks import applies
from engine_rules.results import UNITS
from engine_rules.season import LEAST_RUNS, Course, Season
from engine_rules.season_result import ResultCourse
from workbook_template.book import ReadBook
from workbook_template.layout import Unit, layout
from workbook_template.tables import house_of
from workbook_template.wording import ARROW, MINUS, plain

MOST_LETTERS = 26  # of what is written upright above a run
MOST_NAMES, MOST_ALIKE = 12, 3
_JET = re.compile(r"jet (\S+) (\S+ to \S+)")
_TRIM = re.compile(r"cylinder (\S+) (timing|fuel) trim (\S+) to (.+)")
_NAMES = {
    "ring": "Ring",
    "shell_ring": "Shell ring",
    "strap_mark": "Strap mark",
    "egt": "EGT",
}
_ANSWERS = {
    "ring.mm_per_pct": "Ring, mm per % fuel",
    "shell_ring.turns_per_pct": "Shell ring, turns per % fuel",
    "strap.share_per_deg": "Strap mark, % per degree of timing",
    "strap.share_per_pct": "Strap mark, % per % fuel",
    "strap.share_per_heat_step": "Strap mark, % per step of plug heat",
    "egt.k_per_pct": "EGT, {egt} per % fuel",
    "egt.k_per_deg": "EGT, {egt} per degree of timing",
    "air.fuel_exponent": "Fuel with air density, power",
}


@dataclass(frozen=True, slots=True)
class Units:
    """The units that this workbook logs in."""

    egt: Unit
    speed: Unit
    power: Unit
    weight: Unit

    @staticmethod
    def of(book: ReadBook) -> Units:
        """As its headings name them, else as most of them do."""
        return Units(
            _unit(book, "readings", "egt_c"),
            _unit(book, "runs", "speed_m_s"),
            _unit(book, "runs", "power_kw"),
            _unit(book, "runs", "weight_kg"),
        )

    def reading(self, kind: str, amount: float) -> float:
        """A reading as it is drawn: percent of the strap, or the unit of the heading."""
        if kind == "egt":
            return self.egt.written(amount)
        # Below nothing at all lies only what the estimate takes "none" for.
        return max(0.0, 100.0 * amount if kind == "strap_mark" else amount)

    def reading_unit(self, kind: str) -> str:
        """Its unit."""
        return {"ring": "mm", "shell_ring": "turns", "strap_mark": "% of the strap", "egt": self.egt.name}[kind]

    def result(self, kind: str, amount: float) -> float:
        """A result as it is drawn."""
        unit = {"speed": self.speed, "power": self.power}.get(kind)
        return amount if unit is None else unit.written(amount)

    def result_unit(self, kind: str) -> str:
        """Its unit."""
        return {"speed": self.speed.name, "power": self.power.name}.get(kind, UNITS[kind])

    def answer_scale(self, key: str) -> float:
        """What turns a learned answer into what is drawn."""
        return 100.0 if key.startswith("strap.") else 1.0 / self.egt.scale if key.startswith("egt.") else 1.0

    def answer_name(self, key: str, about: str) -> str:
        """A learned answer's title with its unit."""
        return _ANSWERS.get(key, about).format(egt=self.egt.name)


def _unit(book: ReadBook, sheet: str, key: str) -> Unit:
    table = book.tables.get(sheet)
    placed = table.placed.get(key) if table is not None else None
    if placed is not None and placed.unit is not None:
        return placed.unit
    column = next(one for one in layout().sheets[sheet].columns if one.key == key)
    unit = column.house_unit(house_of(tuple(book.tables.values())))
    assert unit is not None  # all of them are measured
    return unit


def change_label(changed: Sequence[str]) -> str:
    """'LF RF 74→73, timing 34→33°': what a run changed, short enough to stand above it."""
    jets: dict[str, list[str]] = {}
    parts, trims = [], []
    for one in changed:
        if found := _TRIM.fullmatch(one):
            trims.append(found)
        elif found := _JET.fullmatch(one):
            jets.setdefault(found[2], []).append(found[1])
        else:
            parts.append(one.replace("total timing", "timing"))
    parts = [f"{' '.join(at)} {move}" for move, at in jets.items()] + parts
    if len(trims) == 1:
        number, what, _, now = trims[0].groups()
        parts.append(f"cyl {number} {what} {now}")
    elif trims:
        parts.append(f"trims of {len(trims)} cyl")
    return _fitting([part.replace(" to ", ARROW).replace("-", MINUS) for part in parts])


def _fitting(parts: Sequence[str]) -> str:
    label = ""
    for at, part in enumerate(parts):
        longer = f"{label}, {part}" if label else part
        room = MOST_LETTERS if at == len(parts) - 1 else MOST_LETTERS - len(" +9 more")
        if label and len(longer) > room:
            return f"{label} +{len(parts) - at} more"
        label = longer
    return label[:MOST_LETTERS]


def reading_title(kind: str, units: Units) -> str:
    """'Ring (mm)'."""
    return f"{_NAMES[kind]} ({units.reading_unit(kind)})"


def course_title(course: Course, units: Units, season: Season) -> str:
    """'EGT (°F) · run 17: lowest cylinder 7, highest cylinder 3'."""
    name = reading_title(course.kind, units)
    last = max(at for at, one in enumerate(course.amounts) if one)
    seen = course.amounts[last]
    run = f"{name} · run {season.runs[last].name}"
    low, high = min(seen.values()), max(seen.values())
    if len(seen) < 2:
        return name
    if low == high:
        return f"{run}: all alike"
    return f"{run}: lowest {_cylinders(seen, low)}, highest {_cylinders(seen, high)}"


def group_title(course: Course, units: Units, bank: str) -> str:
    """'Ring (mm) · left bank'."""
    side = {"L": " · left bank", "R": " · right bank"}.get(bank, "")
    return f"{reading_title(course.kind, units)}{side}"


def result_title(result: ResultCourse, units: Units, standard: str) -> str:
    """'Speed (mph) in standard air (J1349) at 3150 lb'."""
    name = f"{result.kind.capitalize()} ({units.result_unit(result.kind)})"
    if result.kind == "lap time":
        return f"{name} as logged"
    weight = f" at {plain(units.weight.written(result.weight_kg), 0)} {units.weight.name}" if result.weight_kg else ""
    return f"{name} in standard air ({standard or 'J1349'}){weight}"


def _cylinders(seen: Mapping[int, float], amount: float) -> str:
    alike = [str(number) for number, one in seen.items() if one == amount]
    if len(alike) > MOST_ALIKE:
        return f"{len(alike)} cylinders"
    return f"cylinder{'s' if len(alike) > 1 else ''} {', '.join(alike)}"


def lead_lines(season: Season, numbers_row: int) -> Iterator[str]:
    """What stands on top."""
    newest = f"The newest {len(season.runs)} of {season.total} runs. " if len(season.runs) < season.total else ""
    yield (
        f"{newest}A gap is a run that was not read, or whose set is not fit to tune from. The numbers behind the "
        f"charts stand from row {numbers_row} down; charts and numbers may be changed, until the next fill."
    )


def season_notes(season: Season, engine: Engine) -> Iterator[str]:
    """What must be known to read the charts of the season, and what is not drawn and why."""
    drawn = [one for one in season.courses if one.runs_read >= LEAST_RUNS]
    if season.unfit:
        yield f"Not fit to tune from: {runs_named(season.unfit)}."
    if any(one.goal is not None for one in drawn):
        by = "the sheet Targets"
        if season.reference is not None:
            by = f"run {season.reference.run.name}, the reference in use"
        yield f"Goal: where the set counts as on target by {by}."
    if any(one.kind == "egt" and one.goal is None for one in drawn):
        yield "EGT has a goal only where a reference run has it: every engine has its own level."
    few = [
        _NAMES[one.kind]
        for one in season.courses
        if one.runs_read < LEAST_RUNS and applies(engine, one.kind) and _is_missed(one.kind, season)
    ]
    if few:
        yield f"Read on fewer than {LEAST_RUNS} runs that are fit, so not drawn: {', '.join(few)}."
    yield from result_notes(season.result)


def _is_missed(kind: str, season: Season) -> bool:
    """False for one of the two rings where the other is drawn: few read both."""
    other = {"ring": "shell_ring", "shell_ring": "ring"}.get(kind)
    return not any(one.kind == other and one.runs_read >= LEAST_RUNS for one in season.courses)


def result_notes(result: ResultCourse | None) -> Iterator[str]:
    """How far the results can be compared, and which cannot."""
    if result is None:
        yield "No result was logged, so none is drawn."
        return
    name = result.kind.capitalize()
    if result.runs_read < LEAST_RUNS:
        yield f"{name} is not drawn: it can be compared on fewer than {LEAST_RUNS} runs."
    elif result.kind == "lap time":
        yield "Lap times stand as logged: no law brings a lap to standard air."
    elif result.weight_kg is None and result.kind != "power":
        yield f"{name} is in standard air, but not at equal weight: the weight was not logged and is taken as kept."
    for why, names in result.left_out.items():
        yield f"{name} of {runs_named(names)} left out: {why}."


def runs_named(names: Sequence[str]) -> str:
    """'run 5', 'runs 1, 5, 9', or the newest of many and how many there are."""
    if len(names) == 1:
        return f"run {names[0]}"
    if len(names) <= MOST_NAMES:
        return f"runs {', '.join(names)}"
    return f"{len(names)} runs, the newest of them {', '.join(names[-3:])}"
