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
from engine_rules.spark import expected_asymmetric_quadratic
from engine_rules.targets import Targets


def mixture_cost_pct(mean_pct: np.ndarray, sd_pct: np.ndarray, targets: Targets) -> float:
    """Expected torque lost by mixture, percent, mean of the cylinders; lean counted dearer than it costs."""
    lean = targets["loss.lean_pct_per_pct2"] * targets["dear.lean"]
    return float(np.mean(expected_asymmetric_quadratic(mean_pct, sd_pct, lean, targets["loss.rich_pct_per_pct2"])))


def timing_cost_pct(mean_deg: np.ndarray, sd_deg: np.ndarray, targets: Targets) -> float:
    """Expected torque lost by timing, percent, mean of the cylinders; advanced counted dearer than it costs."""
    late = targets["loss.timing_pct_per_deg2"]
    return float(np.mean(expected_asymmetric_quadratic(mean_deg, sd_deg, late, late * targets["dear.advanced"])))


def room_for_steps(logbook: Logbook, run: Run, fuel_alone: Estimate, solved: Estimate) -> Room:
    """Room for a step of each kind, as if nothing were closed. Fuel is judged without the straps."""
    fuel_gain = _fuel_gain(logbook, run, fuel_alone) if is_read("mixture", fuel_alone) else 0.0
    return Room(
        fuel=fuel_gain > logbook.targets["settled.gain_pct"],
        much_fuel=fuel_gain > logbook.targets["order.fuel_waits_pct"],
        timing=is_read("timing", solved) and _total_gain(logbook, solved) > logbook.targets["settled.gain_pct"],
        trim=is_read("timing", solved) and _trim_gain(logbook, run, solved) > logbook.targets["settled.gain_pct"],
    )


def _fuel_gain(logbook: Logbook, run: Run, estimate: Estimate) -> float:
    targets = logbook.targets
    mean, sd = mixture_arrays(estimate)
    before = mixture_cost_pct(mean, sd, targets)
    if logbook.engine.carburetion == "EFI":
        now = current_fuel_trims(logbook, run)
        span = (-targets["cap.fuel_trim_leaner_pct"], targets["cap.fuel_trim_richer_pct"])
        new = choose_fuel_trims(logbook.engine, now, mean, sd, targets, dict.fromkeys(now, span))
        shift = np.array([new[number] - now[number] for number in logbook.engine.numbers])
        return before - mixture_cost_pct(mean + shift, sd, targets)
    jets = current_jets(run)
    if set(jets) != {station.name for station in logbook.engine.stations}:
        return before  # without the jets no step can be chosen, but the work is still fuel's
    limits = StationLimits(-int(targets["cap.jet_leaner_sizes"]), int(targets["cap.jet_richer_sizes"]))
    every_size = Ladder(tuple(replace(jet, on_hand=True) for jet in logbook.jets.sizes))
    choice = choose_jets(logbook.engine, every_size, jets, mean, sd, targets, dict.fromkeys(jets, limits))
    return before - mixture_cost_pct(mean + np.array(choice.mixture_shift_pct), sd, targets)


def _total_gain(logbook: Logbook, estimate: Estimate) -> float:
    targets = logbook.targets
    mean, sd = timing_arrays(estimate)
    move = choose_total_timing(mean, sd, targets, -targets["cap.retard_deg"], targets["cap.advance_deg"])
    return timing_cost_pct(mean, sd, targets) - timing_cost_pct(mean + move, sd, targets)


def _trim_gain(logbook: Logbook, run: Run, estimate: Estimate) -> float:
    """What the cylinder that gains most would gain: one cylinder's trim is one cylinder's affair."""
    targets = logbook.targets
    now, cap = current_trims(logbook, run), targets["cap.trim_step_deg"]
    mean, sd = timing_arrays(estimate)
    new = choose_trims(logbook.engine, now, mean, sd, targets, dict.fromkeys(now, (-cap, cap)))
    shift = np.array([new.get(number, now[number]) - now[number] for number in logbook.engine.numbers])
    late = targets["loss.timing_pct_per_deg2"]
    before, after = (
        expected_asymmetric_quadratic(error, sd, late, late * targets["dear.advanced"])
        for error in (mean, mean + shift)
    )
    return float(np.max(before - after))
