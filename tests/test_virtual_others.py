"""The engines of other forms are engines: their oracle is an oracle, and what differs from the usual form differs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.virtual_engine import VirtualEngine
from tests.virtual_looks import Racer
from tests.virtual_others import OtherEngine, OtherRacer, other_best, other_weather

SEEDS = range(40, 43)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_neighbour_of_the_oracles_tuneup_is_better_inside_the_limits(seed: int) -> None:
    engine = OtherEngine.other(seed)
    air = other_weather(seed, engine, 2)[1]
    found = other_best(engine, air)
    assert not engine.state(found.tuneup, air).past_a_limit
    start = engine.state(engine.start, air)
    assert start.past_a_limit or start.torque_pct <= found.torque_pct
    for step in (-1.0, 1.0):
        moved = replace(found.tuneup, total_deg=found.tuneup.total_deg + step)
        state = engine.state(moved, air)
        assert state.past_a_limit or state.torque_pct <= found.torque_pct


@pytest.mark.parametrize("seed", SEEDS)
def test_best_timing_hangs_on_the_mixture(seed: int) -> None:
    engine = replace(OtherEngine.other(seed), late_burn_lean=0.2)
    air = engine.truth.reference_air
    lean = replace(engine.start, jets=dict.fromkeys(engine.start.jets, 60))
    timing_deg = engine.state(lean, air).timing_deg
    usual = VirtualEngine.state(engine, lean, air)
    assert (timing_deg <= usual.timing_deg + 1e-12).all() and (usual.mixture_pct < 0.0).any()
    assert (timing_deg < usual.timing_deg - 1.0).any()


def test_the_air_moves_up_to_8_percent_between_runs() -> None:
    airs = [other_weather(seed, OtherEngine.other(seed), 8) for seed in SEEDS]
    moves = [abs(np.diff(np.log([air.dry_kg_m3 for air in one]))).max() for one in airs]
    assert 0.03 < max(moves) < 0.09


def test_marks_creep_as_the_engine_soaks_and_the_same_seed_logs_the_same() -> None:
    engine = OtherEngine.other(41)
    air = engine.truth.reference_air
    racers = [OtherRacer(engine), OtherRacer(engine), Racer(engine)]
    logs = [[racer.run(engine.start, air).looks for _ in range(6)] for racer in racers]
    assert logs[0] == logs[1] and logs[0] != logs[2]
