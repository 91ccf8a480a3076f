"""The engine against worked examples of the GUM and its supplements.

Values are from the tables in tests/reference/jcgm100 and, where nothing else is said, from secondary copies of the documents.
"""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import GTC
import numpy as np
import pytest
from scipy import stats

from benchproof.trials.conformity import conformity_probability
from benchproof.trials.distributions import NORMAL, RECTANGULAR, Shape, student
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity, combine, correlation, joint_parts

if TYPE_CHECKING:
    from pathlib import Path


def source(name: str, shape: Shape) -> Source:
    return Source((name,), name, shape)


def table(path: Path) -> list[dict[str, str]]:
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


@pytest.mark.parametrize(("shape", "half_width"), [(NORMAL, 3.92), (RECTANGULAR, 3.88)])
def test_the_sum_of_four_equal_inputs_has_the_published_interval(shape: Shape, half_width: float) -> None:
    """JCGM 101:2008, 9.2.2 and 9.2.3."""
    trials = Trials(1, 100_000)
    inputs = [Quantity.of(0.0, 1.0, source(f"x{k}", shape), trials) for k in range(4)]
    total = combine(lambda *x: np.sum(x, axis=0), *inputs)
    low, high = total.interval(0.95)
    assert total.standard_uncertainty == pytest.approx(2.0, abs=0.01)
    assert low == pytest.approx(-half_width, abs=0.05)
    assert high == pytest.approx(half_width, abs=0.05)


def test_one_dominant_rectangular_input_gives_a_narrower_interval_than_the_gum() -> None:
    """JCGM 101:2008, 9.2.4 [from memory]: first order gives 19.9, trials give 17.0."""
    trials = Trials(1, 1_000_000)
    shapes = [(RECTANGULAR, 10.0), *[(RECTANGULAR, 1.0)] * 3]
    inputs = [Quantity.of(0.0, u, source(f"x{k}", s), trials) for k, (s, u) in enumerate(shapes)]
    total = combine(lambda *x: np.sum(x, axis=0), *inputs)
    low, high = total.interval(0.95)
    assert high == pytest.approx(17.0, abs=0.05)
    assert low == pytest.approx(-17.0, abs=0.05)
    assert 1.96 * total.standard_uncertainty == pytest.approx(19.9, abs=0.05)


def test_mass_calibration_comes_out_as_published() -> None:
    """JCGM 101:2008, 9.3: inputs read in a secondary copy, results [from memory]."""
    trials = Trials(1, 200_000)
    reference = Quantity.of(100_000.0, 0.05, source("m_R", NORMAL), trials)
    added = Quantity.of(1.234, 0.02, source("dm_R", NORMAL), trials)
    air = Quantity.of(1.2, 0.1 / 3**0.5, source("air", RECTANGULAR), trials)
    weight = Quantity.of(8000.0, 1000 / 3**0.5, source("rho_W", RECTANGULAR), trials)
    standard = Quantity.of(8000.0, 50 / 3**0.5, source("rho_R", RECTANGULAR), trials)
    deviation = combine(
        lambda m, d, a, w, r: (m + d) * (1 + (a - 1.2) * (1 / w - 1 / r)) - 100_000.0,
        reference,
        added,
        air,
        weight,
        standard,
    )
    low, high = deviation.interval(0.95)
    assert float(deviation.trials.mean()) == pytest.approx(1.2341, abs=0.003)
    assert deviation.standard_uncertainty == pytest.approx(0.0754, abs=0.003)
    assert (low, high) == pytest.approx((1.0834, 1.3825), abs=0.003)


@pytest.mark.parametrize(
    ("x1", "low", "high"), [(0.0, 0.0, 149.8e-6), (0.010, 0.0, 366.0e-6), (0.050, 1593.6e-6, 3548.6e-6)]
)
def test_comparison_loss_agrees_with_the_exact_distribution(x1: float, low: float, high: float) -> None:
    """Model of JCGM 101:2008, 9.4; values recomputed from the noncentral chi-square distribution."""
    trials = Trials(3, 200_000)
    parts = [Quantity.of(value, 0.005, source(f"x{k}", NORMAL), trials) for k, value in enumerate((x1, 0.0))]
    loss = combine(lambda a, b: a**2 + b**2, *parts)
    assert shortest(loss.trials, 0.95) == pytest.approx((low, high), rel=0.01, abs=1e-9 + 0.01 * low + 2e-8)
    scaled = [stats.ncx2.ppf(p, 2, (x1 / 0.005) ** 2) * 0.005**2 for p in (0.025, 0.975)]
    assert loss.interval(0.95) == pytest.approx(scaled, rel=0.01)


def shortest(trials: np.ndarray, coverage: float) -> tuple[float, float]:
    """The published intervals are the shortest ones (JCGM 101, 5.3.4 [clause from memory]); ours are symmetric."""
    ordered = np.sort(trials)
    inside = int(coverage * ordered.size)
    first = int(np.argmin(ordered[inside:] - ordered[: ordered.size - inside]))
    return float(ordered[first]), float(ordered[first + inside])


def end_gauge(trials: Trials, reference: Path) -> Quantity:
    rows = {row["quantity"]: row for row in table(reference / "jcgm100" / "gum_h1_inputs.csv")}

    def one(name: str) -> Quantity:
        row = rows[name]
        shape = NORMAL if row["dof"] == "inf" else student(float(row["dof"]))
        return Quantity.of(float(row["value"]), float(row["u"]), source(name, shape), trials)

    names = ("lS", "d0", "d1", "d2", "alphaS", "theta_bar", "Delta", "d_alpha", "d_theta")
    return combine(
        lambda ls, d0, d1, d2, a, tb, delta, da, dt: ls + d0 + d1 + d2 - ls * (da * (tb + delta) + a * dt),
        *(one(name) for name in names),
    )


def test_the_end_gauge_has_the_published_length_and_uncertainty(reference: Path) -> None:
    """JCGM 100:2008, H.1: 50 000 838 nm, 31.71 nm to first order and 34 nm with second-order terms, 16.7 degrees."""
    length = end_gauge(Trials(5, 200_000), reference)
    assert length.value == pytest.approx(50_000_838, abs=0.5)
    first_order = np.sqrt(sum(s.standard_uncertainty**2 for s in length.budget() if s.identity))
    assert first_order == pytest.approx(31.71, abs=0.15)
    assert length.standard_uncertainty == pytest.approx(34, abs=0.6)
    known = {s.identity[0]: s.standard_uncertainty for s in length.budget() if s.identity}
    slack = sum(
        (known[n] / first_order) ** 4 / df for n, df in (("lS", 18), ("d0", 24), ("d1", 5), ("d2", 8), ("d_theta", 2))
    )
    degrees = 1 / slack
    assert degrees == pytest.approx(16.7, abs=0.4)
    assert stats.t.ppf(0.995, 16) == pytest.approx(2.92, abs=0.005)
    assert 2.92 * first_order == pytest.approx(93, abs=0.6)


def readings(reference: Path) -> np.ndarray:
    rows = table(reference / "jcgm100" / "gum_h2.csv")
    return np.array([[float(r["V_V"]), float(r["I_mA"]) * 1e-3, float(r["phi_rad"])] for r in rows])


def test_simultaneous_readings_give_the_published_impedance(reference: Path) -> None:
    """JCGM 100:2008, H.2, with normal draws; correlations of the results [from memory]."""
    data = readings(reference)
    covariance = np.cov(data.T) / len(data)
    trials = Trials(7, 200_000)
    parts = joint_parts(trials, ("readings",), "readings", 3, None)
    errors = np.linalg.cholesky(covariance) @ np.stack([part.draws for part in parts])
    inputs = [Quantity(float(m), m + errors[k], parts) for k, m in enumerate(data.mean(axis=0))]
    for function, value, u in (
        (lambda v, i, p: v / i * np.cos(p), 127.732, 0.071),
        (lambda v, i, p: v / i * np.sin(p), 219.847, 0.295),
        (lambda v, i, _: v / i, 254.260, 0.236),
    ):
        result = combine(function, *inputs)
        assert result.value == pytest.approx(value, abs=0.0015)
        assert result.standard_uncertainty == pytest.approx(u, abs=0.0006)
    resistance = combine(lambda v, i, p: v / i * np.cos(p), *inputs)
    reactance = combine(lambda v, i, p: v / i * np.sin(p), *inputs)
    assert correlation(resistance, reactance) == pytest.approx(-0.588, abs=0.005)


def test_simultaneous_readings_agree_with_a_reference_library(reference: Path) -> None:
    """First order by the library GTC, an independent implementation of the GUM."""
    data = readings(reference)
    trials = Trials(7, 200_000)
    parts = joint_parts(trials, ("readings",), "readings", 3, None)
    errors = np.linalg.cholesky(np.cov(data.T) / len(data)) @ np.stack([p.draws for p in parts])
    inputs = [Quantity(float(m), m + errors[k], parts) for k, m in enumerate(data.mean(axis=0))]
    ours = combine(lambda v, i, p: v / i * np.cos(p), *inputs)
    v, i, p = GTC.ta.multi_estimate_real(data.T.tolist())
    theirs = v / i * GTC.cos(p)
    assert ours.value == pytest.approx(GTC.value(theirs), rel=1e-9)
    assert ours.standard_uncertainty == pytest.approx(GTC.uncertainty(theirs), rel=2e-3)


def test_students_quantiles_are_those_of_the_gum(reference: Path) -> None:
    """JCGM 100:2008, table G.2; its slip at 35 degrees and 90 % is named in the note beside the table."""
    for row in table(reference / "jcgm100" / "gum_table_g2_student_t.csv"):
        nu = float(row["nu"])
        for column, printed in row.items():
            if column == "nu" or (nu == 35 and column == "p90"):
                continue
            exact = stats.t.ppf(0.5 + float(column[1:]) / 200, nu)
            limit = max(0.0005 if nu >= 100 else 0.005, 0.05 if float(printed) > 100 else 0)
            assert exact == pytest.approx(float(printed), abs=limit + 1e-9), (nu, column)


def test_welch_and_satterthwaite_as_in_the_guide(trials: Trials) -> None:
    """JCGM 100:2008, G.4.1 [from memory]: 0.25 % (9), 0.57 % (4), 0.82 % (14) give 1.03 % with 19 degrees."""
    inputs = [(0.25, 9), (0.57, 4), (0.82, 14)]
    parts = [Quantity.of(0.0, u, source(f"x{k}", student(nu)), trials) for k, (u, nu) in enumerate(inputs)]
    total = combine(lambda *x: np.sum(x, axis=0), *parts)
    assert total.standard_uncertainty == pytest.approx(1.03, abs=0.005)
    assert total.degrees_of_freedom == pytest.approx(19.0, abs=0.05)


def test_conformity_probability_as_in_jcgm_106() -> None:
    """JCGM 106:2012, 7.4: 0.663."""
    assert conformity_probability(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.663, abs=0.0005)
