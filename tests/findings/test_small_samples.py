"""Tests of two means, tolerance and prediction factors, against published values."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from benchproof.findings.labels import decision
from benchproof.findings.small_samples import paired, prediction_factor, tolerance_factor, welch
from benchproof.trials.conformity import conformity_probability


def rows(path: Path) -> list[dict[str, str]]:
    with path.open() as stream:
        return list(csv.DictReader(line for line in stream if not line.startswith("#")))


def test_sleep_under_two_drugs(reference: Path) -> None:
    """Student (1908): results read, data remembered."""
    data = rows(reference / "sleep" / "sleep_student1908.csv")
    one, other = ([float(row[name]) for row in data] for name in ("drug1", "drug2"))
    pairs = paired(one, other)
    assert pairs.t == pytest.approx(-4.0621, abs=5e-5)
    assert pairs.degrees_of_freedom == 9
    assert pairs.p == pytest.approx(0.002833, abs=5e-7)
    groups = welch(one, other)
    assert groups.t == pytest.approx(-1.8608, abs=5e-5)
    assert groups.degrees_of_freedom == pytest.approx(17.776, abs=5e-4)
    assert groups.p == pytest.approx(0.07939, abs=5e-6)


@pytest.mark.parametrize(("column", "content"), [("k_p90", 0.90), ("k_p95", 0.95), ("k_p99", 0.99)])
def test_two_sided_tolerance_factors(reference: Path, column: str, content: float) -> None:
    """Berthouex and Brown, Table 21.1; the exact integral lies within 0.011 of the printed factors."""
    for row in rows(reference / "tolerance" / "tolerance_k_two_sided_95conf.csv"):
        assert tolerance_factor(int(row["n"]), content, 0.95) == pytest.approx(float(row[column]), abs=0.011)


def test_one_more_piece() -> None:
    """Half-widths in s, recomputed: of the sample's own s, and of one pooled with ten degrees of freedom."""
    own = [prediction_factor(n, n - 1, 0.95) for n in (2, 3, 4)]
    assert own == pytest.approx([15.56, 4.97, 3.56], abs=0.005)
    assert prediction_factor(2, 10, 0.95) == pytest.approx(2.73, abs=0.005)
    assert prediction_factor(1, 10, 0.95) == pytest.approx(3.15, abs=0.005)


def test_a_pooled_spread_makes_two_pieces_say_more() -> None:
    assert tolerance_factor(2, 0.9, 0.95, 10) < tolerance_factor(2, 0.9, 0.95) / 5


@pytest.mark.parametrize(
    ("found", "probability", "said"),
    [
        (2035.0, 0.851, "conforms, conditionally"),
        (2047.5, 0.500, "conforms, conditionally"),
        (2060.0, 0.149, "fails, conditionally"),
        (2080.0, 0.003, "fails"),
        (1950.0, 1.000, "conforms"),
    ],
)
def test_a_label_of_1950_within_5_per_cent(found: float, probability: float, said: str) -> None:
    """Recomputed: u = 12 rpm/V, limits 1852.5 and 2047.5."""
    chance = conformity_probability(found, 12.0, 1852.5, 2047.5)
    assert chance == pytest.approx(probability, abs=5e-4)
    assert decision(chance) == said


@pytest.mark.parametrize("few", [[1.0], []])
def test_one_piece_has_no_test(few: list[float]) -> None:
    with pytest.raises(ValueError, match="needs two"):
        welch(few, [1.0, 2.0])
    with pytest.raises(ValueError, match="needs two"):
        paired(few, few)
