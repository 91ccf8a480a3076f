"""Fits against the NIST Statistical Reference Datasets (values in tests/reference/nist_strd)."""

from __future__ import annotations

import csv
import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from benchproof.trials.regression import added_terms, fit_curve, fit_linear, fit_polynomial

if TYPE_CHECKING:
    from pathlib import Path


def columns(path: Path) -> dict[str, np.ndarray]:
    rows = list(csv.DictReader(path.read_text().splitlines()))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def certified(reference: Path, name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((reference / "nist_strd" / "strd_certified.json").read_text())[name]
    return found


def coefficients(expected: dict[str, Any]) -> list[float]:
    """Certified coefficients; the copies of the data sets lay them out in three ways."""
    if "coef" in expected:
        return [float(value) for value in expected["coef"]]
    if "table" in expected:
        return [float(expected["slope"])] if "slope" in expected else [float(r[0]) for r in expected["table"][1:]]
    return [float(expected["B0"]), float(expected["B1"])]


def deviations(expected: dict[str, Any]) -> list[float]:
    """Certified standard deviations of the coefficients."""
    if "B0" in expected:
        return [float(expected["sdB0"]), float(expected["sdB1"])]
    sd = expected["sd"]
    return [float(value) for value in (sd if isinstance(sd, list) else [sd])]


@pytest.mark.parametrize(("name", "degree"), [("Norris", 1), ("Pontius", 2), ("Wampler1", 5)])
def test_polynomials_come_back_to_nine_digits(reference: Path, name: str, degree: int) -> None:
    data = columns(reference / "nist_strd" / f"strd_lin_{name}.csv")
    fit = fit_polynomial(data["x"], data["y"], degree)
    wanted = coefficients(certified(reference, f"linear_{name}"))
    assert fit.in_powers_of_x().coefficients == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize(("name", "degree"), [("Norris", 1), ("Pontius", 2)])
def test_their_standard_deviations_come_back_to_nine_digits(reference: Path, name: str, degree: int) -> None:
    data = columns(reference / "nist_strd" / f"strd_lin_{name}.csv")
    fit = fit_polynomial(data["x"], data["y"], degree).in_powers_of_x()
    assert fit.standard_uncertainties == pytest.approx(deviations(certified(reference, f"linear_{name}")), rel=1e-9)


@pytest.mark.parametrize(
    ("name", "terms"), [("Longley", ["const", "x1", "x2", "x3", "x4", "x5", "x6"]), ("Noint1", ["x"])]
)
def test_linear_fits_come_back_to_nine_digits(reference: Path, name: str, terms: list[str]) -> None:
    data = columns(reference / "nist_strd" / f"strd_lin_{name}.csv")
    expected = certified(reference, f"linear_{name}")
    fit = fit_linear(np.column_stack([data[t] for t in terms]), data["y"])
    assert fit.coefficients == pytest.approx(coefficients(expected), rel=1e-9)
    assert fit.residual_sd == pytest.approx(float(expected["residual_sd"]), rel=1e-9)
    assert fit.standard_uncertainties == pytest.approx(deviations(expected), rel=1e-9)


CURVES = {
    "Misra1a": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "MGH17": lambda b, x: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Thurber": lambda b, x: (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3),
    "Rat43": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]),
}


@pytest.mark.parametrize("name", CURVES)
def test_curves_come_back_from_the_second_start(reference: Path, name: str) -> None:
    data = columns(reference / "nist_strd" / f"strd_nl_{name}.csv")
    expected = certified(reference, f"nonlinear_{name}")
    start = [float(p["start2"]) for p in expected["parameters"]]
    fit = fit_curve(CURVES[name], start, data["x"], data["y"])
    assert fit.coefficients == pytest.approx([float(p["value"]) for p in expected["parameters"]], rel=1e-7)
    assert fit.standard_uncertainties == pytest.approx([float(p["sd"]) for p in expected["parameters"]], rel=1e-7)


def test_youngs_modulus_over_temperature_as_in_the_handbook(reference: Path) -> None:
    """Natrella, Experimental Statistics, NBS Handbook 91, section 5-4.1, read in a secondary copy."""
    table = np.loadtxt(reference / "nbs_handbook_91" / "natrella_youngs_modulus.csv", delimiter=",", skiprows=2)
    fit = fit_polynomial(table[:, 0], table[:, 1], 1).in_powers_of_x()
    assert fit.coefficients == pytest.approx([4654.9846, -0.44985482], rel=1e-7)
    assert np.diag(fit.covariance) == pytest.approx([19.879452, 2.5649045e-5], rel=1e-7)
    assert fit.residual_sd == pytest.approx(9.277617, rel=1e-6)


def test_too_few_observations_and_columns_that_depend_on_each_other_are_refused() -> None:
    with pytest.raises(ValueError, match="do not settle"):
        fit_polynomial([1.0, 2.0], [1.0, 2.0], 2)
    with pytest.raises(ValueError, match="depend on each other"):
        fit_linear(np.ones((4, 2)), np.arange(4.0))


def test_a_curve_through_every_point_has_no_uncertainty() -> None:
    x = np.linspace(0, 3, 8)
    fit = fit_curve(lambda b, t: b[0] * np.exp(-b[1] * t), [1.0, 1.0], x, 2.5 * np.exp(-0.7 * x))
    assert fit.coefficients == pytest.approx([2.5, 0.7], rel=1e-9)
    assert fit.standard_uncertainties == pytest.approx([0, 0], abs=1e-9)


def test_a_new_term_that_explains_nothing_is_not_significant() -> None:
    """The extra-sum-of-squares F-test against its definition, and by simulation at the 1 % level."""
    rng = np.random.default_rng(3)
    x = np.linspace(0, 1, 12)
    rejected = []
    for _ in range(2000):
        y = 1 + x + rng.standard_normal(12)
        rejected.append(added_terms(fit_polynomial(x, y, 1).fit, fit_polynomial(x, y, 3).fit) < 0.01)
    assert 0.005 < np.mean(rejected) < 0.017
