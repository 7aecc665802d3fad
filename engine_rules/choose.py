"""What to change, and what that is worth: jets, total timing, trims; each the cheapest in expected torque."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine_rules.advice import Worth
from engine_rules.choose_jets import JetChoice, StationLimits, choose_jets
from engine_rules.choose_moves import choose_fuel_trims, choose_total_timing, choose_trims
from engine_rules.spark import expected_asymmetric_quadratic, mixture_loss_pct, timing_loss_pct
from engine_rules.targets import Targets

__all__ = [
    "JetChoice",
    "StationLimits",
    "choose_fuel_trims",
    "choose_jets",
    "choose_total_timing",
    "choose_trims",
    "worth",
]

Array = NDArray[np.float64]

# A standard normal on a fine even grid: the curves have no kink, only a change of curvature, so this is good to 1e-6.
_Z = np.linspace(-8.0, 8.0, 1601)
_CHANCE = np.exp(-0.5 * _Z**2) / np.exp(-0.5 * _Z**2).sum()


def worth(
    mean_m: ArrayLike,
    sd_m: ArrayLike,
    mean_s: ArrayLike,
    sd_s: ArrayLike,
    shift_m: ArrayLike,
    shift_s: ArrayLike,
    targets: Targets,
) -> Worth:
    """Torque that the changes should gain, in percent, averaged over the cylinders, by the true curves.

    mean_m, sd_m: mixture error of each cylinder (%); mean_s, sd_s: timing error (degrees); shift_m, shift_s: what the
    changes do to each. The spread takes all cylinders to be off together: most of what is not known about one holds
    for all, and too wide is the honest side.
    """
    rich, lean = targets["loss.rich_pct_per_pct2"], targets["loss.lean_pct_per_pct2"]
    late = targets["loss.timing_pct_per_deg2"]
    mixture, mixture_sd = (np.asarray(value, dtype=float) for value in (mean_m, sd_m))
    timing, timing_sd = (np.asarray(value, dtype=float) for value in (mean_s, sd_s))
    gained = (
        expected_asymmetric_quadratic(mixture, mixture_sd, lean, rich)
        - expected_asymmetric_quadratic(mixture + shift_m, mixture_sd, lean, rich)
        + expected_asymmetric_quadratic(timing, timing_sd, late, late)
        - expected_asymmetric_quadratic(timing + shift_s, timing_sd, late, late)
    )
    error, error_deg = _spread_out(mixture, mixture_sd), _spread_out(timing, timing_sd)
    after, after_deg = error + np.asarray(shift_m, dtype=float), error_deg + np.asarray(shift_s, dtype=float)
    by_mixture = mixture_loss_pct(error, rich, lean) - mixture_loss_pct(after, rich, lean)
    by_timing = timing_loss_pct(error_deg, late) - timing_loss_pct(after_deg, late)
    sd = np.sqrt(_variance(by_mixture) + _variance(by_timing))
    return Worth(float(gained.mean()), float(sd.mean()))


def _spread_out(mean: Array, sd: Array) -> Array:
    """Each error on the grid of chances, grid x N."""
    return np.asarray(mean + np.multiply.outer(_Z, sd))


def _variance(value: Array) -> Array:
    """Variance over the grid of chances, N."""
    return np.asarray(_CHANCE @ np.square(value) - np.square(_CHANCE @ value)).clip(min=0.0)
