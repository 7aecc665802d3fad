"""The virtual engine itself: physics point the right way, seeds repeat, the oracle is as good as brute force."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from tests.benchmarks.by_hand import by_hand
from tests.benchmarks.strapline_tuner import InMemory, ThroughFile, applied
from tests.virtual_engine import PLUG_LABELS, Air, Floats, Options, Tuneup, VirtualEngine, weather
from tests.virtual_looks import LOGGED, RING, SPECKS, STRAP, THREADS, Racer
from tests.virtual_oracle import best, moving_groups, trim_choices

SEEDS = range(30)


def mean_place(engine: VirtualEngine, tuneup: Tuneup, field: str, words: tuple[str, ...]) -> float:
    """Mean place of a mark among its words, over cylinders and runs that are fit."""
    racer = Racer(engine)
    runs = [racer.run(tuneup, engine.truth.reference_air) for _ in range(10)]
    return float(np.mean([words.index(getattr(look, field)) for run in runs if run.fit for look in run.looks.values()]))


def with_sizes(tuneup: Tuneup, up: int) -> Tuneup:
    return replace(tuneup, jets={name: size + up for name, size in tuneup.jets.items()})


def with_plug(tuneup: Tuneup, label: str) -> Tuneup:
    return replace(tuneup, plugs=dict.fromkeys(tuneup.plugs, label))


@pytest.mark.parametrize("seed", SEEDS)
def test_physics_point_the_right_way(seed: int) -> None:
    engine = VirtualEngine.random(seed)
    air, start = engine.truth.reference_air, with_plug(engine.start, "C")
    state = engine.state(start, air)
    richer = engine.state(with_sizes(start, 1), air)
    later = engine.state(replace(start, total_deg=start.total_deg - 1.0), air)
    colder = engine.state(with_plug(start, "D"), air)
    thin = engine.state(start, Air(air.temp_c, air.pressure_pa * 0.95, air.humidity_pct))

    assert richer.mixture_pct.mean() - state.mixture_pct.mean() == pytest.approx(2.6, abs=1.8)
    assert (later.timing_deg < state.timing_deg).all()
    assert (later.knock_margin_deg > state.knock_margin_deg).all()
    assert (later.tip_c < state.tip_c).all()
    assert (colder.tip_c < state.tip_c).all()
    assert (colder.mixture_pct == state.mixture_pct).all()
    # A venturi in 5 % thinner air runs about half of that richer, and the slower burn wants more advance.
    assert 1.5 < (thin.mixture_pct - state.mixture_pct).mean() < 4.0
    assert (thin.timing_deg < state.timing_deg).all()


def test_humid_air_holds_less_oxygen() -> None:
    damp, dry = Air(30.0, 101325.0, 90.0), Air(30.0, 101325.0, 0.0)
    assert dry.dry_kg_m3 == pytest.approx(1.1644, abs=0.001)  # ideal gas, R 287.05
    assert damp.vapour_pa == pytest.approx(0.9 * 4246.0, rel=0.005)  # published steam tables: 4246 Pa at 30 °C
    assert damp.dry_kg_m3 < damp.moist_kg_m3 < dry.moist_kg_m3


@pytest.mark.parametrize("seed", SEEDS)
def test_marks_follow_what_they_show(seed: int) -> None:
    engine = VirtualEngine.random(seed)
    air = engine.truth.reference_air
    good = best(engine, air).tuneup
    lean, rich = with_sizes(good, -5), with_sizes(good, 5)
    late, early = (replace(good, total_deg=good.total_deg + by) for by in (-6.0, 6.0))

    assert mean_place(engine, lean, "ring", RING) < mean_place(engine, rich, "ring", RING)
    assert mean_place(engine, late, "strap_mark", STRAP) < mean_place(engine, early, "strap_mark", STRAP)
    assert mean_place(engine, late, "specks", SPECKS) <= mean_place(engine, early, "specks", SPECKS)
    assert mean_place(engine, with_plug(good, "E"), "threads", THREADS) < mean_place(
        engine, with_plug(good, "A"), "threads", THREADS
    )


def test_starts_are_as_rough_as_promised() -> None:
    states = []
    for seed in range(300):
        engine = VirtualEngine.random(seed)
        states.append(engine.state(engine.start, engine.truth.reference_air))
    mixture = np.array([state.mixture_pct.mean() for state in states])
    timing = np.array([state.timing_deg.mean() for state in states])

    assert np.abs(mixture).max() < 14.1 and mixture.std() == pytest.approx(10.0 / np.sqrt(3.0), rel=0.15)
    assert np.abs(timing).max() < 6.6 and timing.std() == pytest.approx(5.0 / np.sqrt(3.0), rel=0.15)
    assert 0.05 < np.mean([state.knocks for state in states]) < 0.35
    assert 0.01 < np.mean([state.overheats for state in states]) < 0.25


def test_past_the_limit_shows() -> None:
    """A run well past the knock limit shows specks, an overheated plug shows on the porcelain."""
    for seed in SEEDS:
        engine = VirtualEngine.random(seed)
        air = engine.truth.reference_air
        good = best(engine, air).tuneup
        past = replace(good, total_deg=good.total_deg + 10.0)
        assert Racer(engine).run(past, air).shows_specks
        hot = with_plug(good, "A")
        seen = Racer(engine).run(hot, air)
        for at, look in enumerate(seen.looks.values()):
            if seen.truth.tip_c[at] > engine.truth.overheated_above_c + 30.0:
                assert look.porcelain in ("glazed", "blistered")
        assert not Racer(engine).run(good, air).shows_specks or (engine.state(good, air).knock_margin_deg < 1.5).any()


@pytest.mark.parametrize("logged", LOGGED)
def test_the_same_seed_gives_the_same_log(logged: str) -> None:
    for seed in range(5):
        logs = []
        for _ in range(2):
            engine = VirtualEngine.random(seed)
            racer, tuneup = Racer(engine, logged), engine.start
            for air in weather(seed, engine, 4):
                seen = racer.run(tuneup, air)
                logs.append((seen.tuneup, seen.looks, seen.speed_m_s, seen.bank_lambda))
                tuneup = by_hand(engine, seen)
        assert logs[:4] == logs[4:]


def test_logged_decides_what_is_there() -> None:
    engine = VirtualEngine.random(3)
    seen = {logged: Racer(engine, logged).run(engine.start, engine.truth.reference_air) for logged in LOGGED}
    assert all(look.egt_c is not None for look in seen["egt"].looks.values())
    assert all(look.egt_c is None and look.lambda_ratio is None for look in seen["plugs"].looks.values())
    assert seen["lambda"].bank_lambda or all(look.lambda_ratio for look in seen["lambda"].looks.values())
    assert sum(look.ring is not None for look in seen["one-plug"].looks.values()) == 1


@pytest.mark.parametrize("hardware", ["none", "tabs", "paired", "per-cylinder"])
@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_no_tuneup_nearby_beats_the_oracle(seed: int, hardware: str) -> None:
    """Brute force on a small engine: every pair of jets, every total, every trim of each group that moves alone."""
    engine = VirtualEngine.random(seed, Options(hardware=hardware, layout="four", trim_step_deg=1.0))
    air = weather(seed, engine, 3)[2]
    found = best(engine, air)
    top = max(_brute_force(engine, air, found.tuneup))
    assert found.torque_pct == pytest.approx(top, abs=1e-9)
    assert not engine.state(found.tuneup, air).past_a_limit


def _brute_force(engine: VirtualEngine, air: Air, near: Tuneup) -> list[float]:
    groups = moving_groups(engine)
    choices = trim_choices(engine)
    torques = []
    for front, rear in itertools.product(range(-3, 4), repeat=2):
        jets = {"front": near.jets["front"] + front, "rear": near.jets["rear"] + rear}
        for total in np.arange(near.total_deg - 2.0, near.total_deg + 2.5, 0.5):
            trims = {}
            for group in groups:
                trims |= _best_group(engine, air, replace(near, jets=jets, total_deg=float(total)), group, choices)
            tuneup = Tuneup(jets, float(total), trims, near.plugs)
            if not engine.state(tuneup, air).past_a_limit:
                torques.append(engine.state(tuneup, air).torque_pct)
    return torques


def _best_group(engine: VirtualEngine, air: Air, tuneup: Tuneup, group: list[int], choices: Floats) -> dict[int, float]:
    """The trim of one group that gives most torque without knock in it; groups do not touch each other."""
    tried = []
    for trim in choices:
        trims = tuneup.trims | {at + 1: float(trim) for at in group}
        state = engine.state(replace(tuneup, trims=trims), air)
        tried.append(((state.knock_margin_deg[group] < 0.0).any(), -state.torque_pct, trim))
    return {at + 1: float(min(tried)[2]) for at in group}


def test_the_oracle_is_never_past_a_limit() -> None:
    for seed in range(60):
        engine = VirtualEngine.random(seed)
        for air in weather(seed, engine, 4):
            found = best(engine, air)
            assert not engine.state(found.tuneup, air).past_a_limit
            assert (
                found.torque_pct >= engine.state(engine.start, air).torque_pct or engine.state(engine.start, air).knocks
            )
            assert set(found.tuneup.plugs.values()) <= set(PLUG_LABELS)


@pytest.mark.parametrize("hardware", ["none", "tabs", "paired", "per-cylinder"])
def test_file_and_memory_give_the_same_advice(hardware: str, tmp_path: object) -> None:
    engine = VirtualEngine.random(7, Options(hardware=hardware))
    racer, tuneup = Racer(engine, "egt"), engine.start
    in_memory, through_file = InMemory.begin(engine), ThroughFile.begin(engine, tmp_path)  # type: ignore[arg-type]
    for air in weather(7, engine, 3):
        seen = racer.run(tuneup, air)
        advice = in_memory(seen)
        assert through_file(seen).as_json() == advice.as_json()
        tuneup = applied(engine, seen.tuneup, advice)
