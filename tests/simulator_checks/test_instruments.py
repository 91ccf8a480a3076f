"""Instruments err as the rig file says: by no more, by no less, and together where the file says so."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.instruments import Occasion, Rig, lagged
from simulator.streams import stream

DESCRIPTION = {
    "rig": "trial",
    "location": {"latitude": "54.4 deg", "elevation": "190 m"},
    "instruments": {
        "cell": {
            "measures": "thrust",
            "full_scale": "30 N",
            "calibrations": [
                {"file": "a.csv", "dated": "2025-08-01", "expires": "2026-02-01", "applied_unit": "kg", "indicated_unit": "gf"},
                {"file": "b.csv", "dated": "2026-02-01", "expires": "2026-08-01", "applied_unit": "kg", "indicated_unit": "gf"},
            ],
        },
        "scale": {"measures": "voltage", "errors": [{"scale": "1 %"}]},
        "normal": {"measures": "current", "errors": [{"offset": "20 mA", "shape": "normal", "k": 2}]},
        "session": {"measures": "temperature", "errors": [{"offset": "0.5 degC", "per": "session"}]},
        "run": {"measures": "torque", "errors": [{"offset": "0.5 mN*m", "per": "run"}]},
        "bow": {"measures": "length", "full_scale": "1 m", "errors": [{"linearity": "1 mm"}]},
        "balance": {"measures": "mass", "errors": [{"resolution": "0.01 g"}, {"repeatability": "0.006 g"}]},
    },
}  # fmt: skip
DAY = Occasion("2026-03-01", "a/1")


def _rig(seed: int = 1) -> Rig:
    return Rig.drawn(DESCRIPTION, stream(seed, "test"))


def _errors(name: str, true: float, occasion: Occasion = DAY) -> np.ndarray:
    rng = np.random.default_rng(5)
    return np.array([_rig(seed).instrument(name).indicate(true, occasion, rng) - true for seed in range(3000)])


def test_a_half_width_is_the_half_width_of_a_rectangle() -> None:
    errors = _errors("scale", 10.0) / 10.0
    assert np.abs(errors).max() <= 0.01
    assert np.std(errors) == pytest.approx(0.01 / np.sqrt(3), rel=0.03)


def test_a_normal_statement_is_divided_by_its_k() -> None:
    assert np.std(_errors("normal", 5.0)) == pytest.approx(0.010, rel=0.05)


def test_a_bow_is_zero_at_both_ends_and_largest_between() -> None:
    assert np.all(_errors("bow", 0.0) == 0)
    assert np.all(_errors("bow", 1.0) == 0)
    assert np.abs(_errors("bow", 0.5)).max() == pytest.approx(1e-3, rel=0.01)


@pytest.mark.parametrize(
    ("name", "other", "shared"),
    [
        ("scale", Occasion("2026-04-01", "b/2"), True),
        ("session", Occasion("2026-03-01", "b/2"), True),
        ("session", Occasion("2026-03-02", "a/1"), False),
        ("run", Occasion("2026-03-01", "a/1"), True),
        ("run", Occasion("2026-03-01", "a/2"), False),
    ],
)
def test_an_error_is_shared_as_far_as_its_scope_goes(name: str, other: Occasion, shared: bool) -> None:
    instrument, rng = _rig().instrument(name), np.random.default_rng(1)
    first, second = (float(instrument.indicate(3.0, each, rng)) for each in (DAY, other))
    assert (first == second) is shared


def test_a_balance_shows_steps_and_scatters_as_stated() -> None:
    readings = _rig().instrument("balance").indicate(np.full(20000, 31.234e-3), DAY, np.random.default_rng(2))
    steps = readings / 1e-5
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-6)
    assert np.std(readings) == pytest.approx(np.hypot(0.006e-3, 0.01e-3 / np.sqrt(12)), rel=0.03)


def test_a_calibration_undoes_its_own_cell() -> None:
    cell = _rig().instrument("cell")
    entry = DESCRIPTION["instruments"]["cell"]["calibrations"][1]
    rows = cell.calibration_rows(entry, [0, 1, 2, 3], noise=0.0, hysteresis=0.0)
    applied = np.array([row[0] for row in rows])
    newton = np.array([row[1] for row in rows]) * 9.80665e-3
    force = applied * cell.gravity() * (1 - 1.2 / 8000)
    shown = cell.indicate(force, DAY, np.random.default_rng(3))
    np.testing.assert_allclose(shown, newton, atol=1e-9)
    assert cell.gravity() == pytest.approx(9.8141, abs=2e-4)


def test_the_calibration_in_force_is_the_days() -> None:
    cell = _rig().instrument("cell")
    assert cell.in_force("2026-01-15") == "a.csv"
    assert cell.in_force("2026-03-01") == "b.csv"
    with pytest.raises(ValueError, match="no calibration in force"):
        cell.in_force("2027-01-01")


def test_a_lag_leaves_a_ramp_behind_by_its_time() -> None:
    times = np.arange(0, 1, 0.01)
    behind = lagged(100 * times, 0.01, 0.002)
    np.testing.assert_allclose((100 * times - behind)[10:], 0.2, rtol=1e-6)


def test_a_new_run_disturbs_no_old_one() -> None:
    rig = _rig()
    first = rig.stream("run", "a/1").standard_normal(4)
    rig.stream("run", "a/2").standard_normal(4)
    np.testing.assert_array_equal(rig.stream("run", "a/1").standard_normal(4), first)
