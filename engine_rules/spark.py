"""Spark: what a tab moves, which cylinders share a trigger or disturb each other, what wrong timing or mixture costs.

Timing is degrees of crank angle, positive advanced; mixture is percent of fuel, positive rich. A cylinder's place is
(bank, place): bank 'L', 'R' or '' for a single row, place 1 at the front of its bank.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

# A distributor turns once for two turns of the crank.
DISTRIBUTOR_TURNS_PER_CRANK_TURN = 0.5

# A single-zone Wiebe model gives 0.030 and the regression of Crossley and Cook 0.016 to 0.019; curves in textbooks are
# steeper, 0.04 to 0.06 (from memory). The sources differ threefold, so this must not be sold as a promise.
TIMING_LOSS_PCT_PER_DEG2 = 0.03

# Least squares of c x^2, on each side of best, to the mixture term of the regression of Crossley and Cook
# (-0.85 (A/F - 12.888)^2 N m of 164.65 N m, half a gram of air a stroke, 500 rad/s) between A/F 11 and 14.6, with
# x = 100 (12.888 / (A/F) - 1) percent of fuel. Even in A/F, the curve is steeper to the lean side in fuel.
RICH_LOSS_PCT_PER_PCT2 = 0.0066
LEAN_LOSS_PCT_PER_PCT2 = 0.0106


def tab_bend_mm(
    timing_change_deg: float, radius_mm: float, turns_per_crank_turn: float = DISTRIBUTOR_TURNS_PER_CRANK_TURN
) -> float:
    """How far a trigger tab must move along its arc: pi r / 360 for each crank degree at a distributor.

    turns_per_crank_turn: 1 for a wheel on the crank. The direction depends on rotation and polarity: check with a
    timing light. Raises ValueError unless the radius is positive.
    """
    _check_radius(radius_mm)
    return radius_mm * math.radians(timing_change_deg * turns_per_crank_turn)


def timing_change_deg(
    bend_mm: float, radius_mm: float, turns_per_crank_turn: float = DISTRIBUTOR_TURNS_PER_CRANK_TURN
) -> float:
    """Crank degrees that a tab moved along its arc gives; the reverse of `tab_bend_mm`."""
    _check_radius(radius_mm)
    return math.degrees(bend_mm / radius_mm) / turns_per_crank_turn


def _check_radius(radius_mm: float) -> None:
    if not radius_mm > 0.0:
        raise ValueError(f"tab radius of {radius_mm:g} mm is not possible; it must be above zero")


def check_firing_order(firing_order: Sequence[int]) -> None:
    """Raise ValueError unless each cylinder fires once and there is one at all."""
    if not firing_order:
        raise ValueError("the firing order is empty; write it as 1-8-4-3-6-5-7-2")
    for cylinder in firing_order:
        if list(firing_order).count(cylinder) > 1:
            raise ValueError(f"cylinder {cylinder} stands in the firing order twice")


def companion_pairs(firing_order: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Cylinders that fire 360 degrees apart and so share a crank trigger, in firing order.

    Raises ValueError for an odd number of cylinders, which has no companions.
    """
    half = _half_of_even(firing_order)
    return tuple(zip(firing_order[:half], firing_order[half:], strict=True))


def alternate_groups(firing_order: Sequence[int]) -> tuple[frozenset[int], frozenset[int]]:
    """The two sets of cylinders that fire turn about, the first cylinder's first: 180 degrees within a set of a V8.

    A dual-plane manifold feeds one set from each of its planes. Raises ValueError for an odd number of cylinders.
    """
    _half_of_even(firing_order)
    return frozenset(firing_order[0::2]), frozenset(firing_order[1::2])


def _half_of_even(firing_order: Sequence[int]) -> int:
    check_firing_order(firing_order)
    half, odd = divmod(len(firing_order), 2)
    if odd:
        raise ValueError(f"a firing order of {len(firing_order)} cylinders has no pairs; an even number has")
    return half


def adjacent_pairs(firing_order: Sequence[int], places: Mapping[int, tuple[str, int]]) -> tuple[tuple[int, int], ...]:
    """Neighbours in one bank that fire one after the other, (first, second), in firing order.

    The second breathes a disturbed charge beside a hot neighbour and tends to want less timing and more fuel (common
    practice, no source). Raises ValueError when a cylinder has no place.
    """
    check_firing_order(firing_order)
    for cylinder in firing_order:
        if cylinder not in places:
            raise ValueError(f"cylinder {cylinder} of the firing order has no bank and place")
    following = [*firing_order[1:], firing_order[0]]
    return tuple(
        (first, second)
        for first, second in zip(firing_order, following, strict=True)
        if places[first][0] == places[second][0] and abs(places[first][1] - places[second][1]) == 1
    )


def timing_loss_pct(
    timing_error_deg: ArrayLike, loss_pct_per_deg2: float = TIMING_LOSS_PCT_PER_DEG2
) -> NDArray[np.float64]:
    """Torque lost that far off best timing, either way; any shape of input, the same shape out."""
    return np.asarray(loss_pct_per_deg2 * np.square(np.asarray(timing_error_deg, dtype=float)))


def mixture_loss_pct(
    mixture_error_pct: ArrayLike,
    rich_loss_pct_per_pct2: float = RICH_LOSS_PCT_PER_PCT2,
    lean_loss_pct_per_pct2: float = LEAN_LOSS_PCT_PER_PCT2,
) -> NDArray[np.float64]:
    """Torque lost that many percent of fuel off best power; any shape of input, the same shape out.

    The defaults hold from 17 % rich to 12 % lean of best power. Source: the mixture term of the regression of Crossley
    and Cook, fitted on each side.
    """
    error = np.asarray(mixture_error_pct, dtype=float)
    weight = np.where(error > 0.0, rich_loss_pct_per_pct2, lean_loss_pct_per_pct2)
    return np.asarray(weight * np.square(error))


_erfc = np.frompyfunc(math.erfc, 1, 1)  # numpy has no error function of its own


def expected_asymmetric_quadratic(
    mean: ArrayLike, sd: ArrayLike, weight_negative: ArrayLike, weight_positive: ArrayLike
) -> NDArray[np.float64]:
    """Expected w x^2 for Gaussian x, where w is one weight below zero and another above.

    All four broadcast together; sd may be zero. Closed form: with z = mean / sd, the upper part of E x^2 is
    (mean^2 + sd^2) Phi(z) + mean sd phi(z), and the lower part the rest. Raises ValueError for a negative sd or weight.
    """
    mean, sd, negative, positive = np.broadcast_arrays(
        *(np.asarray(value, dtype=float) for value in (mean, sd, weight_negative, weight_positive))
    )
    if np.any(sd < 0.0) or np.any(negative < 0.0) or np.any(positive < 0.0):
        raise ValueError("a spread and the weights of a loss must be zero or more")
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        # With no spread, z is signed infinity: all of the square falls on the side of the mean.
        z = np.where(sd > 0.0, mean / sd, np.copysign(np.inf, mean))
        density = np.exp(-0.5 * np.square(z)) / math.sqrt(2.0 * math.pi)
    square = np.square(mean) + np.square(sd)
    above = 0.5 * np.asarray(_erfc(-z / math.sqrt(2.0)), dtype=float)
    below = 0.5 * np.asarray(_erfc(z / math.sqrt(2.0)), dtype=float)
    upper = np.maximum(square * above + mean * sd * density, 0.0)
    lower = np.maximum(square * below - mean * sd * density, 0.0)
    return np.asarray(positive * upper + negative * lower)
