"""Spark: tabs, firing orders, and what wrong timing and mixture cost."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from engine_rules import spark

ALTERNATING = {n: ("L" if n % 2 else "R", (n + 1) // 2) for n in range(1, 9)}
BY_BANK = {n: ("R", n) if n <= 4 else ("L", n - 4) for n in range(1, 9)}
ORDERS = [
    ((1, 8, 4, 3, 6, 5, 7, 2), ALTERNATING, (5, 7)),
    ((1, 8, 7, 3, 6, 5, 4, 2), ALTERNATING, (4, 2)),
    ((1, 8, 7, 2, 6, 5, 4, 3), ALTERNATING, (3, 1)),
    ((1, 5, 4, 2, 6, 3, 7, 8), BY_BANK, (7, 8)),
    ((1, 3, 7, 2, 6, 5, 4, 8), BY_BANK, (6, 5)),
]


@pytest.mark.parametrize(("radius_mm", "mm_per_deg"), [(25, 0.2182), (30, 0.2618), (40, 0.3491)])
def test_tab_bend(radius_mm, mm_per_deg):
    """Trigger arc per crank degree, pi r / 360 at a distributor."""
    assert spark.tab_bend_mm(1.0, radius_mm) == pytest.approx(mm_per_deg, abs=6e-5)
    assert spark.tab_bend_mm(-2.0, radius_mm) == pytest.approx(-2 * math.pi * radius_mm / 360)
    assert spark.tab_bend_mm(1.0, radius_mm, turns_per_crank_turn=1.0) == pytest.approx(2 * mm_per_deg, abs=2e-4)


@given(st.floats(-20, 20), st.floats(5, 200))
def test_tab_bend_and_back(change_deg, radius_mm):
    bend_mm = spark.tab_bend_mm(change_deg, radius_mm)
    assert spark.timing_change_deg(bend_mm, radius_mm) == pytest.approx(change_deg, abs=1e-9)


@pytest.mark.parametrize(("order", "places", "pair"), ORDERS)
def test_firing_orders(order, places, pair):
    """Sets of the common V8 firing orders: neighbours in one bank, companions, and the two sets of a dual plane."""
    assert spark.adjacent_pairs(order, places) == (pair,)
    companions = {frozenset(companion) for companion in spark.companion_pairs(order)}
    expected = [(1, 6), (5, 8), (4, 7), (2, 3)] if places is ALTERNATING else [(1, 6), (3, 5), (4, 7), (2, 8)]
    assert companions == {frozenset(companion) for companion in expected}
    assert spark.alternate_groups(order) == ({1, 4, 6, 7}, {2, 3, 5, 8})


def test_row_of_four():
    """1-3-4-2: neighbours breathe back to back, 3 then 4 and 2 then 1; companions 1-4 and 3-2."""
    places = {n: ("", n) for n in range(1, 5)}
    assert spark.adjacent_pairs((1, 3, 4, 2), places) == ((3, 4), (2, 1))
    assert spark.companion_pairs((1, 3, 4, 2)) == ((1, 4), (3, 2))


@pytest.mark.parametrize(
    ("error_deg", "loss_pct"), [(-8, 1.87), (-5, 0.71), (-4, 0.44), (2, 0.15), (5, 0.82), (10, 3.03), (15, 6.43)]
)
def test_timing_loss_against_a_combustion_model(error_deg, loss_pct):
    """A single-zone Wiebe model, CR 11, 6500 rpm: within 6 % of the loss or 0.08 points."""
    assert spark.timing_loss_pct(error_deg) == pytest.approx(loss_pct, rel=0.06, abs=0.08)


def test_timing_loss_lies_between_the_sources():
    """At 10 degrees: the regression of Crossley and Cook gives 1.6 to 1.9 %, textbook curves up to 6 %."""
    assert 1.6 < spark.timing_loss_pct(10.0) < 6.0
    np.testing.assert_allclose(spark.timing_loss_pct([0.0, 1.0], 0.05), [0.0, 0.05])


def regression_loss(afr):
    """Crossley and Cook: -0.85 (A/F - 12.888)^2 N m of the 164.65 N m at half a gram a stroke and 500 rad/s."""
    return 100 * 0.85 * (afr - 21.91 / 1.7) ** 2 / 164.65


@pytest.mark.parametrize(
    ("afr", "loss_pct"),
    [(11, 1.84), (11.5, 0.99), (12, 0.41), (12.5, 0.08), (13.5, 0.19), (14, 0.64), (14.6, 1.51)],
)
def test_mixture_loss(afr, loss_pct):
    """The published regression: within 0.16 points over the whole range, and its own table to rounding."""
    assert regression_loss(afr) == pytest.approx(loss_pct, abs=6e-3)
    error_pct = 100 * (21.91 / 1.7 / afr - 1)
    assert spark.mixture_loss_pct(error_pct) == pytest.approx(loss_pct, abs=0.16)


def test_mixture_weights_are_the_least_squares_fit():
    """The two defaults, refitted from the regression between A/F 11 and 14.6."""
    afr = np.linspace(11.0, 14.6, 361)
    error_pct = 100 * (21.91 / 1.7 / afr - 1)
    for side, weight in ((error_pct > 0, spark.RICH_LOSS_PCT_PER_PCT2), (error_pct < 0, spark.LEAN_LOSS_PCT_PER_PCT2)):
        squares = error_pct[side] ** 2
        fitted = squares @ regression_loss(afr[side]) / (squares @ squares)
        assert weight == pytest.approx(fitted, abs=1e-4)


@pytest.mark.parametrize("mean", [-7.0, -0.4, 0.0, 1.3, 12.0])
@pytest.mark.parametrize("sd", [0.05, 1.0, 6.0])
@pytest.mark.parametrize(("negative", "positive"), [(3.0, 1.0), (0.01, 0.02), (0.0, 1.0)])
def test_expected_loss_against_quadrature(mean, sd, negative, positive):
    """scipy's adaptive quadrature of each side of zero."""

    def part(weight, low, high):
        low, high = max(low, mean - 12 * sd), min(high, mean + 12 * sd)
        if low >= high:
            return 0.0
        return integrate.quad(
            lambda x: weight * x * x * stats.norm.pdf(x, mean, sd), low, high, points=[min(max(mean, low), high)]
        )[0]

    expected = part(negative, -math.inf, 0.0) + part(positive, 0.0, math.inf)
    found = spark.expected_asymmetric_quadratic(mean, sd, negative, positive)
    assert found == pytest.approx(expected, rel=1e-7, abs=1e-10)


MEANS = st.floats(-50, 50)
WEIGHTS = st.floats(0, 10)


@given(MEANS, MEANS, st.floats(0, 1), st.floats(0, 20), WEIGHTS, WEIGHTS)
def test_expected_loss_is_convex_in_the_mean(first, second, share, sd, negative, positive):
    def loss(mean):
        return float(spark.expected_asymmetric_quadratic(mean, sd, negative, positive))

    between = loss(share * first + (1 - share) * second)
    chord = share * loss(first) + (1 - share) * loss(second)
    assert between <= chord + 1e-9 * (1 + chord)


@given(MEANS, st.floats(0, 20), st.floats(0, 5), WEIGHTS, WEIGHTS)
def test_doubt_never_pays(mean, sd, more_sd, negative, positive):
    surer = spark.expected_asymmetric_quadratic(mean, sd, negative, positive)
    assert spark.expected_asymmetric_quadratic(mean, sd + more_sd, negative, positive) >= surer * (1 - 1e-9) - 1e-9


def test_expected_loss_without_spread_and_in_arrays():
    found = spark.expected_asymmetric_quadratic([[-2.0], [0.0], [3.0]], [0.0, 0.0], 5.0, 1.0)
    np.testing.assert_allclose(found, [[20.0, 20.0], [0.0, 0.0], [9.0, 9.0]])
    assert spark.expected_asymmetric_quadratic(np.zeros((2, 3, 4)), 1.0, 2.0, 4.0) == pytest.approx(3.0)


def test_no_firing_order_stays_silent():
    for call in (
        lambda: spark.companion_pairs((1, 2, 3)),
        lambda: spark.alternate_groups((1, 2, 2, 4)),
        lambda: spark.companion_pairs(()),
        lambda: spark.adjacent_pairs((1, 2), {1: ("L", 1)}),
        lambda: spark.tab_bend_mm(1.0, 0.0),
        lambda: spark.expected_asymmetric_quadratic(0.0, -1.0, 1.0, 1.0),
    ):
        with pytest.raises(ValueError, match=r"^[^\n]{20,200}$"):
            call()
