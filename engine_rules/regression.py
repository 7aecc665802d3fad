"""Bayesian linear regression: a Gaussian belief in some coefficients, sharpened by rows that look at them.

The answer to one batch of rows equals weighted least squares on the rows with the belief itself added as rows, and does
not depend on how the rows are cut into batches.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Coefficients:
    """A belief in d coefficients: their mean, d, and covariance, d x d (zero for one that is known)."""

    mean: Array
    covariance: Array

    @property
    def sd(self) -> Array:
        """Spread of each coefficient."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class Surprise:
    """How k rows stand to a belief in d coefficients: what they say beyond it, k, and why they may.

    cross: covariance of rows and coefficients, k x d. doubt: of what the belief foretells of the rows, k x k. noise: of
    the rows themselves, k x k.
    """

    beyond: Array
    cross: Array
    doubt: Array
    noise: Array

    @property
    def squared_distance(self) -> float:
        """Mahalanobis distance, squared; the count of rows on the average."""
        return float(self.beyond @ np.linalg.solve(self.doubt + self.noise, self.beyond))

    @property
    def in_spreads(self) -> Array:
        """Each row by itself, in its own spreads."""
        return np.asarray(self.beyond / np.sqrt(np.diag(self.doubt) + np.diag(self.noise)))

    def with_noise(self, noise: Array) -> Surprise:
        """The same rows with another noise."""
        return Surprise(self.beyond, self.cross, self.doubt, noise)


def surprise(belief: Coefficients, rows: Array, beyond: Array, noise: Array) -> Surprise:
    """Rows, k x d, against a belief. beyond: observed less foretold."""
    cross = rows @ belief.covariance
    return Surprise(beyond, cross, cross @ rows.T, noise)


def conditioned(belief: Coefficients, seen: Surprise) -> Coefficients:
    """The belief after these rows."""
    weights = np.linalg.solve(seen.doubt + seen.noise, seen.cross)
    covariance = belief.covariance - seen.cross.T @ weights
    return Coefficients(belief.mean + seen.beyond @ weights, (covariance + covariance.T) / 2.0)


def spreads_of_chi_square(squared: float, count: int) -> float:
    """A sum of `count` squared standard normals as a standard normal. Source: Wilson and Hilferty 1931."""
    share = 2.0 / (9.0 * count)
    return (math.cbrt(squared / count) - (1.0 - share)) / math.sqrt(share)
