"""The choices: against brute force and integer programming, and what must hold for any of them."""

import time
from dataclasses import replace
from itertools import pairwise, product
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from engine_rules.choose import (
    StationLimits,
    choose_fuel_trims,
    choose_jets,
    choose_total_timing,
    choose_trims,
    worth,
)
from engine_rules.fuel import Jet, Ladder
from engine_rules.jet_search import JetProblem, Link, best_sizes
from engine_rules.losses import MixtureLoss, mixture_loss
from engine_rules.spark import expected_asymmetric_quadratic
from engine_rules.targets import default_targets
from tests.engine_rules.logbooks import engine, ladder, v8

T = default_targets()
V8 = v8()
ALL_76 = {station.name: "76" for station in V8.stations}
ZERO, SURE = np.zeros(8), np.full(8, 0.5)


def jets(mean: Any, sd: Any = SURE, **more: Any) -> Any:
    """A choice on the V8 with its four corners at 76."""
    given_ = {"engine": V8, "ladder": ladder(), "current": ALL_76, "targets": T, "limits": {}} | more
    return choose_jets(mean_pct=mean, sd_pct=sd, **given_)


# -- exactness


def random_problem(rng: np.random.Generator, stations: int, cylinders: int) -> JetProblem:
    """Stations that share cylinders at random, some fed alike, some linked."""
    shares = rng.dirichlet(np.full(stations, rng.choice([0.3, 1.0, 5.0])), size=cylinders)
    if stations > 1 and rng.random() < 0.4:
        shares[:, 1] = shares[:, 0]
    now = [int(rng.integers(5, 9)) for _ in range(stations)]
    sizes = [np.arange(at - 2, at + 5)[rng.random(7) < 0.8] for at in now]
    sizes = [one if len(one) else np.array([at]) for one, at in zip(sizes, now, strict=True)]
    step = rng.uniform(1.5, 4.0, stations)
    flows = tuple(step[k] * (sizes[k] - now[k]) + 0.05 * (sizes[k] - now[k]) ** 2 for k in range(stations))
    links = []
    for first in range(0, stations - 1, 2):
        if rng.random() < 0.6:
            apart = now[first] - now[first + 1]
            links.append(Link(first, first + 1, min(-2, apart), max(2, apart)))
    mean, sd = rng.normal(rng.normal(0, 6), 4, cylinders), rng.uniform(0.2, 5, cylinders)
    return JetProblem(mixture_loss(mean, sd, T), shares, tuple(sizes), flows, tuple(now), tuple(links))


def loss_of(problem: JetProblem, chosen: tuple[int, ...]) -> float:
    """Summed loss of a choice of sizes, worked out from the definition."""
    at = [int(np.flatnonzero(sizes == one)[0]) for sizes, one in zip(problem.sizes, chosen, strict=True)]
    flow = np.array([flows[k] for flows, k in zip(problem.flows_pct, at, strict=True)])
    one = problem.loss
    return float(
        expected_asymmetric_quadratic(one.mean_pct + problem.shares @ flow, one.sd_pct, one.lean, one.rich).sum()
    )


def keeps_links(problem: JetProblem, chosen: tuple[int, ...]) -> bool:
    """True where no two linked stations stand too far apart."""
    return all(link.lowest <= chosen[link.first] - chosen[link.second] <= link.highest for link in problem.links)


def all_losses(problem: JetProblem) -> np.ndarray:
    """Loss of every choice that the links allow, by going through all."""
    combinations = np.array(list(product(*problem.sizes)))
    for link in problem.links:
        apart = combinations[:, link.first] - combinations[:, link.second]
        combinations = combinations[(link.lowest <= apart) & (apart <= link.highest)]
    at = [np.searchsorted(sizes, combinations[:, k]) for k, sizes in enumerate(problem.sizes)]
    flow = np.column_stack([flows[k] for flows, k in zip(problem.flows_pct, at, strict=True)])
    one = problem.loss
    error = one.mean_pct + flow @ problem.shares.T
    return expected_asymmetric_quadratic(error, one.sd_pct, one.lean, one.rich).sum(axis=1)


@pytest.mark.parametrize("seed", range(240))
def test_no_choice_is_better_than_the_one_found(seed: int) -> None:
    rng = np.random.default_rng(seed)
    problem = random_problem(rng, int(rng.integers(1, 5)), int(rng.integers(1, 7)))
    losses, found = all_losses(problem), best_sizes(problem)
    if not len(losses):
        assert found is None
        return
    assert found is not None and keeps_links(problem, found)
    assert loss_of(problem, found) <= losses.min() + 1e-9


@pytest.mark.parametrize("seed", range(12))
def test_no_choice_for_two_four_barrels_is_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    manifold, more = [("single plane", {}), ("dual plane", {"left_side_feeds": 1}), ("other", {})][seed % 3]
    of = v8(carburetion="two four-barrels", manifold=manifold, **more)
    shares = np.array([[place.shares[one.name] for one in of.stations] for place in of.cylinders])
    sizes = tuple(np.array([-1, 0, 1, 3][: int(rng.integers(2, 5))]) for _ in of.stations)
    flows = tuple(rng.uniform(2.0, 3.0) * one for one in sizes)
    loss = mixture_loss(rng.normal(-2, 4, 8), rng.uniform(0.5, 4, 8), T)
    links = (Link(0, 1, -1, 1), Link(2, 3, -2, 2), Link(0, 5, -2, 2)) if seed % 2 else ()
    problem = JetProblem(loss, shares, sizes, flows, (0,) * 8, links)
    found = best_sizes(problem)
    assert found is not None and keeps_links(problem, found)
    assert loss_of(problem, found) <= all_losses(problem).min() + 1e-9


def by_integer_programming(problem: JetProblem) -> tuple[float, tuple[int, ...]]:
    """A lower bound on the loss, from tangents below each cylinder's curve; and the sizes that reach it."""
    counts = [len(sizes) for sizes in problem.sizes]
    picks, cylinders = sum(counts), len(problem.shares)
    start = np.cumsum([0, *counts])
    constraints = [LinearConstraint(row, 1, 1) for row in _one_of_each(start, picks + cylinders)]
    shift = np.zeros((cylinders, picks))
    for k, flows in enumerate(problem.flows_pct):
        shift[:, start[k] : start[k + 1]] = np.outer(problem.shares[:, k], flows)
    for at in range(cylinders):
        one = problem.loss.of(np.array([at]))
        for point in np.linspace(-12.0, 20.0, 65):
            slope, here = one.slope_and_curvature(np.array([point]))[0][0], one.at(np.array([point]))[0]
            row = np.concatenate((-slope * shift[at], np.eye(cylinders)[at]))
            constraints.append(LinearConstraint(row, here - slope * point, np.inf))
    for link in problem.links:
        row = np.zeros(picks + cylinders)
        row[start[link.first] : start[link.first + 1]] = problem.sizes[link.first]
        row[start[link.second] : start[link.second + 1]] = -problem.sizes[link.second]
        constraints.append(LinearConstraint(row, link.lowest, link.highest))
    cost = np.concatenate((np.zeros(picks), np.ones(cylinders)))
    whole = np.concatenate((np.ones(picks), np.zeros(cylinders)))
    bounds = Bounds(np.zeros(picks + cylinders), np.concatenate((np.ones(picks), np.full(cylinders, np.inf))))
    answer = milp(cost, constraints=constraints, integrality=whole, bounds=bounds, options={"mip_rel_gap": 1e-7})
    assert answer.success
    chosen = [
        int(sizes[np.argmax(answer.x[a:b])]) for sizes, a, b in zip(problem.sizes, start, start[1:], strict=False)
    ]
    return float(answer.mip_dual_bound), tuple(chosen)


def _one_of_each(start: np.ndarray, length: int) -> list[np.ndarray]:
    rows = []
    for a, b in pairwise(start):
        row = np.zeros(length)
        row[a:b] = 1.0
        rows.append(row)
    return rows


@pytest.mark.parametrize("seed", range(12))
def test_integer_programming_finds_nothing_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    problem = random_problem(rng, 4, 8)
    found = best_sizes(problem)
    assert found is not None
    bound, other = by_integer_programming(problem)
    assert loss_of(problem, found) <= loss_of(problem, other) + 1e-9
    # Tangents half a percent apart miss at most a sixteenth of a percent squared of the steepest curve.
    assert bound - 1e-6 <= loss_of(problem, found) <= bound + 8 * 0.033 * 0.25**2 + 1e-6


def test_rounding_each_station_by_itself_is_worse() -> None:
    # Integer least squares with A = [[1, .9], [.9, 1]] and b = (1.4, 0): real (7.368, -6.632), rounded residual .98.
    whole = np.arange(-10, 11)
    loss = MixtureLoss(np.array([-1.4, 0.0]), np.zeros(2), 1.0, 1.0)
    flows = (whole.astype(float), whole.astype(float))
    problem = JetProblem(loss, np.array([[1.0, 0.9], [0.9, 1.0]]), (whole, whole), flows, (0, 0))
    assert best_sizes(problem) == (7, -6)
    assert loss_of(problem, (7, -6)) == pytest.approx(0.13) and loss_of(problem, (7, -7)) == pytest.approx(0.98)


def test_of_equals_the_fewest_moves_then_the_richer() -> None:
    whole = np.arange(-2, 5)
    flows = (whole.astype(float), whole.astype(float))
    half = np.array([[0.5, 0.5]])
    found = best_sizes(
        JetProblem(MixtureLoss(np.array([-1.0]), np.zeros(1), 1.0, 1.0), half, (whole, whole), flows, (0, 0))
    )
    assert found is not None and sorted(found) == [0, 2]
    level = MixtureLoss(np.zeros(1), np.ones(1), 1.0, 1.0)
    apart = JetProblem(level, np.ones((1, 1)), (np.array([-1, 1]),), (np.array([-1.0, 1.0]),), (0,))
    assert best_sizes(apart) == (1,)


def test_eight_coupled_stations_are_solved_at_once() -> None:
    rng = np.random.default_rng(5)
    sizes = {("front", "L"): "74", ("front", "R"): "76", ("rear", "L"): "80", ("rear", "R"): "82"}
    for manifold, more in (("single plane", {}), ("dual plane", {"left_side_feeds": 1}), ("other", {})):
        of = v8(carburetion="two four-barrels", manifold=manifold, **more)
        current = {one.name: sizes[one.end, one.side] for one in of.stations}
        took = []
        for _ in range(5):
            mean, sd = rng.normal(rng.normal(0, 5), 4, 8), rng.uniform(0.5, 4, 8)
            begun = time.perf_counter()
            choose_jets(of, ladder(), current, mean, sd, T, {})
            took.append(time.perf_counter() - begun)
        assert np.median(took) < 0.2


# -- jets


def test_a_corner_that_feeds_lean_cylinders_gets_the_fuel() -> None:
    mean = np.array([-6.0, 0.0, -6.0, 0.0, 0.0, 0.0, 0.0, 0.0])  # 1 and 3 stand under the left front barrel
    found = jets(mean)
    assert int(found.jets["LF"]) > 76 and found.jets["RR"] == "76"
    assert found.flow_pct["LF"] == pytest.approx(100.0 * ((int(found.jets["LF"]) / 76) ** 2 - 1.0))
    shares = np.array([[place.shares[s.name] for s in V8.stations] for place in V8.cylinders])
    shift = shares @ np.array([found.flow_pct[s.name] for s in V8.stations])
    assert found.mixture_shift_pct == pytest.approx(tuple(shift)) and found.wanted == {}
    loss = expected_asymmetric_quadratic(mean + shift, SURE, 0.033, 0.0062)
    assert found.expected_loss == pytest.approx(loss.mean())


def test_on_target_and_sure_nothing_moves() -> None:
    assert jets(ZERO).jets == ALL_76


def test_unsure_goes_richer() -> None:
    assert sum(map(float, jets(ZERO, np.full(8, 4.0)).flow_pct.values())) > 0.0


def test_enrichment_makes_a_jet_count_for_less() -> None:
    mean = np.full(8, -6.0)
    plain, enriched = jets(mean), jets(mean, engine=v8(enrichment_area_in2={"front": 0.004, "rear": 0.004}))
    assert sum(map(int, enriched.jets.values())) > sum(map(int, plain.jets.values()))
    assert enriched.flow_pct["LF"] < 100.0 * ((int(enriched.jets["LF"]) / 76) ** 2 - 1.0)


def test_caps_hold_whatever_the_limits_say() -> None:
    wide = {name: StationLimits(-9, 9) for name in ALL_76}
    assert set(jets(np.full(8, -60.0), limits=wide).jets.values()) == {"84"}
    assert set(jets(np.full(8, 60.0), limits=wide).jets.values()) == {"72"}
    shut = {name: StationLimits(0, 0) for name in ALL_76}
    assert jets(np.full(8, 60.0), limits=shut).jets == ALL_76


def test_the_ladder_ends() -> None:
    assert set(jets(np.full(8, -60.0), current=dict.fromkeys(ALL_76, "94")).jets.values()) == {"96"}
    assert set(jets(np.full(8, 60.0), current=dict.fromkeys(ALL_76, "60")).jets.values()) == {"60"}


def test_a_limit_can_ask_for_more_than_the_readings() -> None:
    found = jets(np.full(8, 20.0), limits={"LF": StationLimits(2, 4)})
    assert found.jets["LF"] == "80"


def test_left_and_right_stay_together() -> None:
    mean = np.array([-10.0, 10.0] * 4)
    near = jets(mean, targets=T.overridden({"cap.stagger_sizes": 1.0}))
    for end in "FR":
        free = jets(mean)
        assert 2 < int(free.jets["L" + end]) - int(free.jets["R" + end]) <= 2 * T["cap.stagger_sizes"]
        assert int(near.jets["L" + end]) - int(near.jets["R" + end]) == 2


def test_a_larger_stagger_may_stay_but_not_grow() -> None:
    current = {"LF": "88", "RF": "76", "LR": "76", "RR": "76"}
    found = jets(np.array([-40.0, 40.0] * 4), current=current)
    assert int(found.jets["LF"]) - int(found.jets["RF"]) == 12
    assert jets(ZERO, current=current).jets["LF"] in ("84", "86", "88")


def test_limits_on_both_sides_come_before_stagger() -> None:
    current = {"LF": "84", "RF": "76", "LR": "76", "RR": "76"}
    found = jets(ZERO, current=current, limits={"LF": StationLimits(2, 4), "RF": StationLimits(0, 0)})
    assert (found.jets["LF"], found.jets["RF"]) == ("88", "76")


def test_only_what_is_on_hand_and_what_is_wanted_is_said() -> None:
    mean = np.full(8, -9.0)
    full = jets(mean)
    missing = tuple(set(full.jets.values()))
    short = jets(mean, ladder=ladder(missing))
    assert not set(short.jets.values()) & set(missing)
    assert short.wanted and set(short.wanted.items()) <= set(full.jets.items())
    assert short.expected_loss > full.expected_loss
    assert jets(ZERO, ladder=ladder(("76",))).jets == ALL_76  # what is fitted is on hand


def test_a_need_that_no_size_on_hand_meets_goes_as_far_as_they_reach() -> None:
    found = jets(ZERO, ladder=ladder(("80", "82", "84")), limits={"LF": StationLimits(2, 4)})
    assert found.jets["LF"] == "78" and found.wanted["LF"] == "80"
    nothing = jets(ZERO, ladder=ladder(("78", "80", "82", "84")), limits={"LF": StationLimits(2, 4)})
    assert nothing.jets["LF"] == "76" and nothing.wanted["LF"] == "80"


def test_a_station_without_its_jet_is_refused() -> None:
    with pytest.raises(ValueError, match="station RR has no jet"):
        jets(ZERO, current={"LF": "76", "RF": "76", "LR": "76"})
    with pytest.raises(ValueError, match="not on the ladder"):
        jets(ZERO, current=ALL_76 | {"RR": "77"})


def test_an_engine_without_stations_changes_nothing() -> None:
    found = jets(np.full(8, -5.0), engine=v8(carburetion="EFI"), current={})
    assert found.jets == {} and found.mixture_shift_pct == (0.0,) * 8
    assert found.expected_loss == pytest.approx(expected_asymmetric_quadratic(-5.0, 0.5, 0.033, 0.0062).item())


def test_labels_need_not_follow_bores() -> None:
    shelf = Ladder([Jet("z", 0.070), Jet("a", 0.073), Jet("m", 0.079)])
    found = jets(np.full(8, -12.0), ladder=shelf, current=dict.fromkeys(ALL_76, "z"))
    assert set(found.jets.values()) <= {"a", "m"}


ENGINES = st.sampled_from(
    [
        V8,
        v8(manifold="dual plane", left_side_feeds=1),
        v8(carburetion="individual runners", manifold="individual runner"),
    ]
)
TENTHS = st.integers(-150, 150).map(lambda tenths: tenths / 10)


@given(ENGINES, st.lists(TENTHS, min_size=8, max_size=8), st.floats(0.2, 6.0), st.integers(0, 7), st.integers(1, 150))
@settings(max_examples=150, deadline=None)
def test_a_cylinder_found_leaner_never_gets_less_fuel(
    of: Any, mean: list[float], sd: float, at: int, leaner: int
) -> None:
    current = {station.name: ("74" if station.side == "L" else "78") for station in of.stations}
    before = choose_jets(of, ladder(("80",)), current, np.array(mean), np.full(8, sd), T, {})
    mean[at] -= leaner / 10
    after = choose_jets(of, ladder(("80",)), current, np.array(mean), np.full(8, sd), T, {})
    assert after.mixture_shift_pct[at] >= before.mixture_shift_pct[at] - 1e-9


@given(st.lists(TENTHS, min_size=8, max_size=8), st.integers(1, 100))
@settings(max_examples=60, deadline=None)
def test_mirrored_banks_get_mirrored_jets(mean: list[float], seed: int) -> None:
    sd = np.random.default_rng(seed).uniform(0.5, 5.0, 8)  # unequal, so that no two choices tie
    swap = [1, 0, 3, 2, 5, 4, 7, 6]
    one, mirrored = jets(np.array(mean), sd), jets(np.array(mean)[swap], sd[swap])
    assert mirrored.expected_loss == pytest.approx(one.expected_loss, abs=1e-9)
    assert tuple(np.array(mirrored.mixture_shift_pct)[swap]) == pytest.approx(one.mixture_shift_pct, abs=1e-6)


# -- total timing and trims


def timing(mean: Any, sd: Any = SURE, lowest: float = -4.0, highest: float = 2.0) -> float:
    return choose_total_timing(np.asarray(mean, dtype=float), sd, T, lowest, highest)


def test_total_timing_goes_against_the_error_in_whole_steps() -> None:
    assert timing(np.full(8, 3.0)) == -3.0 and timing(np.full(8, -2.0)) == 2.0 and timing(ZERO) == 0.0
    assert timing(np.full(8, 30.0)) == -4.0 and timing(np.full(8, -30.0)) == 2.0


def test_limits_of_total_timing_hold() -> None:
    assert timing(np.full(8, -30.0), highest=0.0) == 0.0
    assert timing(np.full(8, -30.0), highest=-1.0) == -1.0
    assert timing(np.full(8, -30.0), lowest=-9.0, highest=-9.0) == -4.0
    assert timing(ZERO, lowest=-0.6, highest=-0.4) == -1.0  # no whole step between: the later one


def test_one_advanced_cylinder_weighs_more_than_one_late() -> None:
    assert timing([6.0, -6.0, 0, 0, 0, 0, 0, 0]) < 0.0
    assert timing(ZERO, np.full(8, 4.0)) < 0.0


@given(st.lists(TENTHS, min_size=8, max_size=8), st.floats(0.0, 5.0), st.integers(0, 7), st.integers(1, 100))
def test_more_advanced_never_gets_more_timing(mean: list[float], sd: float, at: int, more: int) -> None:
    advanced = [*mean[:at], mean[at] + more / 10, *mean[at + 1 :]]
    spread = np.full(8, sd)
    assert timing(advanced, spread) <= timing(mean, spread)
    for hardware in ("tabs", "paired"):
        of = v8(timing_hardware=hardware)
        before, after = (choose_trims(of, {}, one, spread, T, {}) for one in (mean, advanced))
        assert all(after[number] <= before[number] for number in of.numbers)


def test_total_timing_is_the_best_of_its_grid() -> None:
    rng = np.random.default_rng(2)
    for _ in range(50):
        mean, sd = rng.normal(rng.normal(0, 3), 2, 8), rng.uniform(0, 4, 8)
        losses = {move: expected_asymmetric_quadratic(mean + move, sd, 0.03, 0.09).sum() for move in range(-4, 3)}
        assert losses[int(timing(mean, sd))] == pytest.approx(min(losses.values()), abs=1e-9)


def test_without_hardware_no_trim_moves() -> None:
    assert choose_trims(V8, {3: 1.0}, np.full(8, 5.0), SURE, T, {}) == {n: float(n == 3) for n in V8.numbers}


def test_each_tab_moves_by_itself_in_steps_and_caps() -> None:
    mean = np.array([0.6, -0.6, 0.1, 5.0, -5.0, 0.0, 0.0, 0.0])
    trims = choose_trims(v8(timing_hardware="tabs"), {4: -1.5, 5: 2.0, 6: 3.0}, mean, np.full(8, 0.1), T, {})
    assert trims == {1: -0.5, 2: 0.5, 3: 0.0, 4: -2.0, 5: 2.0, 6: 3.0, 7: 0.0, 8: 0.0}


def test_limits_of_trims_hold() -> None:
    of = v8(timing_hardware="per-cylinder")
    trims = choose_trims(of, {}, np.full(8, -5.0), SURE, T, {1: (-1.0, 0.0), 2: (-1.0, -1.0), 3: (-0.3, -0.3)})
    assert (trims[1], trims[2], trims[3], trims[4]) == (0.0, -1.0, -0.5, 1.0)


def test_a_step_of_the_hardware_larger_than_the_cap_is_not_made() -> None:
    of = v8(timing_hardware="tabs", trim_step_deg=2.0)
    assert set(choose_trims(of, {}, np.full(8, 5.0), SURE, T, {1: (-2.0, -2.0)}).values()) == {0.0}
    unstated = v8(timing_hardware="tabs", trim_step_deg=None)
    assert set(choose_trims(unstated, {}, np.full(8, 5.0), SURE, T, {}).values()) == {-1.0}


def test_companions_move_together() -> None:
    of = v8(timing_hardware="paired")  # 1-8-4-3-6-5-7-2: companions 1 and 6, 8 and 5, 4 and 7, 3 and 2
    mean = np.array([2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    trims = choose_trims(of, {6: 0.5}, mean, SURE, T, {})
    assert trims[1] < 0.0 and trims[6] - 0.5 == trims[1]
    assert {trims[n] for n in (2, 3, 4, 5, 7, 8)} == {0.0}
    held = choose_trims(of, {}, np.full(8, -5.0), SURE, T, {6: (-1.0, -0.5), 1: (0.0, 1.0)})
    assert held[1] == held[6] == -0.5  # where they part, the later limit


def test_an_odd_engine_has_no_companions() -> None:
    three = engine({n: ("", n) for n in (1, 2, 3)}, (1, 3, 2), carburetion="single", timing_hardware="paired")
    assert choose_trims(three, {}, np.array([3.0, 0.0, 0.0]), np.full(3, 0.1), T, {})[1] == -1.0


# -- fuel trims


def test_fuel_trims_go_against_the_error_within_caps() -> None:
    mean = np.array([-3.0, 3.0, -30.0, 30.0, 0.0, 0.0, 0.0, 0.0])
    trims = choose_fuel_trims(V8, {8: 2.5}, mean, np.full(8, 0.1), T, {})
    assert trims == {1: 3.0, 2: -3.0, 3: 8.0, 4: -4.0, 5: 0.0, 6: 0.0, 7: 0.0, 8: 2.5}


def test_limits_of_fuel_trims_give_way_to_the_richer() -> None:
    limits = {1: (3.0, 3.0), 2: (2.4, 2.4), 3: (0.0, 8.0), 4: (3.0, 1.0)}
    trims = choose_fuel_trims(V8, {}, np.full(8, 9.0), SURE, T, limits)
    assert (trims[1], trims[2], trims[3], trims[4]) == (3.0, 3.0, 0.0, 3.0)
    assert choose_fuel_trims(replace(V8, fuel_trim_step_pct=None), {1: 1.0}, np.full(8, 9.0), SURE, T, {})[1] == 1.0


@given(TENTHS, st.floats(0.0, 6.0), st.integers(1, 100))
def test_a_leaner_cylinder_never_gets_less_fuel_trim(mean: float, sd: float, leaner: int) -> None:
    spread = np.full(8, sd)
    rich, lean = (choose_fuel_trims(V8, {}, np.full(8, one), spread, T, {}) for one in (mean, mean - leaner / 10))
    assert all(lean[number] >= rich[number] for number in V8.numbers)


# -- worth


def test_worth_without_doubt_is_the_difference_of_the_curves() -> None:
    sure = np.zeros(2)
    found = worth(
        np.array([-4.0, 3.0]), sure, np.array([2.0, 0.0]), sure, np.array([4.0, -1.0]), np.array([-2.0, 0.0]), T
    )
    assert found.torque_pct == pytest.approx((0.011 * 16 + 0.0062 * (9 - 4) + 0.03 * 4) / 2)
    assert found.sd == pytest.approx(0.0, abs=1e-9)


def test_worth_of_nothing_is_nothing() -> None:
    found = worth(ZERO, SURE, ZERO, SURE, ZERO, ZERO, T)
    assert found.torque_pct == 0.0 and found.sd == pytest.approx(0.0, abs=1e-12)


def test_worth_against_drawn_errors() -> None:
    # All cylinders off together, which is what the spread assumes.
    rng = np.random.default_rng(11)
    z, y = rng.standard_normal((2, 400_000, 1))
    m, s = np.array([-5.0, -1.0]) + z * [2.0, 2.0], np.array([1.0, 2.0]) + y * [1.5, 1.5]
    after_m, after_s = m + 4.0, s - 1.0

    def lost(m: np.ndarray, s: np.ndarray) -> np.ndarray:
        return np.where(m > 0, 0.0062, 0.011) * m**2 + 0.03 * s**2

    gained = (lost(m, s) - lost(after_m, after_s)).mean(axis=1)
    spread = np.full(2, 2.0), np.full(2, 1.5)
    found = worth(
        np.array([-5.0, -1.0]), spread[0], np.array([1.0, 2.0]), spread[1], np.full(2, 4.0), np.full(2, -1.0), T
    )
    assert found.torque_pct == pytest.approx(gained.mean(), abs=0.005)
    assert found.sd == pytest.approx(gained.std(), rel=0.05) and found.sd >= gained.std() - 0.002
