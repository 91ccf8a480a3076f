"""Draws hang on a source's identity and on nothing else."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest
from scipy import special

from benchproof.trials.distributions import NORMAL, RECTANGULAR, TRIANGULAR, inverse_normal, student
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


def test_another_process_draws_the_same() -> None:
    code = (
        "from benchproof.trials.engine import *; from benchproof.trials.distributions import RECTANGULAR;"
        "print(Trials(1, 2000).draw(Source(('north','cell','scale','rig'),'x',RECTANGULAR))[:3].tolist())"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == str(Trials(1, 2000).draw(SCALE)[:3].tolist())


def test_draws_are_frozen_so_that_no_library_release_moves_a_figure() -> None:
    normal = Trials(20260101, 1000).draw(Source(("frozen",), "", NORMAL))
    assert normal[:4] == pytest.approx(FROZEN, abs=1e-12)


FROZEN = [0.3228076280909147, -0.9140559272152617, -0.6391436528439338, 0.4471178522149718]


@pytest.mark.parametrize("shape", [NORMAL, RECTANGULAR, TRIANGULAR])
def test_standardised_draws_have_mean_nought_and_deviation_one(shape) -> None:
    draws = Trials(2, 10_000).draw(Source(("s",), "", shape))
    assert draws.mean() == pytest.approx(0, abs=1e-9)
    assert draws.std() == pytest.approx(1, abs=1e-9)


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
