"""From the stage, the closed directions and the needs to the one step that is made."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from engine_rules.choose import (
    JetChoice,
    StationLimits,
    choose_fuel_trims,
    choose_jets,
    choose_total_timing,
    choose_trims,
)
from engine_rules.estimate import Estimate
from engine_rules.evidence import edges_softened_at, knock_before, set_plug, specked_before
from engine_rules.facts import Worded
from engine_rules.judge import is_read, station_cylinders
from engine_rules.logbook import Engine, Logbook, Run
from engine_rules.plugs import PlugStep


@dataclass(frozen=True, slots=True)
class Order:
    """What the rules concluded about the step: the stage, what is closed, what safety needs, what is wanted.

    proven: total timing is known safe.
    """

    stage: str
    readable: bool
    proven: bool
    holds: frozenset[str]
    needs: tuple[Worded, ...] = ()
    wants: tuple[Worded, ...] = ()

    def need(self, what: str) -> tuple[Worded, ...]:
        """The needs of one kind."""
        return tuple(fact for fact in self.needs if fact["what"] == what)

    def wanted(self, what: str) -> str | None:
        """The side wanted of one kind; where both are, the safe one."""
        sides = {str(fact["side"]) for fact in self.wants if fact["what"] == what}
        return next((safe for safe in ("colder", "later") if safe in sides), min(sides, default=None))


@dataclass(frozen=True, slots=True)
class Step:
    """The one step that is made. Everything empty means that nothing is touched."""

    jets: JetChoice | None = None
    fuel_trims_pct: Mapping[int, float] = field(default_factory=dict)
    total_deg: float = 0.0
    trims_deg: Mapping[int, float] = field(default_factory=dict)
    plug: PlugStep | None = None
    tips: tuple[int, ...] = ()


def decide(
    logbook: Logbook, run: Run, estimate: Estimate, fuel_alone: Estimate, order: Order, fed: Engine | None = None
) -> Step:
    """Choose the step of this stage within what is open. Safety steps only go richer, later and colder.

    fuel_alone: the estimate without the straps, by which fuel is chosen, as it is by this that its stage is.
    fed: the engine with the shares of fuel that its log taught. What safety needs goes by the engine as set up: a share
    learned from few changes must not send a cylinder's fuel to another corner.
    """
    fuel = _fuel(logbook, run, fuel_alone, order, fed or logbook.engine)
    return Step(
        jets=fuel[0],
        fuel_trims_pct=fuel[1],
        total_deg=_total(logbook, run, estimate, order, _goes_leaner(logbook, run, fuel)),
        trims_deg=_trims(logbook, run, estimate, order) if order.stage == "spread" else {},
        plug=_plug(logbook, run, order),
        tips=tuple(sorted(int(f["place"]) for f in order.wants if f["what"] == "tip")) if _heat_open(order) else (),
    )


def current_trims(logbook: Logbook, run: Run) -> dict[int, float]:
    """Timing trim of every cylinder; one that was never written down is taken as none."""
    logged = {r.cylinder: r.timing_trim_deg.value for r in run.readings if r.timing_trim_deg is not None}
    return {number: logged.get(number, 0.0) for number in logbook.engine.numbers}


def current_fuel_trims(logbook: Logbook, run: Run) -> dict[int, float]:
    """Fuel trim of every cylinder, percent; one that was never written down is taken as none."""
    logged = {r.cylinder: r.fuel_trim_pct.value for r in run.readings if r.fuel_trim_pct is not None}
    return {number: logged.get(number, 0.0) for number in logbook.engine.numbers}


def current_jets(run: Run) -> dict[str, str]:
    """Station -> label of the jet that ran."""
    return {station: entry.value for station, entry in run.tuneup.jets.items()}


def mixture_arrays(estimate: Estimate) -> tuple[np.ndarray, np.ndarray]:
    """Mixture error and its spread by cylinder, % fuel."""
    states = estimate.cylinders
    return np.array([s.mixture_pct for s in states]), np.array([s.mixture_sd for s in states])


def timing_arrays(estimate: Estimate) -> tuple[np.ndarray, np.ndarray]:
    """Timing error and its spread by cylinder, crank degrees."""
    states = estimate.cylinders
    return np.array([s.timing_deg for s in states]), np.array([s.timing_sd for s in states])


def _fuel(
    logbook: Logbook, run: Run, estimate: Estimate, order: Order, fed: Engine
) -> tuple[JetChoice | None, dict[int, float]]:
    needed = _needed_sizes(logbook, order)
    judged = order.readable and is_read("mixture", estimate) and _fuel_is_wanted(order)
    if not judged and not needed:
        return None, {}
    open_leaner = judged and order.stage == "fuel" and "leaner" not in order.holds
    if logbook.engine.carburetion == "EFI":
        return None, _fuel_trims(logbook, run, estimate, needed, judged, open_leaner)
    jets = current_jets(run)
    if set(jets) != {station.name for station in logbook.engine.stations}:
        return None, {}
    least = _least_by_station(logbook, needed)
    limits = {}
    for station in jets:
        lowest = least.get(station, -_leaner_sizes(logbook, run) if open_leaner else 0)
        highest = int(logbook.targets["cap.jet_richer_sizes"]) if judged else lowest
        limits[station] = StationLimits(lowest, max(lowest, highest))
    mean, sd = mixture_arrays(estimate)
    return choose_jets(fed, logbook.jets, jets, mean, sd, logbook.targets, limits), {}


def _goes_leaner(logbook: Logbook, run: Run, fuel: tuple[JetChoice | None, dict[int, float]]) -> bool:
    """True where any station or cylinder gets less fuel than now."""
    jets, trims = fuel
    now = current_fuel_trims(logbook, run)
    flows = jets.flow_pct.values() if jets is not None else ()
    return any(flow < 0.0 for flow in flows) or any(new < now[number] for number, new in trims.items())


def _leaner_sizes(logbook: Logbook, run: Run) -> int:
    """Sizes leaner that one step may go: fewer where specks were seen lately."""
    key = "cap.jet_leaner_sizes" if knock_before(logbook, run) is None else "cap.jet_leaner_after_knock_sizes"
    return int(logbook.targets[key])


def _fuel_is_wanted(order: Order) -> bool:
    """At its own stage any fuel may be wanted; where the way to leaner is closed before that, only more of it."""
    sides = {str(fact["side"]) for fact in order.wants if fact["what"] == "fuel"}
    if order.stage == "fuel":
        return bool(sides)
    return "richer" in sides and order.stage in ("safety", "timing")


def _needed_sizes(logbook: Logbook, order: Order) -> dict[int, int]:
    needed: dict[int, int] = {}
    for fact in order.need("richer"):
        number = int(fact["cylinder"])
        needed[number] = max(needed.get(number, 0), round(logbook.targets[fact["by"]]))
    return needed


def _least_by_station(logbook: Logbook, needed: Mapping[int, int]) -> dict[str, int]:
    """Sizes to add at the stations that feed the cylinders in need; at all of them where all draw alike."""
    fed = station_cylinders(logbook.engine)
    least: dict[str, int] = {}
    for number, sizes in needed.items():
        main = [name for name, cylinders in fed.items() if number in cylinders] or list(fed)
        for name in main:
            least[name] = max(least.get(name, 0), sizes)
    return least


def _fuel_trims(
    logbook: Logbook, run: Run, estimate: Estimate, needed: Mapping[int, int], judged: bool, open_leaner: bool
) -> dict[int, float]:
    targets, now = logbook.targets, current_fuel_trims(logbook, run)
    limits = {}
    for number in now:
        least = needed.get(number, 0) * targets["safety.size_as_trim_pct"]
        lowest = -targets["cap.fuel_trim_leaner_pct"] if open_leaner and not least else least
        highest = max(lowest, targets["cap.fuel_trim_richer_pct"]) if judged else lowest
        limits[number] = (lowest, highest)
    mean, sd = mixture_arrays(estimate)
    chosen = choose_fuel_trims(logbook.engine, now, mean, sd, targets, limits)
    return {number: new for number, new in chosen.items() if new != now[number]}


def _total(logbook: Logbook, run: Run, estimate: Estimate, order: Order, leaner: bool) -> float:
    targets = logbook.targets
    need = max((targets[fact["by"]] for fact in order.need("retard")), default=0.0)
    if run.tuneup.total_timing_deg is None:
        return 0.0
    read = order.readable and is_read("timing", estimate)
    beside = order.wanted("timing_now")
    at_once = order.stage == "fuel" and (beside is not None or need > 0.0)
    if not (order.stage in ("safety", "timing") or at_once) or not (read or need):
        return 0.0
    chosen = 0.0
    if read:
        earlier = order.stage == "timing" or (beside == "earlier" and not leaner)
        open_advance = earlier and "advance" not in order.holds
        mean, sd = timing_arrays(estimate)
        highest = _room_to_advance(logbook, run) if open_advance else 0.0
        chosen = choose_total_timing(mean, sd, targets, -targets["cap.retard_deg"], highest)
    return min(chosen, -need) if need else chosen


def _room_to_advance(logbook: Logbook, run: Run) -> float:
    """Degrees that total timing may grow: the smallest step after specks or past soft edges, never near specks."""
    targets, now = logbook.targets, run.tuneup.total_timing_deg
    room = targets["cap.advance_deg"]
    if now is None:
        return room
    if now.value + room > edges_softened_at(logbook, run):
        room = min(room, targets["cap.total_step_deg"])
    seen = knock_before(logbook, run)
    if seen is None:
        return room
    below = seen[0] - targets["safety.stay_below_knock_deg"] - now.value
    return min(max(below, 0.0), room, targets["cap.total_step_deg"])


def _trims(logbook: Logbook, run: Run, estimate: Estimate, order: Order) -> dict[int, float]:
    if not is_read("timing", estimate):
        return {}
    now = current_trims(logbook, run)
    cap = logbook.targets["cap.trim_step_deg"]
    limits = {number: (-cap, room) for number, room in _trim_room(logbook, run, order, now, cap).items()}
    mean, sd = timing_arrays(estimate)
    chosen = choose_trims(logbook.engine, now, mean, sd, logbook.targets, limits)
    return {number: new for number, new in chosen.items() if new != now[number]}


def _trim_room(logbook: Logbook, run: Run, order: Order, now: Mapping[int, float], cap: float) -> dict[int, float]:
    """How far each cylinder's own timing may grow: not past where its plug showed specks lately, nor when closed."""
    total, specked = run.tuneup.total_timing_deg, specked_before(logbook, run)
    if "advance" in order.holds or (specked and total is None):
        return dict.fromkeys(now, 0.0)
    base, margin = total.value if total is not None else 0.0, logbook.targets["safety.stay_below_knock_deg"]
    return {
        number: min(cap, max(specked.get(number, math.inf) - margin - base - trim, 0.0)) for number, trim in now.items()
    }


def _heat_open(order: Order) -> bool:
    return order.stage == "heat" or (order.stage == "safety" and order.wanted("heat") == "colder")


def _plug(logbook: Logbook, run: Run, order: Order) -> PlugStep | None:
    own, side = set_plug(logbook, run), order.wanted("heat")
    if own is None or side is None or not _heat_open(order):
        return None
    if side == "hotter" and ("hotter" in order.holds or order.stage != "heat"):
        return None
    steps = int(logbook.targets["cap.heat_steps"])
    step = logbook.plugs.step(own, steps if side == "colder" else -steps)
    return None if step is None or step.wanted.label == own else step
