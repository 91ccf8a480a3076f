"""Settled steps of a log."""

from __future__ import annotations

import numpy as np
import pytest

from benchproof.methods.plateaus import cut, noise_of_mean, settled


def log(lag: float, dwell: float = 4.0, noise: float = 0.002):
    rng = np.random.default_rng(1)
    levels = np.array([0.0, 0.3, 0.6, 0.9, 0.6, 0.3, 0.0])
    time = np.arange(0, dwell * levels.size, 0.02)
    segment = np.minimum((time / dwell).astype(int), levels.size - 1)
    throttle = levels[segment]
    target = 10 * throttle
    before = np.concatenate([[0.0], target[:-1]])
    start = np.concatenate([[0], np.cumsum([dwell] * (levels.size - 1))])
    previous = 10 * np.concatenate([[0.0], levels[:-1]])[segment]
    thrust = target + (previous - target) * np.exp(-(time - start[segment]) / lag)
    assert before.size == time.size
    return time, throttle, thrust * (1 + noise * rng.standard_normal(time.size))


@pytest.mark.parametrize("lag", [0.05, 0.3, 0.45])
def test_a_wake_that_lags_is_waited_for(lag: float) -> None:
    time, throttle, thrust = log(lag)
    found = cut(time, throttle, {"thrust": thrust}, np.ones(time.size, bool), judged=["thrust"], least_wait=0.5)
    assert len(found.plateaus) == 5
    for plateau in found.plateaus:
        assert plateau.means["thrust"] == pytest.approx(10 * plateau.throttle, rel=0.003)
    assert [p.rising for p in found.plateaus] == [True, True, True, False, False]


def test_a_stretch_that_never_settles_is_left_out_and_said() -> None:
    time, throttle, thrust = log(0.05)
    thrust = thrust * np.where(throttle == 0.9, 1 + 0.05 * (time - time[throttle == 0.9][0]), 1)
    found = cut(time, throttle, {"thrust": thrust}, np.ones(time.size, bool), judged=["thrust"], least_wait=0.5)
    assert [round(t, 2) for _, t in found.unsettled] == [0.9]


def test_noise_at_low_thrust_does_not_look_like_a_slope() -> None:
    rng = np.random.default_rng(2)
    time = np.arange(0, 2, 0.02)
    kept = np.mean([settled(time, 0.3 + 0.03 * rng.standard_normal((1, time.size))) for _ in range(200)])
    assert kept > 0.9


def test_rows_of_a_stuck_sensor_enter_no_mean() -> None:
    time, throttle, thrust = log(0.05)
    usable = ~((time > 5) & (time < 6))
    thrust[~usable] = 99.0
    found = cut(time, throttle, {"thrust": thrust}, usable, judged=["thrust"], least_wait=0.5)
    assert max(p.means["thrust"] for p in found.plateaus) < 10


def test_block_means_see_correlated_noise() -> None:
    assert noise_of_mean(np.array([1.0, -1.0, 1.0, -1.0])) < noise_of_mean(np.array([1.0, 1.0, -1.0, -1.0]))
    assert noise_of_mean(np.array([2.0])) == 0.0
