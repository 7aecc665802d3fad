"""Conditioning a joint Gaussian on readings: exact, but for weights that must not be negative."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine_rules.looks import Look

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class JointModel:
    """The joint Gaussian of cylinders and readings: values n, sds n, and the families of the n looks.

    states: covariance of the 2N errors. cross: of these with the readings, 2N x n. seen: of what the readings look at,
    without their noise, n x n. Values are what a reading says beyond `foretold`, what was expected of it.
    """

    looks: tuple[Look, ...]
    values: Array
    sds: Array
    states: Array
    cross: Array
    seen: Array
    foretold: Array

    def family(self, name: str) -> NDArray[np.bool_]:
        """Which looks are of that family."""
        return np.array([look.family == name for look in self.looks], dtype=bool)

    def weights(self, use: NDArray[np.bool_]) -> Array:
        """Weights of the readings in each of the 2N errors, 2N x n: zero on those not to use."""
        count = len(self.states) // 2
        mixture, strap = self.family("mixture"), self.family("strap")
        halves = ((self.cross[:count], mixture), (self.cross[count:], strap))
        return np.vstack([self.best_weights(cross, use, forward) for cross, forward in halves])

    def best_weights(self, cross: Array, use: NDArray[np.bool_], forward: NDArray[np.bool_]) -> Array:
        """Best linear weights for each row of covariances, none below zero on the `forward` readings.

        Where the best ones would be, those readings are left out of that row and the rest solved again.
        """
        weights = np.zeros_like(cross)
        used = np.flatnonzero(use)
        weights[:, used] = self._solve(used, cross[:, used].T).T
        for row in np.flatnonzero((weights[:, forward] < 0.0).any(axis=1)):
            left = use.copy()
            while (backward := (weights[row] < 0.0) & forward).any():
                left &= ~backward
                weights[row] = 0.0
                weights[row, left] = self._solve(np.flatnonzero(left), cross[row, left])
        return weights

    def _solve(self, used: NDArray[np.intp], right: Array) -> Array:
        readings = self.seen[np.ix_(used, used)] + np.diag(self.sds[used] ** 2)
        return np.asarray(np.linalg.solve(readings, right), dtype=float)

    def error_covariance(self, weights: Array) -> Array:
        """Covariance of (error - weights . readings): holds for any weights, not only for the best."""
        moved = weights @ self.cross.T
        readings = self.seen + np.diag(self.sds**2)
        covariance = self.states - moved - moved.T + weights @ readings @ weights.T
        return np.asarray((covariance + covariance.T) / 2.0)


def joint_model(looks: tuple[Look, ...], prior: Array, mean: Array) -> JointModel:
    """The joint Gaussian of these looks and a state of that prior covariance, 2N + 2 square, and that mean, 2N."""
    rows = np.array([look.row for look in looks]).reshape(len(looks), len(prior))
    values, sds = np.array([look.value for look in looks]), np.array([look.sd for look in looks])
    states = len(prior) - 2
    cross = prior[:states] @ rows.T
    foretold = rows[:, :states] @ mean
    return JointModel(looks, values - foretold, sds, prior[:states, :states], cross, rows @ prior @ rows.T, foretold)
