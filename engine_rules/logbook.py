"""The racer's log as frozen records: every value keeps the cell that it came from.

Inside, units are SI or the trade's own (degrees of crank angle, inches of jet bore); the unit is in each name.
`None` means that the racer left it blank: unknown, never zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Generic, TypeVar

from engine_rules.fuel import Ladder
from engine_rules.plugs import PlugShelf
from engine_rules.targets import Targets

T = TypeVar("T")


class LogbookError(Exception):
    """Input that cannot be used: where it stands, what was found, what to do. One sentence.

    `sheet` and `ref` name the place where there is one.
    """

    def __init__(self, text: str, sheet: str = "", ref: str = "") -> None:
        self.sheet, self.ref = sheet, ref
        place = f"{sheet}!{ref}: " if sheet and ref else f"{sheet}: " if sheet else ""
        super().__init__(place + text)


@dataclass(frozen=True, slots=True)
class Cell:
    """A place in the workbook, such as Readings!D14."""

    sheet: str
    ref: str

    def __str__(self) -> str:
        return f"{self.sheet}!{self.ref}"


@dataclass(frozen=True, slots=True)
class Entry(Generic[T]):
    """A value, the cell it came from, and how the racer wrote it."""

    value: T
    cell: Cell | None = None
    written: str = ""


@dataclass(frozen=True, slots=True)
class Sign:
    """One thing seen on a plug.

    kind: a scale or list of words.toml ('ring', 'shell_ring', 'strap_mark', 'specks', 'porcelain', 'centre_wire',
    'threads', 'also_seen'). word: the canonical word, or None where a measure was written. amount: on a scale, the
    measure in the scale's own unit (mm, turns, share of the strap's length). certainty: 1 for a filled column,
    less for a note in free text.
    """

    kind: str
    word: str | None
    amount: float | None = None
    cell: Cell | None = None
    written: str = ""
    certainty: float = 1.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One cylinder of one run. `places` gives the cell of each column of its row, filled or blank."""

    cylinder: int
    plug: Entry[str] | None = None
    signs: tuple[Sign, ...] = ()
    egt_c: Entry[float] | None = None
    lambda_ratio: Entry[float] | None = None
    timing_trim_deg: Entry[float] | None = None
    fuel_trim_pct: Entry[float] | None = None
    notes: tuple[Entry[str], ...] = ()
    places: Mapping[str, Cell] = field(default_factory=dict)

    def sign(self, kind: str) -> Sign | None:
        """The first sign of that kind, or None."""
        return next((sign for sign in self.signs if sign.kind == kind), None)


@dataclass(frozen=True, slots=True)
class Air:
    """The air as logged. pressure_kind: 'station' or 'sea-level' (an altimeter setting)."""

    temp_c: Entry[float] | None = None
    pressure_pa: Entry[float] | None = None
    pressure_kind: Entry[str] | None = None
    altitude_m: Entry[float] | None = None
    humidity_pct: Entry[float] | None = None


@dataclass(frozen=True, slots=True)
class Tuneup:
    """What was set on the engine. jets: station name -> label of the jet, as on the ladder."""

    jets: Mapping[str, Entry[str]] = field(default_factory=dict)
    total_timing_deg: Entry[float] | None = None
    timing_known_safe: Entry[bool] | None = None


@dataclass(frozen=True, slots=True)
class Conduct:
    """How the run was made. pull: 'pass', 'hot laps' or 'dyno pull'."""

    pull: Entry[str] | None = None
    new_plugs: Entry[bool] | None = None
    clean_cut: Entry[bool] | None = None
    idled_after: Entry[bool] | None = None
    lifted_or_spun: Entry[bool] | None = None
    full_load_s: Entry[float] | None = None
    laps: Entry[float] | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """What the clocks or the dyno said."""

    et_s: Entry[float] | None = None
    speed_m_s: Entry[float] | None = None
    lap_time_s: Entry[float] | None = None
    power_kw: Entry[float] | None = None
    weight_kg: Entry[float] | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """One pull of the log. bank_lambda: bank ('L', 'R') -> lambda where one sensor serves a bank."""

    name: str
    when: datetime | None = None
    place: Entry[str] | None = None
    air: Air = Air()
    tuneup: Tuneup = Tuneup()
    conduct: Conduct = Conduct()
    result: Result = Result()
    bank_lambda: Mapping[str, Entry[float]] = field(default_factory=dict)
    reference: bool = False
    notes: tuple[Entry[str], ...] = ()
    readings: tuple[Reading, ...] = ()
    places: Mapping[str, Cell] = field(default_factory=dict)

    def reading(self, cylinder: int) -> Reading | None:
        """The reading of one cylinder, or None where its row is missing."""
        return next((reading for reading in self.readings if reading.cylinder == cylinder), None)


@dataclass(frozen=True, slots=True)
class Station:
    """A place where fuel is metered. end: 'front', 'rear' or '' ; side: 'L', 'R' or ''."""

    name: str
    end: str = ""
    side: str = ""


@dataclass(frozen=True, slots=True)
class CylinderPlace:
    """Where a cylinder stands. bank: 'L', 'R' or '' (inline); place: 1 at the front of its bank.

    shares: station -> share of this cylinder's fuel that comes from it; the shares add up to 1.
    """

    number: int
    bank: str
    place: int
    shares: Mapping[str, float]
    near_intake_valve: bool = False


@dataclass(frozen=True, slots=True)
class Engine:
    """The engine as set up.

    fuel: 'leaded gasoline', 'unleaded gasoline', 'E85' or 'methanol'. arrangement: 'V', 'inline', 'flat'.
    run_length: 'short', 'long' or 'endurance'. manifold: 'single plane', 'dual plane', 'individual runner', 'other'.
    carburetion: 'one four-barrel', 'two four-barrels', 'individual runners', 'side-draughts', 'single', 'EFI'.
    metering: 'venturi', 'throttle map', 'displacement' or 'speed-density' (fuel.Metering); '' where it was not said.
    power_standard: one of air.POWER_STANDARDS, by which results are corrected; '' where it was not said.
    enrichment_area_in2: end -> area that a power valve or enrichment adds at full load, per station of that end.
    timing_hardware: 'none', 'tabs' (a feature a cylinder), 'paired' (a feature moves two companions), 'per-cylinder'.
    """

    name: str
    fuel: str
    arrangement: str
    run_length: str
    carburetion: str
    manifold: str
    firing_order: tuple[int, ...]
    cylinders: tuple[CylinderPlace, ...]
    stations: tuple[Station, ...] = ()
    enrichment_area_in2: Mapping[str, float] = field(default_factory=dict)
    timing_hardware: str = "none"
    tab_radius_mm: float | None = None
    trim_step_deg: float | None = None
    fuel_trim_step_pct: float | None = None
    metering: str = ""
    power_standard: str = ""

    @property
    def numbers(self) -> tuple[int, ...]:
        """The cylinder numbers, in the order of the sheet."""
        return tuple(cylinder.number for cylinder in self.cylinders)

    @property
    def is_alcohol(self) -> bool:
        """True where the porcelain ring does not apply (no soot to make it)."""
        return self.fuel in ("methanol", "E85")


@dataclass(frozen=True, slots=True)
class Finding:
    """Something met while reading that stops nothing: where, and what it means for the advice."""

    text: str
    cell: Cell | None = None


@dataclass(frozen=True, slots=True)
class Logbook:
    """All that was read: one engine, its shelf, its runs oldest first, its targets."""

    engine: Engine
    jets: Ladder
    plugs: PlugShelf
    runs: tuple[Run, ...]
    targets: Targets
    findings: tuple[Finding, ...] = ()

    def run(self, name: str | None = None) -> Run:
        """The run of that name, or the newest that has readings, or else the newest. Raises LogbookError for none."""
        if name is None:
            if not self.runs:
                raise LogbookError("there is no run in the log yet; fill in one row of the sheet Runs", "Runs")
            read = [run for run in self.runs if run.readings]
            return (read or list(self.runs))[-1]
        for run in self.runs:
            if run.name == name:
                return run
        known = ", ".join(run.name for run in self.runs[-8:]) or "none"
        raise LogbookError(f"there is no run {name}; the last runs are {known}", "Runs")

    def before(self, run: Run) -> tuple[Run, ...]:
        """The runs logged before this one, oldest first."""
        return self.runs[: self.runs.index(run)]
