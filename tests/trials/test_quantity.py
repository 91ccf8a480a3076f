"""What a quantity says of itself: uncertainty, degrees of freedom, interval, budget, correlation."""

from __future__ import annotations

import numpy as np
import pytest

from benchproof.trials.distributions import NORMAL, RECTANGULAR, Shape, student
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import (
    REMAINDER,
    Quantity,
    combine,
    correlation,
    coverage_interval,
    joint_parts,
    mean,
)


def one(name: str, u: float, shape: Shape, trials: Trials, value: float = 1.0) -> Quantity:
    return Quantity.of(value, u, Source((name,), name, shape), trials)


@pytest.mark.parametrize("df", [1, 2, 3, 4, 9, 30])
def test_a_heavy_tail_never_sets_a_standard_uncertainty(df: int, trials: Trials) -> None:
    few, known = one("few", 0.1, student(df), trials), one("known", 0.2, NORMAL, trials)
    total = combine(np.add, few, known)
    assert total.standard_uncertainty == pytest.approx(np.hypot(0.1, 0.2), rel=1e-9)
    assert total.degrees_of_freedom == pytest.approx(df * (0.05 / 0.01) ** 2, rel=1e-6)
    product = combine(np.multiply, few, known)
    assert product.standard_uncertainty == pytest.approx((0.01 + 0.04 + 0.0004) ** 0.5, rel=0.01)
    shares = {share.label: share.share for share in product.budget()}
    assert shares["known"] == pytest.approx(0.04 / 0.0504, abs=0.01)


def test_forty_scatters_of_few_readings_average_out(trials: Trials) -> None:
    average = mean(*(one(f"t{k}", 0.1, student(3), trials) for k in range(40)))
    assert average.standard_uncertainty == pytest.approx(0.1 / 40**0.5, rel=1e-9)
    assert average.degrees_of_freedom == pytest.approx(120, rel=1e-6)


@pytest.mark.parametrize("df", [2, 5, None])
def test_coefficients_of_one_fit_share_their_degrees_of_freedom(df: int | None, trials: Trials) -> None:
    parts = joint_parts(trials, ("fit",), "fit", 3, df)
    total = Quantity(0.0, sum((c * part.draws for c, part in zip((1, 2, 2), parts, strict=True)), np.zeros(1)), parts)
    assert total.standard_uncertainty == pytest.approx(3.0, rel=1e-9)
    assert total.degrees_of_freedom == (None if df is None else pytest.approx(df, rel=1e-9))
    high = total.interval(0.95)[1]
    assert high == pytest.approx(3 * {2: 4.303, 5: 2.571, None: 1.960}[df], rel=0.04)


def test_jointly_drawn_coefficients_are_wide_together(trials: Trials) -> None:
    """They share one residual standard deviation: uncorrelated, but not independent."""
    a, b = trials.scatter(("fit",), 2, 4)
    assert np.corrcoef(a, b)[0, 1] == pytest.approx(0, abs=0.04)
    assert np.corrcoef(np.minimum(a**2, 9), np.minimum(b**2, 9))[0, 1] > 0.1


def test_an_exact_quantity_has_neither_uncertainty_nor_budget(trials: Trials) -> None:
    exact = Quantity.exact(9.80665, trials.count)
    assert (exact.standard_uncertainty, exact.degrees_of_freedom, exact.budget()) == (0.0, None, ())
    assert exact.interval(0.95) == (9.80665, 9.80665)
    assert correlation(exact, one("x", 1.0, NORMAL, trials)) == 0.0


def test_what_no_source_explains_linearly_is_a_row_of_its_own(trials: Trials) -> None:
    square = combine(np.square, one("x", 1.0, NORMAL, trials, value=0.0))
    last = square.budget()[0]
    assert (last.label, last.identity) == (REMAINDER, ())
    assert square.standard_uncertainty == pytest.approx(2**0.5, rel=0.01)
    assert sum(share.share for share in square.budget()) == pytest.approx(1)


def test_correlation_counts_shared_sources_and_shared_curvature(trials: Trials) -> None:
    x, y = one("x", 1.0, NORMAL, trials, 0.0), one("y", 1.0, RECTANGULAR, trials, 0.0)
    assert correlation(x, combine(np.add, x, y)) == pytest.approx(0.5**0.5, rel=1e-6)
    assert correlation(x, combine(np.subtract, y, x)) == pytest.approx(-(0.5**0.5), rel=1e-6)
    assert correlation(x, y) == pytest.approx(0, abs=1e-12)
    square = combine(np.square, x)
    assert correlation(square, combine(lambda v: 3 - 2 * v * v, x)) == pytest.approx(-1, rel=1e-9)


@pytest.mark.parametrize(("count", "first", "last"), [(1000, 25, 975), (1001, 25, 976), (20_000, 500, 19_500)])
def test_interval_ends_are_the_order_statistics_of_the_supplement(count: int, first: int, last: int) -> None:
    """JCGM 101:2008, 7.7 [clause from memory]: y(r) and y(r + q), q = pM rounded, r = (M - q)/2 rounded up."""
    shuffled = np.random.default_rng(1).permutation(np.arange(1.0, count + 1))
    low, high = coverage_interval(shuffled, 0.95)
    assert (float(low), float(high)) == (first, last)


def test_intervals_of_a_whole_curve_are_those_of_its_points(trials: Trials) -> None:
    rows = trials.scatter(("curve",), 5, None)
    low, high = coverage_interval(rows, 0.9)
    assert [(low[k], high[k]) for k in range(5)] == [Quantity(0.0, row).interval(0.9) for row in rows]


def test_trials_cannot_be_written_to(trials: Trials) -> None:
    source = Source(("x",), "x", NORMAL)
    for array in (trials.draw(source), Quantity(0.0, np.zeros(3)).trials, trials.scatter(("y",), 2, 3)):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


def test_trials_of_different_numbers_do_not_mix(trials: Trials) -> None:
    with pytest.raises(ValueError, match="different numbers of trials"):
        combine(np.add, one("x", 1.0, NORMAL, trials), one("x", 1.0, NORMAL, Trials(1, 1000)))


def test_four_equal_inputs_agree_with_first_order_whatever_their_scale(trials: Trials) -> None:
    for scale in (1e-12, 1.0, 1e12):
        total = combine(lambda *x: sum(x), *(one(f"x{k}", scale, RECTANGULAR, trials) for k in range(4)))
        assert total.standard_uncertainty == pytest.approx(2 * scale, rel=1e-9)
