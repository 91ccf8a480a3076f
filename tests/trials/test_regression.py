"""Fits against the NIST Statistical Reference Datasets (values in tests/reference/nist_strd)."""

from __future__ import annotations

import csv
import json
from typing import TYPE_CHECKING

import numpy as np
import pytest

from benchproof.trials.regression import fit_curve, fit_linear, fit_polynomial

if TYPE_CHECKING:
    from pathlib import Path


def columns(path: Path) -> dict[str, np.ndarray]:
    rows = list(csv.DictReader(path.read_text().splitlines()))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def certified(reference: Path, name: str) -> dict:
    return json.loads((reference / "nist_strd" / "strd_certified.json").read_text())[name]


def coefficients(expected: dict) -> list[float]:
    """Certified coefficients; the copies of the data sets lay them out in three ways."""
    if "coef" in expected:
        return [float(value) for value in expected["coef"]]
    if "table" in expected:
        return [float(expected["slope"])] if "slope" in expected else [float(r[0]) for r in expected["table"][1:]]
    return [float(expected["B0"]), float(expected["B1"])]


@pytest.mark.parametrize(("name", "degree"), [("Norris", 1), ("Pontius", 2), ("Wampler1", 5)])
def test_polynomials_come_back_to_nine_digits(reference: Path, name: str, degree: int) -> None:
    data = columns(reference / "nist_strd" / f"strd_lin_{name}.csv")
    fit = fit_polynomial(data["x"], data["y"], degree)
    wanted = coefficients(certified(reference, f"linear_{name}"))
    assert fit.in_powers_of_x().coefficients == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "terms"), [("Longley", ["const", "x1", "x2", "x3", "x4", "x5", "x6"]), ("Noint1", ["x"])]
)
def test_linear_fits_come_back_to_nine_digits(reference: Path, name: str, terms: list[str]) -> None:
    data = columns(reference / "nist_strd" / f"strd_lin_{name}.csv")
    expected = certified(reference, f"linear_{name}")
    fit = fit_linear(np.column_stack([data[t] for t in terms]), data["y"])
    assert fit.coefficients == pytest.approx(coefficients(expected), rel=1e-9)
    assert fit.residual_sd == pytest.approx(float(expected["residual_sd"]), rel=1e-9)


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
    deviations = [float(p["sd"]) for p in expected["parameters"]]
    assert fit.standard_uncertainties == pytest.approx(deviations, rel=1e-4)
