"""A smooth curve through scattered steps, with its own uncertainty."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from benchproof.methods.smoother import smooth


def curve(x: np.ndarray) -> np.ndarray:
    return 0.72 * x - 0.02 * (x - 5) ** 2


def points(
    rng: np.random.Generator, levels: int, noise: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    x = np.tile(np.log(np.geomspace(15, 600, levels)), 2) + 0.002 * rng.standard_normal(2 * levels)
    y = curve(x) + noise * rng.standard_normal(x.size)
    seen = noise * np.sqrt(rng.chisquare(7, x.size) / 7)
    return x, y, seen, np.repeat([-0.5, 0.5], levels)


def test_a_straight_line_comes_back_exactly() -> None:
    x = np.linspace(0, 3, 12)
    fit = smooth(x, 2 + 0.7 * x, np.full(12, 1e-3))
    at = np.array([0.5, 1.7])
    assert fit.rows(at) @ fit.y == pytest.approx(2 + 0.7 * at, abs=1e-9)
    assert fit.slope() == pytest.approx(0.7, abs=1e-8)


def test_its_interval_holds_the_truth_19_times_out_of_20() -> None:
    rng = np.random.default_rng(3)
    at = np.log([60.0, 100.0, 200.0, 400.0])
    hits = []
    for _ in range(300):
        x, y, seen, branch = points(rng, 15, 0.004)
        fit = smooth(x, y, seen, branch)
        size = fit.standard_error(at)
        k = stats.t.ppf(0.975, fit.degrees_of_freedom)
        hits.append(np.abs(fit.rows(at) @ fit.y - curve(at)) <= k * size)
    assert 0.93 <= np.mean(hits) <= 0.99


def test_steps_that_scatter_more_than_their_own_noise_keep_their_deviation_where_they_were_measured() -> None:
    rng = np.random.default_rng(4)
    x = np.log(np.linspace(1500, 6000, 19))
    y = 0.01 * rng.standard_normal(19)
    fit = smooth(x, y, np.zeros(19))
    assert fit.excess_share == pytest.approx(1.0)
    assert fit.rows(x) @ fit.y == pytest.approx(y, abs=1e-6)
    assert fit.standard_error(x).min() > 0.004


def test_a_difference_between_branches_is_found_and_taken_out_of_the_scatter() -> None:
    rng = np.random.default_rng(5)
    x, y, seen, branch = points(rng, 15, 0.002)
    fit = smooth(x, y + 0.02 * branch, seen, branch)
    difference, error = fit.branch_difference
    assert difference == pytest.approx(0.02, abs=3 * error)
    assert np.sqrt(fit.variance.mean()) < 0.003


@pytest.mark.parametrize("count", [0, 1, 3])
def test_too_few_points_carry_no_curve(count: int) -> None:
    with pytest.raises(ValueError, match="at least 4 points"):
        smooth(np.arange(float(count)), np.arange(float(count)), np.zeros(count))


def test_rows_of_very_unequal_noise_stay_near_their_points() -> None:
    rng = np.random.default_rng(6)
    for _ in range(100):
        x, y, _, branch = points(rng, 12, 1e-4)
        noise = np.exp(rng.normal(-9, 4, x.size))
        fit = smooth(x, y, noise, branch)
        assert np.abs(fit.residuals()).max() < 0.01
