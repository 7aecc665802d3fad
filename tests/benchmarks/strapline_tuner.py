"""strapline as the tuner: each run is logged in its workbook, the workbook is filled, the advice applied."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.workbook import Workbook

from engine_rules import advise
from engine_rules.advice import Advice
from tests.virtual_engine import PLUG_LABELS, Tuneup, VirtualEngine
from tests.virtual_looks import Look, Observations
from workbook_template.build import BlankOptions, append_run, build_blank
from workbook_template.fill import plan
from workbook_template.hosts.blocks import blocks_from_workbook
from workbook_template.hosts.file import FileHost
from workbook_template.read import read_logbook

Adviser = Callable[[Observations], Advice]

_FIRST_RUN = datetime(2026, 4, 4, 10, 0)


@dataclass(slots=True)
class InMemory:
    """Logs into a workbook in memory and reads its cells: the quick route, which writes no file."""

    book: Workbook
    runs: int = 0

    @staticmethod
    def begin(engine: VirtualEngine) -> InMemory:
        return InMemory(_blank(engine))

    def __call__(self, seen: Observations) -> Advice:
        self.runs += 1
        _log(self.book, seen, self.runs)
        return advise(read_logbook(blocks_from_workbook(self.book)).logbook, str(self.runs))


@dataclass(slots=True)
class ThroughFile:
    """Logs into a workbook file, fills it as the racer would, and logs the next run into the filled file."""

    path: Path
    runs: int = 0

    @staticmethod
    def begin(engine: VirtualEngine, folder: Path) -> ThroughFile:
        path = folder / f"engine-{engine.seed}.xlsx"
        _blank(engine).save(path)
        return ThroughFile(path)

    def __call__(self, seen: Observations) -> Advice:
        self.runs += 1
        book = openpyxl.load_workbook(self.path)
        _log(book, seen, self.runs)
        book.save(self.path)
        host = FileHost(self.path)
        read = read_logbook(host.read())
        advice = advise(read.logbook, str(self.runs))
        host.apply(plan(read, [advice]))
        return advice


def applied(engine: VirtualEngine, tuneup: Tuneup, advice: Advice) -> Tuneup:
    """The tune-up with every change of the advice made. Raises ValueError for what the hardware cannot do."""
    jets = dict(tuneup.jets) | {jet.corner: int(float(jet.new)) for jet in advice.jets}
    trims = dict(tuneup.trims) | {one.cylinder: one.trim.new for one in advice.cylinders if one.trim is not None}
    plugs = dict(tuneup.plugs)
    for one in advice.cylinders:
        if one.plug is not None and one.plug.on_hand:
            plugs[one.cylinder] = one.plug.new
    total = tuneup.total_deg if advice.timing is None else advice.timing.new
    new = Tuneup(jets, total, trims, plugs)
    _check(engine, new)
    return new


def _check(engine: VirtualEngine, tuneup: Tuneup) -> None:
    if set(tuneup.plugs.values()) - set(PLUG_LABELS):
        raise ValueError(f"engine {engine.seed}: a plug that is not on the shelf")
    for number, trim in tuneup.trims.items():
        moved = engine.moved_with(number)
        if trim and not moved:
            raise ValueError(f"engine {engine.seed}: a trim without timing hardware")
        if any(tuneup.trims[other] != trim for other in moved):
            raise ValueError(f"engine {engine.seed}: {moved} can only be moved together")
        steps = trim / engine.trim_step_deg
        if abs(steps - round(steps)) > 1e-6:
            raise ValueError(f"engine {engine.seed}: a trim of {trim} is off the step of {engine.trim_step_deg}")


def _blank(engine: VirtualEngine) -> Workbook:
    layout = engine.layout
    book = build_blank(
        BlankOptions(
            cylinders=layout.cylinders,
            arrangement=layout.arrangement,
            carburetion=layout.carburetion,
            firing_order=layout.firing_order,
            timing_hardware=engine.hardware,
            name=f"Engine {engine.seed}",
        )
    )
    settings = {"Enrichment area, front": engine.logged_enrichment_in2 or None}
    if engine.hardware != "none":
        settings["Minimum trim step"] = engine.trim_step_deg
    if engine.hardware == "tabs":
        settings["Tab radius"] = engine.tab_radius_mm
    for row in book["Engine"].iter_rows(max_col=2):
        heading = str(row[0].value or "").split(" (")[0]
        if heading in settings:
            row[1].value = settings[heading]
    return book


def _log(book: Workbook, seen: Observations, number: int) -> None:
    tuneup, air = seen.tuneup, seen.air
    run: dict[str, Any] = {
        "name": number,
        "when": _FIRST_RUN + timedelta(minutes=50 * (number - 1)),
        "place": "home strip",
        "pull": "pass",
        "temp_c": air.temp_c,
        "pressure_pa": air.pressure_pa,
        "pressure_kind": "station",
        "humidity_pct": air.humidity_pct,
        "total_timing_deg": tuneup.total_deg,
        "timing_known_safe": _yes_no(seen.timing_known_safe),
        "new_plugs": "yes",
        "clean_cut": _yes_no(seen.clean_cut),
        "idled_after": _yes_no(seen.idled_after),
        "lifted_or_spun": "no",
        "full_load_s": seen.full_load_s,
        "speed_m_s": seen.speed_m_s,
    }
    run |= {f"jets.{station}": size for station, size in tuneup.jets.items()}
    run |= {f"bank_lambda.{bank}": ratio for bank, ratio in seen.bank_lambda.items()}
    append_run(book, run, {cylinder: _row(tuneup, cylinder, look) for cylinder, look in seen.looks.items()})


def _row(tuneup: Tuneup, cylinder: int, look: Look) -> Mapping[str, Any]:
    row = {field: getattr(look, field) for field in Look.__dataclass_fields__}
    row |= {"plug": tuneup.plugs[cylinder], "timing_trim_deg": tuneup.trims[cylinder]}
    return {key: value for key, value in row.items() if value is not None}


def _yes_no(fact: bool) -> str:
    return "yes" if fact else "no"
