"""Draws hang on a source's identity and on nothing else."""

from __future__ import annotations

import math
import os
import subprocess
import sys

import numpy as np
import pytest
from scipy import special

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
    "normal": (NORMAL, [0.6654918981174593, 0.7350070638231455, -1.4831409467259227, -0.37973696969243426]),
    "rectangular": (
        RECTANGULAR,
        [-1.1603874399812537, -1.5346836199647582, -0.41647161720052617, -0.03334197808737834],
    ),
    "triangular": (TRIANGULAR, [-0.3644718899464793, 0.5522024063170697, 1.9136733065302485, -0.050802620362558996]),
    "student 3": (student(3), [0.8488071201763905, -0.07347887491181102, -1.9280628557517894, -1.2135435884953307]),
    "student 70": (student(70), [-1.4787057699643158, -1.1341324478086228, -0.8590172400177807, -1.4862464323119675]),
}
FROZEN_FIT = [[0.1492306371856767, 0.29637200228244726], [-0.6918090461030996, 0.5059062086357228]]


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
