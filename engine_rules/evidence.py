"""From the log to facts: what was set, what was said of the run, what was seen on each plug."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from statistics import fmean, median
from typing import Any

from engine_rules.facts import Said, Seen, Setup, Worded
from engine_rules.labels import label_key
from engine_rules.logbook import Cell, Entry, Logbook, Reading, Run, Sign
from engine_rules.looks import note_words
from engine_rules.settings import Setting, SettingReader
from engine_rules.spark import adjacent_pairs
from engine_rules.targets import Targets
from engine_rules.words import word_lists

MIXTURE_KINDS = ("ring", "shell_ring", "lambda")
SPECKS_OF_HEAT = ("few black", "many black", "bright")
BOILED = ("glazed", "blistered")
SOFT = ("softening", "rounded")


def cell_text(cell: Cell | None) -> str:
    """The cell as 'Sheet!A1', or an empty text."""
    return "" if cell is None else str(cell)


def facts_of_run(logbook: Logbook, run: Run) -> list[Worded]:
    """Every fact that the log holds of one run, before anything is reasoned."""
    return [*_setup(logbook), *_said(logbook, run), *_seen(logbook, run), *_sums(logbook, run)]


def _setup(logbook: Logbook) -> Iterator[Worded]:
    engine = logbook.engine
    for what in ("fuel", "run_length", "timing_hardware", "carburetion"):
        value = getattr(engine, what)
        yield Setup(what=what, value=value, cylinder=0, text=f"{what.replace('_', ' ')}: {value}", cell="")
    if engine.firing_order:
        order = "-".join(str(number) for number in engine.firing_order)
        yield Setup(what="firing_order", value=order, cylinder=0, text=f"firing order {order}", cell="")
        places = {one.number: (one.bank, one.place) for one in engine.cylinders}
        for first, second in adjacent_pairs(engine.firing_order, places):
            text = f"cylinder {second} fires right after its neighbour {first}"
            yield Setup(what="fires_after_neighbour", value=first, cylinder=second, text=text, cell="")
    for one in engine.cylinders:
        if one.near_intake_valve:
            text = f"cylinder {one.number}: plug near the intake valve"
            yield Setup(what="near_intake_valve", value=True, cylinder=one.number, text=text, cell="")


def _said(logbook: Logbook, run: Run) -> Iterator[Worded]:
    conduct = run.conduct
    for what in ("new_plugs", "clean_cut", "idled_after", "lifted_or_spun"):
        entry: Entry[bool] | None = getattr(conduct, what)
        if entry is not None:
            noted = entry.cell is not None and any(entry.cell == note.cell for note in run.notes)
            text = f"{what.replace('_', ' ')}: {'yes' if entry.value else 'no'}"
            yield _said_entry(what, entry, entry.value, text + (" (from a note)" if noted else ""))
    if conduct.pull is not None:
        yield _said_entry("pull", conduct.pull, conduct.pull.value, f"pull: {conduct.pull.value}")
    yield from _time_at_load(run, logbook.targets)
    safe = known_safe(logbook, run)
    if safe is not None:
        yield safe
    result = run.result
    logged = [one for one in (result.et_s, result.speed_m_s, result.lap_time_s, result.power_kw) if one is not None]
    if logged:
        yield _said_entry("result", logged[0], True, "a result was logged")
    if result.speed_m_s is not None:
        yield _said_entry("speed", result.speed_m_s, True, "speed was logged")
    air = run.air
    parts = (air.temp_c, air.pressure_pa, air.humidity_pct)
    if any(part is None for part in parts):
        yield Said(what="air", value="part", text="air not logged in full", cell=cell_text(run.places.get("temp_c")))


def _said_entry(what: str, entry: Entry[Any], value: object, text: str) -> Worded:
    return Said(what=what, value=value, text=text, cell=cell_text(entry.cell))


def _time_at_load(run: Run, targets: Targets) -> Iterator[Worded]:
    time, laps = run.conduct.full_load_s, run.conduct.laps
    if time is not None:
        grade = load_grade(time.value, targets)
        yield _said_entry("full_load", time, grade, f"{time.value:g} s at full load: {grade}")
    few = laps_grade(run, targets)
    if laps is not None and few:
        yield _said_entry("laps", laps, few, f"{laps.value:g} laps: {few}")


def load_grade(full_load_s: float, targets: Targets) -> str:
    """'enough', 'marginal' or 'too short' a time at full load for plugs to take their marks."""
    if full_load_s < targets["fit.full_load_s"]:
        return "too short"
    return "marginal" if full_load_s < targets["fit.full_load_sure_s"] else "enough"


def laps_grade(run: Run, targets: Targets) -> str:
    """'enough' or 'too few' hot laps; empty where none were said or the run was no hot laps."""
    laps, pull = run.conduct.laps, run.conduct.pull
    if laps is None or pull is None or pull.value != "hot laps":
        return ""
    return "too few" if laps.value < targets["fit.laps"] else "enough"


def known_safe(logbook: Logbook, run: Run) -> Worded | None:
    """Whether total timing is known safe: as marked, or as an earlier run with as much timing was marked."""
    entry = run.tuneup.timing_known_safe
    if entry is not None:
        return _said_entry(
            "timing_known_safe", entry, entry.value, f"timing known safe: {'yes' if entry.value else 'no'}"
        )
    total = run.tuneup.total_timing_deg
    if total is None:
        return None
    for earlier in reversed(logbook.before(run)):
        marked, had = earlier.tuneup.timing_known_safe, earlier.tuneup.total_timing_deg
        if marked is not None and had is not None and marked.value and had.value >= total.value:
            text = f"timing known safe: {had.value:g} degrees were marked safe on run {earlier.name}"
            return _said_entry("timing_known_safe", marked, True, text)
    return None


def _seen(logbook: Logbook, run: Run) -> Iterator[Worded]:
    for reading in run.readings:
        for sign in reading.signs:
            yield Seen(
                what=sign.kind,
                grade=_grade(sign, logbook),
                cylinder=reading.cylinder,
                cell=cell_text(sign.cell),
                text=f"cylinder {reading.cylinder}: {word_lists()[sign.kind].title.lower()} {sign_words(sign)}"
                + note_words(sign),
            )
        if reading.plug is not None and reading.plug.value in logbook.plugs:
            plug = logbook.plugs.plug(reading.plug.value)
            yield Seen(
                what="tip",
                grade=plug.tip,
                cylinder=reading.cylinder,
                cell=cell_text(reading.plug.cell),
                text=f"cylinder {reading.cylinder}: plug {plug.label}, {plug.tip} tip",
            )
    yield from _probes(run, logbook.targets)


def sign_words(sign: Sign) -> str:
    """A sign as a reader sees it: its word, or its measure with its unit."""
    if sign.word is not None:
        return f"'{sign.word}'"
    unit = word_lists()[sign.kind].unit
    amount = sign.amount or 0.0
    return f"{amount:.0%} of the strap" if unit == "share" else f"{amount:g} {unit}"


def _grade(sign: Sign, logbook: Logbook) -> str:
    targets = logbook.targets
    if sign.kind == "strap_mark" and sign.amount is not None:
        over = sign.amount - targets[f"strap.target_{logbook.engine.run_length}"]
        if sign.amount >= targets["strap.weld_share"]:
            return "at the weld"
        if over >= targets["lean_hot.strap_over"]:
            return "hot"
        return "short" if over <= -targets["reference.strap"] else "right"
    if sign.kind == "threads" and sign.amount is not None:
        if sign.amount >= targets["heat.threads_hot"]:
            return "hot"
        return "cold" if sign.amount < targets["heat.threads_cold"] else "right"
    return sign.word or "measured"


def _probes(run: Run, targets: Targets) -> Iterator[Worded]:
    probes = [(reading, reading.egt_c) for reading in run.readings if reading.egt_c is not None]
    if len(probes) < 3:
        return
    middle = median(entry.value for _, entry in probes)
    for reading, entry in probes:
        off = entry.value - middle
        grade = (
            "hot" if off >= targets["reference.egt_k"] else "cold" if off <= -targets["reference.egt_k"] else "level"
        )
        yield Seen(
            what="egt",
            grade=grade,
            cylinder=reading.cylinder,
            cell=cell_text(entry.cell),
            text=f"cylinder {reading.cylinder}: pipe {off:+.0f} K against the middle of the set",
        )


def _sums(logbook: Logbook, run: Run) -> Iterator[Worded]:
    read = [reading for reading in run.readings if anything_read(reading)]
    extent = "all" if len(read) == len(logbook.engine.cylinders) else "some" if read or run.bank_lambda else "none"
    yield Said(what="readings", value=extent, text=f"readings of {len(read)} cylinders", cell="")
    if len(plug_labels(run)) > 1:
        yield Said(
            what="plug_types",
            value="mixed",
            text="more than one kind of plug in the set",
            cell=cell_text(run.readings[0].places.get("plug")),
        )
    specked = [r for r in read if any(s.kind == "specks" and s.word in SPECKS_OF_HEAT for s in r.signs)]
    if len(specked) > 1:
        names = ", ".join(str(reading.cylinder) for reading in specked)
        yield Said(what="cylinders_with_specks", value="several", text=f"specks on cylinders {names}", cell="")
    if read and all(reading.sign("specks") is not None for reading in read):
        yield Said(what="specks_read", value="all", text="specks were looked for on every plug read", cell="")
    boiling = any(is_boiling(reading) for reading in read)
    yield Said(
        what="boiling",
        value="seen" if boiling else "none",
        cell="",
        text="porcelain boils or is specked" if boiling else "no specks and no boiled porcelain",
    )
    if engine_lambda(run) and logbook.engine.fuel == "leaded gasoline":
        yield Seen(what="lambda_on_lead", grade="read", cylinder=0, text="lambda was read on leaded fuel", cell="")
    yield from _heat_so_far(logbook, run)
    yield from _knock_so_far(logbook, run)
    yield from _edges_so_far(logbook, run)
    yield from _of_the_set(logbook, read)


def _of_the_set(logbook: Logbook, read: list[Reading]) -> Iterator[Worded]:
    """How the threads and the marks of all plugs stand, taken together."""
    targets = logbook.targets
    turns = [sign.amount for reading in read if (sign := reading.sign("threads")) and sign.amount is not None]
    if turns:
        cold = fmean(turns) < targets["heat.threads_cold"] and max(turns) < targets["heat.threads_hot"]
        text = f"colour on {fmean(turns):.1f} turns of thread on average, on {max(turns):g} at most"
        yield Said(what="threads", value="cold" if cold else "not cold", cell="", text=text)
    marks = [sign.amount for reading in read if (sign := reading.sign("strap_mark")) and sign.amount is not None]
    if marks:
        over = fmean(marks) - targets[f"strap.target_{logbook.engine.run_length}"]
        far = over >= targets["strap.far_share"]
        text = f"the marks stand {over:+.0%} of the strap from target, on average".replace("-", "−")
        yield Said(what="marks", value="far" if far else "not far", cell="", text=text)


def knock_before(logbook: Logbook, run: Run) -> tuple[float, Run] | None:
    """The least total timing at which a plug of the last runs showed specks, and that run; None where none did."""
    recent = logbook.before(run)[-int(logbook.targets["safety.knock_memory_runs"]) :]
    found = [
        (one.tuneup.total_timing_deg.value, one)
        for one in recent
        if one.tuneup.total_timing_deg is not None and any(has_specks(reading) for reading in one.readings)
    ]
    return min(found, key=lambda pair: pair[0], default=None)


def edges_softened_at(logbook: Logbook, run: Run) -> float:
    """The least total timing at which the edges of a plug of the last runs softened; infinite where none did."""
    recent = logbook.before(run)[-int(logbook.targets["safety.knock_memory_runs"]) :]
    totals = [one.tuneup.total_timing_deg.value for one in recent if one.tuneup.total_timing_deg and _softened(one)]
    return min(totals, default=math.inf)


def _softened(run: Run) -> list[Reading]:
    return [one for one in run.readings if any(s.kind == "centre_wire" and s.word in SOFT for s in one.signs)]


def has_specks(reading: Reading) -> bool:
    """True where the plug showed specks that may be knock."""
    return any(sign.kind == "specks" and sign.word in SPECKS_OF_HEAT for sign in reading.signs)


def specked_before(logbook: Logbook, run: Run) -> dict[int, float]:
    """Cylinder -> the least timing of its own (total and trim) at which its plug showed specks on the last runs."""
    found: dict[int, float] = {}
    for one in logbook.before(run)[-int(logbook.targets["safety.knock_memory_runs"]) :]:
        total = one.tuneup.total_timing_deg
        for reading in one.readings if total is not None else ():
            if has_specks(reading) and total is not None:
                trim = reading.timing_trim_deg.value if reading.timing_trim_deg is not None else 0.0
                found[reading.cylinder] = min(total.value + trim, found.get(reading.cylinder, math.inf))
    return found


def _knock_so_far(logbook: Logbook, run: Run) -> Iterator[Worded]:
    seen, now = knock_before(logbook, run), run.tuneup.total_timing_deg
    if seen is None or now is None:
        return
    limit, earlier = seen
    room = limit - logbook.targets["safety.stay_below_knock_deg"] - now.value
    grade = "near" if room < 0 else "at the limit" if room < logbook.targets["cap.total_step_deg"] else "below"
    cell = next((reading.places.get("specks") for reading in earlier.readings if has_specks(reading)), None)
    yield Said(
        what="knock_before",
        value=grade,
        cell=cell_text(cell),
        text=f"specks showed at {limit:g} degrees on run {earlier.name}",
    )


def _edges_so_far(logbook: Logbook, run: Run) -> Iterator[Worded]:
    """Soft edges on an earlier run that, as it was set, stood no nearer its limit than this one."""
    reader = SettingReader(logbook)
    now = reader.read(run)
    if isinstance(now, str):
        return
    for earlier in reversed(logbook.before(run)[-int(logbook.targets["safety.knock_memory_runs"]) :]):
        soft = _softened(earlier)
        then = reader.read(earlier) if soft else ""
        if isinstance(then, str):
            continue
        for reading in soft:
            if _no_nearer(then, now, logbook.engine.numbers.index(reading.cylinder)):
                text = (
                    f"cylinder {reading.cylinder}: edges softened on run {earlier.name}, with no more timing, no less "
                    "fuel and no hotter plug than now"
                )
                cell = cell_text(reading.places.get("centre_wire"))
                yield Said(what="edges_before", value="soft", text=text, cell=cell)
                return


def _no_nearer(then: Setting, now: Setting, at: int) -> bool:
    """True where this cylinder then had no more timing, no less fuel and no hotter a plug than it has now."""
    plugs = then.rungs[at], now.rungs[at]
    colder_or_same = plugs[0] is None or plugs[1] is None or plugs[0] >= plugs[1]
    fed = (then.flow_pct >= now.flow_pct).all() and then.trim_pct[at] >= now.trim_pct[at]
    return bool(fed and then.timing_deg[at] <= now.timing_deg[at] and colder_or_same)


def anything_read(reading: Reading) -> bool:
    """True where something was read on this cylinder, a plug or a gauge."""
    return bool(reading.signs) or reading.egt_c is not None or reading.lambda_ratio is not None


def engine_lambda(run: Run) -> bool:
    """True where any lambda was logged."""
    return bool(run.bank_lambda) or any(reading.lambda_ratio is not None for reading in run.readings)


def is_boiling(reading: Reading) -> bool:
    """True where specks or the porcelain say that this plug was at its limit of heat."""
    return any(
        (sign.kind == "specks" and sign.word in SPECKS_OF_HEAT) or (sign.kind == "porcelain" and sign.word in BOILED)
        for sign in reading.signs
    )


def plug_labels(run: Run) -> Counter[str]:
    """The plugs of the set, as written, and how many cylinders carry each; labels that mean one plug count together."""
    written: dict[str, str] = {}
    labels = [reading.plug.value for reading in run.readings if reading.plug is not None]
    return Counter(written.setdefault(label_key(label), label) for label in labels)


def set_plug(logbook: Logbook, run: Run) -> str | None:
    """The plug that most cylinders carry, where the shelf knows it."""
    counted = [(count, label) for label, count in plug_labels(run).items() if label in logbook.plugs]
    return max(counted, key=lambda pair: (pair[0], pair[1]))[1] if counted else None


def _heat_so_far(logbook: Logbook, run: Run) -> Iterator[Worded]:
    """What the shelf still offers, and what hotter sets showed on earlier runs."""
    own = set_plug(logbook, run)
    if own is None:
        return
    now = logbook.plugs.plug(own).heat_order
    for side, steps in (("colder", 1), ("hotter", -1)):
        step = logbook.plugs.step(own, steps)
        if step is not None and step.colder_steps:
            yield Said(what="shelf_has", value=side, text=f"the shelf has a plug {side} than {own}", cell="")
    back = logbook.targets[f"heat.back_{logbook.engine.run_length}"]
    for earlier in logbook.before(run):
        label = set_plug(logbook, earlier)
        hotter = logbook.plugs.plug(label) if label is not None else None
        if hotter is None or hotter.heat_order >= now:
            continue
        boiled = next((reading for reading in earlier.readings if is_boiling(reading)), None)
        if boiled is not None:
            grade = "too near" if now < hotter.heat_order + back else "back enough"
            yield Said(
                what="boil_found",
                value=grade,
                cell=cell_text(boiled.places.get("porcelain")),
                text=f"plug {hotter.label} was at its limit of heat on run {earlier.name}",
            )
        hot = next((r for r in earlier.readings if (s := r.sign("threads")) and _grade(s, logbook) == "hot"), boiled)
        if hot is not None:
            yield Said(
                what="ran_hot",
                value=hotter.label,
                cell=cell_text(hot.places.get("threads")),
                text=f"plug {hotter.label} ran hot on run {earlier.name}",
            )
