"""Whether any step of fuel, timing or trim would win enough to be made."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from engine_rules.choose import StationLimits, choose_fuel_trims, choose_jets, choose_total_timing, choose_trims
from engine_rules.decide import (
    current_fuel_trims,
    current_jets,
    current_trims,
    mixture_arrays,
    timing_arrays,
)
from engine_rules.estimate import Estimate
from engine_rules.fuel import Ladder
from engine_rules.judge import Room, is_read
from engine_rules.logbook import Logbook, Run
from engine_rules.losses import mixture_loss, timing_loss


def room_for_steps(logbook: Logbook, run: Run, fuel_alone: Estimate, solved: Estimate) -> Room:
    """Room for a step of each kind, as if nothing were closed. Fuel is judged, as it is chosen, without the straps."""
    targets = logbook.targets
    fuel_gain = _fuel_gain(logbook, run, fuel_alone) if is_read("mixture", fuel_alone) else 0.0
    timed = is_read("timing", solved)
    return Room(
        fuel=fuel_gain > targets["settled.gain_pct"],
        much_fuel=fuel_gain > targets["order.fuel_waits_pct"],
        timing=timed and _total_gain(logbook, solved) > targets["settled.gain_pct"],
        trim=timed and _trim_gain(logbook, run, solved) > targets["settled.gain_pct"],
    )


def _fuel_gain(logbook: Logbook, run: Run, estimate: Estimate) -> float:
    """What the best step of fuel would win, percent of torque with lean counted dearer."""
    targets = logbook.targets
    mean, sd = mixture_arrays(estimate)
    loss = mixture_loss(mean, sd, targets)
    if logbook.engine.carburetion == "EFI":
        now = current_fuel_trims(logbook, run)
        span = (-targets["cap.fuel_trim_leaner_pct"], targets["cap.fuel_trim_richer_pct"])
        new = choose_fuel_trims(logbook.engine, now, mean, sd, targets, dict.fromkeys(now, span))
        shift = np.array([new[number] - now[number] for number in logbook.engine.numbers])
    else:
        jets = current_jets(run)
        if set(jets) != {station.name for station in logbook.engine.stations}:
            # Without the jets no step can be chosen, but the work is still fuel's.
            return float(loss.at(np.zeros_like(mean)).mean())
        limits = StationLimits(-int(targets["cap.jet_leaner_sizes"]), int(targets["cap.jet_richer_sizes"]))
        every_size = Ladder(tuple(replace(jet, on_hand=True) for jet in logbook.jets.sizes))
        choice = choose_jets(logbook.engine, every_size, jets, mean, sd, targets, dict.fromkeys(jets, limits))
        shift = np.array(choice.mixture_shift_pct)
    return float((loss.at(np.zeros_like(mean)) - loss.at(shift)).mean())


def _total_gain(logbook: Logbook, estimate: Estimate) -> float:
    targets = logbook.targets
    mean, sd = timing_arrays(estimate)
    move = choose_total_timing(mean, sd, targets, -targets["cap.retard_deg"], targets["cap.advance_deg"])
    return (timing_loss(mean, sd, targets) - timing_loss(mean + move, sd, targets)) / len(mean)


def _trim_gain(logbook: Logbook, run: Run, estimate: Estimate) -> float:
    """What the cylinder that gains most would gain: one cylinder's trim is one cylinder's affair."""
    targets = logbook.targets
    now, cap = current_trims(logbook, run), targets["cap.trim_step_deg"]
    mean, sd = timing_arrays(estimate)
    new = choose_trims(logbook.engine, now, mean, sd, targets, dict.fromkeys(now, (-cap, cap)))
    moves = [new.get(number, now[number]) - now[number] for number in logbook.engine.numbers]
    return max(
        timing_loss(error, spread, targets) - timing_loss(error + move, spread, targets)
        for error, spread, move in zip(mean, sd, moves, strict=True)
    )
