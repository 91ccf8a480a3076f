"""Calibrating an instrument with known loads."""

from __future__ import annotations

import csv
import json
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pytest

from benchproof.errors import MethodError
from benchproof.rig.calibration import Calibration, calibrate
from benchproof.rig.instrument import ErrorStatement, Instrument, Occasion
from benchproof.rig.loads import force_of_mass
from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity, coverage_interval

if TYPE_CHECKING:
    from pathlib import Path

OCCASION = Occasion("north", "campaign", "raw/a.csv", date(2026, 3, 2))
DAYS = {"dated": date(2026, 2, 1), "expires": date(2026, 8, 1)}


def made(applied: np.ndarray, indicated: np.ndarray, direction: list[str] | None = None) -> Calibration:
    return calibrate(applied, indicated, direction or ["up"] * applied.size, key="c:2026-02-01", **DAYS)


@pytest.mark.parametrize(("name", "degree"), [("Norris", 1), ("Pontius", 2)])
def test_certified_lines_come_back_through_the_calibration_fit(reference: Path, name: str, degree: int) -> None:
    """NIST Norris and Pontius (tests/reference/nist_strd); the fit finds the degree by itself."""
    folder = reference / "nist_strd"
    data = list(csv.DictReader((folder / f"strd_lin_{name}.csv").read_text().splitlines()))
    expected = json.loads((folder / "strd_certified.json").read_text())[f"linear_{name}"]
    x, y = (np.array([float(row[k]) for row in data]) for k in "xy")
    calibration = made(y, x)
    assert calibration.fit.degree == degree
    wanted = [float(v) for v in expected.get("coef", [expected.get("B0", 0), expected.get("B1", 0)])]
    assert calibration.fit.in_powers_of_x().coefficients == pytest.approx(wanted, rel=1e-9)


def test_dead_weights_pull_with_local_gravity_less_buoyancy() -> None:
    assert float(force_of_mass(np.array(1.0), 9.81)) == pytest.approx(9.81 * (1 - 1.2 / 8000))


def test_covariance_of_intercept_and_slope_counts() -> None:
    """Nine loads to 16 N with 4 mN scatter: 1.4 mN in the middle; without the covariance it would be 3.6 mN."""
    rng = np.random.default_rng(1)
    x = np.linspace(0, 16, 9)
    found = []
    for _ in range(200):
        fit = made(x + 0.004 * rng.standard_normal(9), x).fit
        if fit.degree == 1:
            found.append(fit.standard_uncertainty(10.0)[0])
    assert np.median(found) == pytest.approx(1.4e-3, rel=0.15)


def test_a_constant_offset_and_the_intercept_cancel_when_the_tare_is_taken_off(trials: Trials) -> None:
    x = np.linspace(0, 16, 9)
    y = 0.3 + 1.01 * x + 0.002 * np.sin(7 * x)
    errors = (ErrorStatement("offset", 0.5, RECTANGULAR, "run"),)
    cell = Instrument("north", "cell", "thrust", errors, made(y, x))
    pair = cell.true_trials(np.array([5.0, 0.1]), OCCASION, trials)
    assert pair[0].std() > 0.4
    assert (pair[0] - pair[1]).std() < 0.01


def test_branches_that_differ_by_more_than_they_scatter_count_as_hysteresis() -> None:
    x = np.tile(np.linspace(0, 16, 9), 2)
    way = ["up"] * 9 + ["down"] * 9
    bow = 0.05 * 4 * (x / 16) * (1 - x / 16) * (np.arange(18) >= 9)
    rng = np.random.default_rng(2)
    noise = 1e-3 * rng.standard_normal(18)
    assert made(x, x - bow + noise, way).hysteresis == pytest.approx(0.05, rel=0.3)
    assert made(x, x + noise, way).hysteresis == 0.0


def test_hysteresis_is_counted_once() -> None:
    """Where it counts by itself, it is out of the scatter, and the line runs midway between the branches."""
    x = np.tile(np.linspace(0, 16, 9), 2)
    way = ["up"] * 9 + ["down"] * 9
    side = np.where(np.arange(18) >= 9, 0.5, -0.5)
    noise = 1e-3 * np.random.default_rng(2).standard_normal(18)
    steady = made(x, x + noise, way)
    wide = made(x, x + noise + 0.05 * side * 4 * (x / 16) * (1 - x / 16), way)
    assert wide.fit.fit.residual_sd == pytest.approx(steady.fit.fit.residual_sd, rel=0.5)
    assert wide.fit(np.array([8.0]))[0] == pytest.approx(8.0, abs=2e-3)
    assert wide.fit.fit.df == steady.fit.fit.df - 3


def test_hysteresis_does_not_cancel_against_the_tare(trials: Trials) -> None:
    x = np.tile(np.linspace(0, 16, 9), 2)
    way = ["up"] * 9 + ["down"] * 9
    noise = 1e-4 * np.random.default_rng(2).standard_normal(18)
    bow = 0.05 * 4 * (x / 16) * (1 - x / 16) * (np.arange(18) >= 9)
    cell = Instrument("north", "cell", "thrust", (), made(x, x + bow + noise, way))
    pair = cell.true_trials(np.array([8.0, 0.0]), OCCASION, trials)
    thrust = Quantity(8.0, pair[0] - pair[1], cell.parts(OCCASION, trials))
    assert thrust.standard_uncertainty == pytest.approx(0.05 / (2 * 3**0.5), rel=0.05)
    assert "hysteresis of cell" in thrust.budget()[0].label


@pytest.mark.parametrize(
    ("applied", "indicated"),
    [([0, 1, 2], [0, 1, 2]), ([0, 1, 0, 1], [0, 1, 0, 1]), ([0, 1, 2, 3], [0, 0, 0, 0])],
    ids=["three-points", "two-loads", "stuck"],
)
def test_points_that_carry_no_line_with_its_scatter_are_refused(applied: list[float], indicated: list[float]) -> None:
    with pytest.raises(MethodError, match="at least 4 points at 3 different loads"):
        made(np.array(applied, dtype=float), np.array(indicated, dtype=float))


@pytest.mark.parametrize("points", [4, 5, 6, 9, 18])
def test_a_calibration_keeps_two_degrees_of_freedom_for_its_scatter(points: int) -> None:
    x = np.linspace(0, 16, points)
    fit = made(x**1.5, x).fit
    assert fit.fit.df >= 2


def test_a_curved_cell_is_fitted_by_a_curve() -> None:
    x = np.linspace(0, 16, 11)
    noise = 1e-3 * np.random.default_rng(4).standard_normal(11)
    assert made(x, x + noise).fit.degree == 1
    assert made(x, x + 2e-3 * x**2 + noise).fit.degree == 2
    assert made(x, x + 1e-3 * (x - 8) ** 3 + noise).fit.degree == 3


def test_the_range_of_validity_ends_a_twentieth_beyond_the_largest_load() -> None:
    x = np.linspace(0, 20, 9)
    said = made(x, x + 0.01 * np.sin(x)).outside(np.array([-2.0, 0.0, 20.0, 20.9, 21.1]))
    assert said.tolist() == [True, False, False, False, True]


def test_a_fitted_calibration_covers_the_truth_19_times_out_of_20() -> None:
    """By simulation with numpy's generator: tared thrust at three loads, degree and branches found by the fit."""
    rng = np.random.default_rng(5)
    loads = np.tile(np.linspace(0, 16, 9), 2)
    way = ["up"] * 9 + ["down"] * 9
    truth = np.array([3.0, 8.0, 12.0])
    inside = []
    for k in range(600):
        indicated = 0.05 + 1.003 * loads + 0.004 * rng.standard_normal(18)
        cell = Instrument("north", "cell", "thrust", (), made(loads, indicated, way))
        rows = cell.true_trials(0.05 + 1.003 * np.array([*truth, 0.0]), OCCASION, Trials(k, 2000))
        low, high = coverage_interval(rows[:3] - rows[3], 0.95)
        inside.append((low <= truth) & (truth <= high))
    assert 0.93 < np.mean(inside) < 0.97


def test_a_calibration_that_falls_is_refused() -> None:
    with pytest.raises(MethodError, match="sign"):
        made(np.linspace(10, 0, 6), np.linspace(0, 10, 6))
