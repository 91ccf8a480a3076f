"""Figures handed from one campaign to what looks at several keep their trials."""

from __future__ import annotations

import json

import numpy as np
import pytest

from benchproof.findings.results import entry
from benchproof.findings.stored import packed, unpacked
from benchproof.methods.records import Figure
from benchproof.trials.distributions import NORMAL, student
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity, combine

TRIALS = Trials(20260101, 5000)


def _figure(name: str, value: float, standard: float, *, df: int | None = None) -> Figure:
    shape = NORMAL if df is None else student(df)
    shared = Quantity.of(1.0, 0.01, Source(("rig", "cell", "scale"), "scale", NORMAL), TRIALS)
    own = Quantity.of(value, standard, Source((name, str(df)), "scatter", shape), TRIALS)
    return Figure(name, {}, "A1", combine(lambda a, b: a * b, shared, own), "thrust_sweep/1.0")


def _through(*figures: Figure) -> tuple[Figure, ...]:
    return unpacked([entry(figure, 0.95) for figure in figures], packed(figures))


@pytest.mark.parametrize("df", [None, 1, 9])
def test_trials_come_back_to_a_thousandth_of_their_deviation(df: int | None) -> None:
    figure = _figure("kv_no_load", 183.0, 0.4, df=df)
    (back,) = _through(figure)
    assert back.quantity is not None
    assert figure.quantity is not None
    true, found = figure.quantity.trials - figure.quantity.value, back.quantity.trials - back.quantity.value
    within = np.abs(true) < 6e4 * np.std(true)
    assert np.all(np.abs(found - true)[within] <= 1e-3 * np.abs(true)[within] + 1e-6 * np.std(true))


def test_a_shared_error_still_cancels() -> None:
    one, two = _through(_figure("thrust", 8.0, 0.004), _figure("torque", 0.1, 0.00005))
    assert one.quantity is not None
    assert two.quantity is not None
    ratio = one.quantity.trials / two.quantity.trials
    assert np.std(ratio) / np.mean(ratio) == pytest.approx(np.hypot(0.0005, 0.0005), rel=0.05)


def test_a_figure_without_value_stays_without() -> None:
    missing = Figure("thrust", {"speed": "9 rpm"}, None, None, "thrust_sweep/1.0", ("not_reached",))
    kept, nothing = _through(_figure("mass", 0.03, 1e-5), missing)
    assert nothing.quantity is None
    assert nothing.flags == ("not_reached",)
    assert kept.quantity is not None


def test_a_quantity_that_two_figures_share_is_kept_once() -> None:
    figure = _figure("mass", 0.03, 1e-5)
    model = Figure("mass", {}, None, figure.quantity, figure.method, ("one_sample",))
    data = packed((figure, model))
    assert len(json.loads(data.partition(b"\n")[0])["scales"]) == 1
    one, other = unpacked([entry(figure, 0.95), entry(model, 0.95)], data)
    assert one.quantity is not None
    assert other.quantity is not None
    assert np.array_equal(one.quantity.trials, other.quantity.trials)


def test_trials_of_other_figures_are_refused() -> None:
    figures = (_figure("mass", 0.03, 1e-5), _figure("thrust", 8.0, 0.01))
    with pytest.raises(ValueError, match="kept trials for 2 figures of 1"):
        unpacked([entry(figures[0], 0.95)], packed(figures))
