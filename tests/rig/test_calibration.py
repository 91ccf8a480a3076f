"""Calibrating an instrument with known loads."""

from __future__ import annotations

import csv
import json
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pytest

from benchproof.errors import MethodError
from benchproof.rig.calibration import calibrate, force_of_mass
from benchproof.rig.instrument import ErrorStatement, Instrument, Occasion
from benchproof.trials.distributions import NORMAL, RECTANGULAR

if TYPE_CHECKING:
    from pathlib import Path

    from benchproof.trials.engine import Trials

OCCASION = Occasion("north", "campaign", "raw/a.csv", date(2026, 3, 2))
DAYS = {"dated": date(2026, 2, 1), "expires": date(2026, 8, 1)}


def made(applied: np.ndarray, indicated: np.ndarray, direction: list[str] | None = None):
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


def test_two_readings_without_a_stated_repeatability_are_refused_with_the_way_out(trials: Trials) -> None:
    balance = Instrument("north", "balance", "mass", (ErrorStatement("resolution", 3e-6, RECTANGULAR, "reading"),))
    with pytest.raises(MethodError, match="repeatability"):
        balance.reading([0.0324, 0.0325], OCCASION, "mass", trials)


def test_readings_that_contradict_the_stated_repeatability_are_remarked_on(trials: Trials) -> None:
    balance = Instrument("north", "balance", "mass", (ErrorStatement("repeatability", 1e-6, NORMAL, "reading"),))
    steady = balance.reading([0.032400, 0.032401, 0.032400], OCCASION, "mass", trials)
    wild = balance.reading([0.032400, 0.032450, 0.032400], OCCASION, "mass", trials)
    assert steady.remarks == ()
    assert [r.code for r in wild.remarks] == ["repeatability_contradicted"]
    assert wild.quantity.standard_uncertainty == pytest.approx(1e-6 / 3**0.5, rel=1e-3)


def test_a_calibration_that_falls_is_refused() -> None:
    with pytest.raises(MethodError, match="sign"):
        made(np.linspace(10, 0, 6), np.linspace(0, 10, 6))
