"""A channel that stood still is told from one that is quiet."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchproof.campaign.stuck import standing, stuck_mask

PLATEAUS = np.repeat([0.0, 10, 30, 60, 80, 100, 60, 30, 10, 0], 600)
SAMPLES = PLATEAUS.size
NOISE = np.random.default_rng(7).standard_normal(SAMPLES)
SPIN_UP = 100 * (1 - np.exp(-np.arange(SAMPLES) / 300))
RAMPS = np.interp(np.arange(SAMPLES), [0, 500, 700, 1500, 1700, 3000, 3300, 6000], [0, 0, 50, 50, 90, 90, 40, 40])


def found(values: np.ndarray) -> list[tuple[int, int, bool]]:
    return [(each.start, each.stop, each.saturated) for each in standing(values)]


@pytest.mark.parametrize("digits", [12, 1])
def test_a_sensor_that_freezes_on_a_noisy_plateau_is_stuck_for_as_long_as_it_lasts(digits: int) -> None:
    values = np.round(PLATEAUS + 0.5 * NOISE, digits)
    values[1500:1540] = values[1500]
    assert found(values) == [(1500, 1540, False)]
    mask = stuck_mask(values)
    assert mask[1500:1540].all()
    assert mask.sum() == 40


def test_a_sensor_that_stays_frozen_over_the_next_plateaus_is_stuck() -> None:
    values = PLATEAUS + 0.5 * NOISE
    values[1500:3500] = values[1500]
    assert found(values) == [(1500, 3500, False)]


def test_a_slow_instrument_logged_fast_is_stuck_only_when_many_updates_are_alike() -> None:
    values = np.repeat(PLATEAUS + 0.5 * NOISE, 20)
    assert found(values) == []
    values[30_000:32_000] = values[30_000]
    assert found(values) == [(30_000, 32_000, False)]


def test_a_sensor_at_its_limit_is_saturated_and_all_samples_there_are_left_out() -> None:
    values = np.minimum(PLATEAUS + 0.5 * NOISE, 90.0)
    assert found(values) == [(3000, 3600, True)]
    assert np.array_equal(stuck_mask(values), values == 90.0)


@pytest.mark.parametrize(
    "values",
    [
        pytest.param(PLATEAUS, id="constant plateaus"),
        pytest.param(RAMPS, id="constant plateaus between ramps"),
        pytest.param(np.round(RAMPS), id="coarse steps on ramps"),
        pytest.param(PLATEAUS + 0.5 * NOISE * (PLATEAUS > 0), id="a motor at rest before and after"),
        pytest.param(np.round(RAMPS * (1 + 0.02 * NOISE)), id="noise that grows with the reading"),
        pytest.param(np.round(SPIN_UP), id="a spin-up towards its last speed"),
        pytest.param(np.round(20 + SPIN_UP, 1), id="a slow temperature"),
        pytest.param(np.where(PLATEAUS > 0, 14.8 - PLATEAUS / 100 + 0.01 * NOISE, 16.0), id="a supply without load"),
        pytest.param(np.full(SAMPLES, 3.0), id="one value throughout"),
        pytest.param(np.full(SAMPLES, np.nan), id="no numbers at all"),
        pytest.param(np.zeros(0), id="nothing"),
        pytest.param(np.ones(1), id="one sample"),
    ],
)
def test_a_quiet_channel_is_left_alone(values: np.ndarray) -> None:
    assert found(values) == []
    assert not stuck_mask(values).any()


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10**6),
    step=st.sampled_from([1e-9, 0.3, 0.5, 0.8, 1.2, 2.0, 4.0, 10.0]),
    each=st.integers(5, 900),
)
def test_noise_of_any_size_against_the_digital_step_is_never_called_stuck(seed: int, step: float, each: int) -> None:
    rng = np.random.default_rng(seed)
    levels = np.repeat(rng.normal(0, 50, 10_000 // each + 1), each)
    values = np.round((levels + rng.standard_normal(levels.size)) / step) * step
    assert found(values) == []
