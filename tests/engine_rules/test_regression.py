"""Bayesian regression against statsmodels, a worked conjugate example and certified values."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from engine_rules.regression import Coefficients, conditioned, spreads_of_chi_square, surprise


def after(belief: Coefficients, rows: np.ndarray, values: np.ndarray, sds: np.ndarray) -> Coefficients:
    return conditioned(belief, surprise(belief, rows, values - rows @ belief.mean, np.diag(sds**2)))


def test_the_worked_conjugate_example() -> None:
    """x 0 to 4, noise variance 0.04, prior mean (0, 1) and variance (100, 1): closed form of the conjugate normal."""
    rows = np.column_stack([np.ones(5), np.arange(5.0)])
    prior = Coefficients(np.array([0.0, 1.0]), np.diag([100.0, 1.0]))
    belief = after(prior, rows, np.array([1.0, 2.1, 2.9, 4.2, 4.8]), np.full(5, 0.2))
    assert belief.mean == pytest.approx([1.05950735, 0.97020394], abs=1e-8)
    assert belief.covariance.ravel() == pytest.approx([0.02393053, -0.00796622, -0.00796622, 0.00398343], abs=1e-8)


def test_longley() -> None:
    """NIST StRD Longley: certified coefficients, from a belief so wide that it says nothing."""
    data = sm.datasets.longley.load_pandas()
    x, y = data.exog.to_numpy(), data.endog.to_numpy()
    middle, spread = x.mean(axis=0), x.std(axis=0)
    rows = np.column_stack([np.ones(len(y)), (x - middle) / spread])
    belief = after(Coefficients(np.zeros(7), np.eye(7) * 1e13), rows, y, np.full(len(y), 304.854073561965))
    slopes = belief.mean[1:] / spread
    certified = [15.0618722713733, -0.0358191792925910, -2.02022980381683, -1.03322686717369, -0.0511041056535807,
                 1829.15146461355]  # fmt: skip
    assert slopes == pytest.approx(certified, rel=2e-5)
    assert belief.mean[0] - slopes @ middle == pytest.approx(-3482258.63459582, rel=2e-5)


def test_weighted_rows() -> None:
    """The published weighted line: x 1 to 5, sigma 0.1 to 0.4, unscaled errors (statsmodels and numpy agree)."""
    rows = np.column_stack([np.ones(5), np.arange(1.0, 6.0)])
    sds = np.array([0.1, 0.1, 0.2, 0.2, 0.4])
    belief = after(Coefficients(np.zeros(2), np.eye(2) * 1e8), rows, np.array([2.1, 3.9, 6.2, 7.8, 10.1]), sds)
    assert belief.mean == pytest.approx([0.09457701, 1.95336226], abs=1e-6)
    assert belief.sd == pytest.approx([0.13336948, 0.05964465], abs=1e-6)


def test_it_is_weighted_least_squares_with_the_belief_as_rows() -> None:
    rng = np.random.default_rng(4)
    for _ in range(20):
        rows, values, sds = rng.normal(size=(30, 6)), rng.normal(size=30), rng.uniform(0.2, 2.0, 30)
        root = rng.normal(size=(6, 6))
        prior = Coefficients(rng.normal(size=6), root @ root.T + 0.1 * np.eye(6))
        whitened = np.linalg.inv(np.linalg.cholesky(prior.covariance))
        augmented = np.vstack([rows, whitened])
        answer = sm.WLS(
            np.concatenate([values, whitened @ prior.mean]), augmented, np.concatenate([sds**-2.0, np.ones(6)])
        ).fit()
        belief = after(prior, rows, values, sds)
        assert belief.mean == pytest.approx(answer.params, abs=1e-9)
        assert belief.covariance == pytest.approx(answer.normalized_cov_params, abs=1e-9)


def test_rows_one_by_one_are_rows_at_once() -> None:
    rng = np.random.default_rng(5)
    rows, values, sds = rng.normal(size=(40, 5)), rng.normal(size=40), rng.uniform(0.1, 1.0, 40)
    at_once = belief = Coefficients(np.zeros(5), np.eye(5))
    at_once = after(at_once, rows, values, sds)
    for one in rng.permutation(40):
        belief = after(belief, rows[one : one + 1], values[one : one + 1], sds[one : one + 1])
    assert belief.mean == pytest.approx(at_once.mean, abs=1e-10)
    assert belief.covariance == pytest.approx(at_once.covariance, abs=1e-10)


def test_what_is_known_stays_known() -> None:
    belief = after(Coefficients(np.array([1.0, 2.0]), np.diag([0.0, 1.0])), np.ones((1, 2)), np.ones(1), np.ones(1))
    assert belief.mean[0] == 1.0 and belief.sd[0] == 0.0


@pytest.mark.parametrize("count", [1, 4, 16, 60])
@pytest.mark.parametrize("chance", [0.1, 0.01, 0.001, 3e-5])
def test_a_sum_of_squares_in_spreads(count: int, chance: float) -> None:
    """Against the exact quantiles of chi square (scipy)."""
    exact = stats.norm.isf(chance)
    assert spreads_of_chi_square(stats.chi2.isf(chance, count), count) == pytest.approx(exact, abs=0.17)
