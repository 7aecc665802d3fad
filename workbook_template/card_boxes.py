"""What each box of the card says: a station of the carburetion, a cylinder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from engine_rules.advice import Advice, CylinderAdvice, JetChange, Swap
from engine_rules.logbook import Engine, Run, Station
from engine_rules.spark import companion_pairs
from workbook_template.wording import (
    ARROW,
    KEEP,
    Settled,
    mixture_words,
    plain,
    signed,
    tab_bend,
    timing_words,
    trim_move,
)

LEAVE = "leave"


@dataclass(frozen=True, slots=True)
class Box:
    """One box: its name, what was read there, what to do there, and the firings behind it.

    heavy: there is work to do or a caution, so the box is drawn with a heavy border.
    """

    name: str
    state: str
    task: str
    heavy: bool
    because: tuple[int, ...] = ()


def own_stations(engine: Engine) -> Mapping[int, Station]:
    """Cylinder -> the station that feeds it alone; empty unless every station feeds one cylinder."""
    owners = {
        station.name: [cylinder.number for cylinder in engine.cylinders if cylinder.shares.get(station.name, 0.0) > 0.0]
        for station in engine.stations
    }
    if not owners or len(owners) != len(engine.cylinders) or any(len(fed) != 1 for fed in owners.values()):
        return {}
    return {owners[station.name][0]: station for station in engine.stations}


def station_box(station: Station, run: Run, advice: Advice) -> Box:
    """The jet of one station: what it is, what it becomes."""
    change = next((jet for jet in advice.jets if jet.corner == station.name), None)
    if change is None:
        jet = run.tuneup.jets.get(station.name)
        return Box(station.name, "", f"{KEEP} {jet.value}" if jet else "jet not known", heavy=False)
    way = "richer" if change.flow_pct > 0 else "leaner"
    state = f"{way} {signed(change.flow_pct)} %"
    if change.wanted is not None:
        state += f"\n{change.wanted} fits best, not on hand"
    return Box(station.name, state, f"{change.old} {ARROW} {change.new}", heavy=True, because=change.because)


def cylinder_box(one: CylinderAdvice, engine: Engine, run: Run, advice: Advice, settled: Settled, tab_unit: str) -> Box:
    """One cylinder: mixture and timing as read, and what to change there, a line each."""
    state = [mixture_words(one, settled), timing_words(one, settled)]
    if one.sure is not None:
        state.append(f"How sure: {one.sure}")
    warned = [caution.level for caution in advice.cautions if caution.cylinder == one.cylinder]
    tasks = ["STOP: see top"] if "stop" in warned else ["See caution"] if "back off" in warned else []
    tasks += _tasks(one, engine, advice, tab_unit)
    kept = _kept_jet(one.cylinder, engine, run) or LEAVE
    return Box(str(one.cylinder), "\n".join(state), "\n".join(tasks) or kept, bool(tasks), one.because)


def _tasks(one: CylinderAdvice, engine: Engine, advice: Advice, tab_unit: str) -> list[str]:
    tasks = []
    own = own_stations(engine).get(one.cylinder)
    if own is not None:
        tasks += [f"Jet {jet.old} {ARROW} {jet.new}{_wanted(jet)}" for jet in advice.jets if jet.corner == own.name]
    if one.fuel_trim is not None:
        tasks.append(f"Fuel trim {signed(one.fuel_trim.old)} {ARROW} {signed(one.fuel_trim.new)} %")
    if one.trim is not None:
        tasks.append(f"Trim {trim_move(one.trim)}")
        if one.tab_mm is not None:
            amount, _, way = tab_bend(one.tab_mm, tab_unit).rpartition(" ")
            tasks += [f"Tab {amount}", f"{way}{_with_companion(one.cylinder, engine)}"]
    if one.plug is not None:
        tasks.append(f"Plug {one.plug.old} {ARROW} {one.plug.new}{_lacking(one.plug)}")
    if one.tip is not None:
        tasks.append(f"Tip {ARROW} {one.tip.new}{_lacking(one.tip)}")
    return tasks


def _wanted(jet: JetChange) -> str:
    return "" if jet.wanted is None else f"\n({jet.wanted} fits best)"


def _lacking(swap: Swap) -> str:
    return "" if swap.on_hand else "\n(not on hand)"


def _with_companion(cylinder: int, engine: Engine) -> str:
    if engine.timing_hardware != "paired" or len(engine.firing_order) % 2:
        return ""
    # One feature serves both companions: bent once for each, it would go twice as far.
    other = {first: second for pair in companion_pairs(engine.firing_order) for first, second in (pair, pair[::-1])}
    return f", once with {other[cylinder]}"


def _kept_jet(cylinder: int, engine: Engine, run: Run) -> str | None:
    own = own_stations(engine).get(cylinder)
    jet = None if own is None else run.tuneup.jets.get(own.name)
    return None if jet is None else f"{KEEP} jet {jet.value}"


def timing_box(run: Run, advice: Advice) -> Box:
    """Total timing: from what to what."""
    if advice.timing is not None:
        move = f"{plain(advice.timing.old)}° {ARROW} {plain(advice.timing.new)}°"
        return Box("TOTAL TIMING", "", move, heavy=True, because=advice.timing.because)
    logged = run.tuneup.total_timing_deg
    return Box("TOTAL TIMING", "", "not logged" if logged is None else f"{KEEP} {plain(logged.value)}°", heavy=False)
