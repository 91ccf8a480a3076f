"""Draws hang on a source's identity and on nothing else."""

from __future__ import annotations

import math
import os
import subprocess
import sys

import numpy as np
import pytest
from scipy import special, stats

from benchproof.trials.distributions import (
    NORMAL,
    RECTANGULAR,
    TRIANGULAR,
    Kind,
    Shape,
    inverse_normal,
    student,
    tabulated_degrees,
)
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity, combine, correlation
from benchproof.trials.rounding import rounded

SCALE = Source(("north", "cell", "scale", "rig"), "scale of cell", RECTANGULAR)
OFFSET = Source(("north", "cell", "offset", "run:a"), "offset of cell", RECTANGULAR)


def test_order_and_company_change_no_draw() -> None:
    alone = Trials(1, 2000).draw(SCALE)
    crowd = Trials(1, 2000)
    for k in range(20):
        crowd.draw(Source(("other", str(k)), "other", NORMAL))
    assert np.array_equal(crowd.draw(SCALE), alone)


def test_pieces_of_the_trials_are_pieces_of_the_same_draws() -> None:
    whole = Trials(1, 2500)
    pieces = list(whole.in_pieces(1000))
    assert [piece.count for piece in pieces] == [1000, 1000, 500]
    assert np.array_equal(np.concatenate([piece.draw(SCALE) for piece in pieces]), whole.draw(SCALE))
    joint = np.hstack([piece.scatter(("fit",), 3, 7.0) for piece in pieces])
    assert np.array_equal(joint, whole.scatter(("fit",), 3, 7.0))
    assert np.array_equal(
        np.concatenate([piece.estimate(("x",), 5.0) for piece in pieces]), whole.estimate(("x",), 5.0)
    )
    tenth = whole.some(slice(None, None, 10))
    assert tenth.count == 250
    assert np.array_equal(tenth.draw(SCALE), whole.draw(SCALE)[::10])


def test_another_process_draws_the_same() -> None:
    code = (
        "from benchproof.trials.engine import *; from benchproof.trials.distributions import RECTANGULAR;"
        "print(Trials(1, 2000).draw(Source(('north','cell','scale','rig'),'x',RECTANGULAR))[:3].tolist())"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == str(Trials(1, 2000).draw(SCALE)[:3].tolist())


FROZEN = {
    "normal": (NORMAL, [0.3092357264619902, -1.3462073923080904, 0.18013661013556329, -0.8950989920647361]),
    "rectangular": (
        RECTANGULAR,
        [0.9424954481167238, 1.1441061623697546, 0.7107470497743226, -1.6779242219297552],
    ),
    "triangular": (TRIANGULAR, [-0.8769443552539193, -0.6806768291881492, 0.01924284875211904, -1.077010626858388]),
    "student 3": (student(3), [-1.952969080030544, -0.5441917821051896, -0.5215338947182924, 1.4140831913868794]),
    "student 70": (student(70), [-0.7070865243487154, 0.2878546153100327, 0.5230728308557258, 0.8387300038597004]),
}
FROZEN_FIT = [[2.122871164666502, -0.2922885355250853], [4.208581159290721, -0.17020988819501276]]


@pytest.mark.parametrize("name", FROZEN)
def test_draws_are_frozen_so_that_no_library_release_moves_a_figure(name: str, trials: Trials) -> None:
    """Draws 1, 2, 10 000 and 20 000 of some sources, as they first came out."""
    shape, first = FROZEN[name]
    draws = trials.draw(Source(("north-bench", "cell", name, "rig"), "", shape))
    assert draws[[0, 1, 9999, 19999]] == pytest.approx(first, rel=1e-12)


def test_scatter_of_a_fit_is_frozen_too(trials: Trials) -> None:
    rows = trials.scatter(("fit",), 2, 5)
    assert rows[:, [0, 19999]].tolist() == [pytest.approx(row, rel=1e-12) for row in FROZEN_FIT]


@pytest.mark.parametrize("shape", [NORMAL, RECTANGULAR, TRIANGULAR])
def test_standardised_draws_have_mean_nought_and_deviation_one(shape: Shape) -> None:
    draws = Trials(2, 10_000).draw(Source(("s",), "", shape))
    assert draws.mean() == pytest.approx(0, abs=1e-9)
    assert draws.std() == pytest.approx(1, abs=1e-9)


@pytest.mark.parametrize("count", [1000, 1001, 65_536, 1_000_000])
def test_any_allowed_number_of_trials_is_a_stratified_sample(count: int) -> None:
    draws = np.sort(Trials(2, count).draw(Source(("s",), "", RECTANGULAR)))
    assert np.ptp(np.diff(draws)) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("count", [0, 999, 1_000_001])
def test_another_number_of_trials_is_refused(count: int) -> None:
    with pytest.raises(ValueError, match="from 1000 to 1000000"):
        Trials(1, count)


def test_different_sources_and_seeds_are_unrelated(trials: Trials) -> None:
    draws = [trials.draw(Source(("s", str(k)), "", NORMAL)) for k in range(40)]
    draws.append(Trials(trials.seed + 1, trials.count).draw(Source(("s", "0"), "", NORMAL)))
    apart = np.asarray(np.corrcoef(np.stack(draws)))[np.triu_indices(41, 1)] * trials.count**0.5
    assert np.abs(apart).max() < 4.5
    assert apart.std() == pytest.approx(1, abs=0.1)


@pytest.mark.parametrize("count", [1000, 20_000])
def test_any_two_and_three_of_many_sources_are_unrelated(count: int) -> None:
    """Orders come out of one stock of permutations: hundreds of pairs share both of theirs."""
    trials = Trials(1, count)
    draws = np.stack([trials.draw(Source(("s", str(k)), "", NORMAL)) for k in range(400)])
    pairs = np.corrcoef(draws)[np.triu_indices(400, 1)] * (count - 1) ** 0.5
    assert pairs.std() == pytest.approx(1, abs=0.02)
    assert np.abs(pairs).max() < 5.5
    assert stats.kstest(pairs, "norm").pvalue > 1e-3
    squares = np.corrcoef(draws**2)[np.triu_indices(400, 1)] * (count - 1) ** 0.5
    assert squares.std() == pytest.approx(1, abs=0.02)
    threes = np.random.default_rng(1).choice(400, (5000, 3))
    threes = threes[(np.diff(np.sort(threes), axis=1) > 0).all(axis=1)]
    third = np.array([(draws[a] * draws[b] * draws[c]).mean() for a, b, c in threes]) * count**0.5
    assert third.std() == pytest.approx(1, abs=0.05)
    assert abs(float(third.mean())) < 4 / third.size**0.5
    total = draws.sum(axis=0) / 20
    assert total.std() == pytest.approx(1, abs=4 / (2 * count) ** 0.5)


def test_names_do_not_run_together(trials: Trials) -> None:
    one, other = (trials.draw(Source(name, "", NORMAL)) for name in (("ab", "c"), ("a", "bc")))
    assert abs(float(np.mean(one * other))) < 0.05


def test_a_source_has_one_distribution(trials: Trials) -> None:
    trials.draw(SCALE)
    with pytest.raises(ValueError, match="is both"):
        trials.draw(Source(SCALE.identity, "", NORMAL))


@pytest.mark.parametrize(
    ("df", "tabulated"), [(1, 1), (2.9, 2.875), (50, 50), (50.9, 50), (59, 50), (60, 60), (119, 80), (1e9, 240)]
)
def test_degrees_of_freedom_are_floored_to_a_table(df: float, tabulated: int) -> None:
    assert tabulated_degrees(df) == tabulated


@pytest.mark.parametrize(("kind", "df"), [("student", None), ("student", 0.5), ("joint", math.nan), ("normal", 4.0)])
def test_degrees_of_freedom_belong_to_estimates_alone(kind: Kind, df: float | None) -> None:
    with pytest.raises(ValueError, match="degrees of freedom"):
        Shape(kind, df)


def test_our_inverse_normal_agrees_with_scipys() -> None:
    p = np.concatenate([np.logspace(-15, -2, 200), np.linspace(0.01, 0.99, 999), 1 - np.logspace(-12, -2, 100)])
    assert inverse_normal(p) == pytest.approx(special.ndtri(p), rel=1e-12, abs=1e-13)


def test_a_shared_error_cancels_from_a_ratio(trials: Trials) -> None:
    one = Quantity.of(10.0, 0.1, SCALE, trials)
    other = Quantity.of(20.0, 0.2, SCALE, trials)
    assert combine(np.divide, one, other).standard_uncertainty == pytest.approx(0, abs=1e-12)
    assert correlation(one, other) == pytest.approx(1, abs=1e-9)


def test_the_budget_is_whole(trials: Trials) -> None:
    total = combine(np.add, Quantity.of(1.0, 0.3, SCALE, trials), Quantity.of(1.0, 0.4, OFFSET, trials))
    assert sum(share.share for share in total.budget()) == pytest.approx(1)
    assert total.standard_uncertainty == pytest.approx(0.5, rel=1e-3)


def test_few_readings_set_the_interval_and_not_the_standard_uncertainty(trials: Trials) -> None:
    mean = Quantity.of(0.0, 1.0, Source(("few",), "", student(2)), trials)
    low, high = mean.interval(0.95)
    assert mean.standard_uncertainty == pytest.approx(1.0, rel=1e-6)
    assert high == pytest.approx(4.303, abs=0.05)
    assert low == pytest.approx(-4.303, abs=0.05)


def test_four_readings_cover_the_truth_19_times_out_of_20() -> None:
    """Student's interval, by simulation with numpy's generator, apart from the engine's."""
    rng = np.random.default_rng(11)
    trials = Trials(4, 5000)
    q = np.quantile(trials.draw(Source(("t3",), "", student(3))), [0.025, 0.975])
    samples = rng.standard_normal((4000, 4))
    mean, u = samples.mean(axis=1), samples.std(axis=1, ddof=1) / 2
    inside = np.mean((mean + q[0] * u <= 0) & (mean + q[1] * u >= 0))
    assert 0.938 <= inside <= 0.962


@pytest.mark.parametrize("threads", ["1", "2"])
def test_numerical_threads_change_no_byte(threads: str) -> None:
    code = (
        "import numpy as np; from benchproof.trials.engine import *; from benchproof.trials.quantity import *;"
        "from benchproof.trials.distributions import NORMAL; t=Trials(1,20000);"
        "q=[Quantity.of(1.0,.1,Source((str(k),),'',NORMAL),t) for k in range(30)];"
        "s=combine(lambda *x: np.prod(x,axis=0),*q); print(repr(s.standard_uncertainty), repr(s.interval(.95)))"
    )
    env = {**os.environ, "OPENBLAS_NUM_THREADS": threads, "OMP_NUM_THREADS": threads}
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env)
    plain = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    base = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=plain)
    assert out.stdout == base.stdout


@pytest.mark.parametrize(
    ("value", "expanded", "printed"),
    [
        (9.8437, 0.1432, ("9.84", "0.14")),
        (0.5, 0.0996, ("0.50", "0.10")),
        (1234.5, 67.0, ("1234", "67")),
        (-3.14159, 0.0021, ("-3.1416", "0.0021")),
    ],
)
def test_two_digits_of_the_uncertainty_decide_the_place(
    value: float, expanded: float, printed: tuple[str, str]
) -> None:
    """JCGM 100:2008, 7.2.6 [clause from memory]."""
    assert rounded(value, expanded) == printed
