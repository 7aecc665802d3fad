"""What a choice is chosen by: torque lost in expectation, lean and advanced counted dearer than they cost."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine_rules.spark import expected_asymmetric_quadratic
from engine_rules.targets import Targets

Array = NDArray[np.float64]

# Two choices whose losses, summed over the cylinders, differ by less than this percent of torque are equally good.
TIE_PCT = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class MixtureLoss:
    """Expected torque lost in percent, lean counted dearer: strictly convex in each cylinder's shift of mixture.

    mean_pct, sd_pct: mixture of N cylinders against target, positive rich. lean, rich: weights of the squares.
    """

    mean_pct: Array
    sd_pct: Array
    lean: float
    rich: float

    def at(self, shift_pct: Array) -> Array:
        """Loss of each cylinder; shift_pct: ... x N, the same shape out."""
        return expected_asymmetric_quadratic(self.mean_pct + shift_pct, self.sd_pct, self.lean, self.rich)

    def slope_and_curvature(self, shift_pct: Array) -> tuple[Array, Array]:
        """First and second derivative of each cylinder's loss; shift_pct: N."""
        mean, sd = self.mean_pct + shift_pct, np.maximum(self.sd_pct, 1e-9)
        z = mean / sd
        above = np.array([0.5 * math.erfc(-one / math.sqrt(2.0)) for one in z])
        density = np.exp(-0.5 * np.square(z)) / math.sqrt(2.0 * math.pi)
        rich_part = mean * above + sd * density
        slope = 2.0 * (self.rich * rich_part + self.lean * (mean - rich_part))
        return slope, 2.0 * (self.rich * above + self.lean * (1.0 - above))

    def of(self, cylinders: NDArray[np.intp]) -> MixtureLoss:
        """The same for some of the cylinders."""
        return MixtureLoss(self.mean_pct[cylinders], self.sd_pct[cylinders], self.lean, self.rich)


def mixture_loss(mean_pct: ArrayLike, sd_pct: ArrayLike, targets: Targets) -> MixtureLoss:
    """The loss that jets and fuel trims are chosen by."""
    lean = targets["loss.lean_pct_per_pct2"] * targets["dear.lean"]
    mean, sd = np.asarray(mean_pct, dtype=float), np.asarray(sd_pct, dtype=float)
    return MixtureLoss(mean, sd, lean, targets["loss.rich_pct_per_pct2"])


def timing_loss(error_deg: ArrayLike, sd_deg: ArrayLike, targets: Targets) -> float:
    """What total timing and trims are chosen by, summed over the cylinders; error_deg positive advanced."""
    late = targets["loss.timing_pct_per_deg2"]
    return float(expected_asymmetric_quadratic(error_deg, sd_deg, late, late * targets["dear.advanced"]).sum())
