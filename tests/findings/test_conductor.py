"""Conductors against published tables, and what a claimed metal can explain."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import pytest

from benchproof.findings.conductor import (
    IACS,
    RESISTIVITY,
    ac_ratio,
    awg_diameter,
    bessel_ratio,
    explained,
    explained_words,
    plated_change,
    resistance_beside,
    resistance_per_length,
    skin_depth,
)
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity

if TYPE_CHECKING:
    from pathlib import Path

FOOT = 0.3048


def rows(reference: Path, name: str) -> list[dict[str, str]]:
    lines = (reference / "conductors" / name).read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def test_the_international_standard_of_annealed_copper() -> None:
    """1/58 ohm mm2/m = 0.017241 (IEC 60028, read in a secondary source)."""
    assert pytest.approx(0.017241e-6, rel=3e-5) == IACS


def test_resistivities_are_the_handbooks(reference: Path) -> None:
    table = {
        row["material"].lower(): float(row["t20C"]) * 1e-8 for row in rows(reference, "crc_resistivity_1e-8ohm_m.csv")
    }
    table["aluminium"] = table.pop("aluminum")
    assert {metal: pytest.approx(table[metal], rel=1e-9) for metal in RESISTIVITY} == dict(RESISTIVITY)


def test_handbook_wires_are_resistivity_over_area(reference: Path) -> None:
    """CRC wire tables print three digits: 0.3 % is the last of them."""
    for row in rows(reference, "crc_wire_ohm_per_m_20C.csv"):
        for metal, column in (("copper", "Cu"), ("silver", "Ag"), ("aluminium", "Al")):
            ours = float(resistance_per_length(float(row["d_mm"]) * 1e-3, RESISTIVITY[metal]))
            assert ours == pytest.approx(float(row[column]), rel=3e-3), (row["gauge"], metal)


def test_wire_gauges(reference: Path) -> None:
    """All 44 gauges: diameter to 1.1e-4 and its last digit, resistance within 0.1 % of annealed copper."""
    found = rows(reference, "awg_table.csv")
    assert len(found) == 44
    for row in found:
        number = 1 - len(row["awg"]) if row["awg"].startswith("00") or row["awg"] == "0" else int(row["awg"])
        diameter = awg_diameter(number)
        assert diameter / 0.0254 == pytest.approx(float(row["diameter_in"]), rel=1.1e-4, abs=6e-6), row["awg"]
        digit = 10.0 ** -len(row["ohm_per_1000ft_20C"].partition(".")[2])
        ours = float(resistance_per_length(diameter)) * 1000 * FOOT
        assert ours == pytest.approx(float(row["ohm_per_1000ft_20C"]), rel=1e-3, abs=digit), row["awg"]


def test_solid_conductors_of_the_standard_are_allowed_less_copper_than_their_name(reference: Path) -> None:
    """IEC 60228 class 1: the largest resistance is 0 to 8 % above annealed copper of the nominal area."""
    for row in rows(reference, "iec60228_class1_max_ohm_per_km.csv"):
        nominal = IACS / (float(row["mm2"]) * 1e-6) * 1000
        assert 1.0 <= float(row["plain_Cu"]) / nominal <= 1.08, row["mm2"]
        assert float(row["metal_coated_Cu"]) >= float(row["plain_Cu"])


def test_heat_goes_as_charge_does(reference: Path) -> None:
    """Wiedemann-Franz: silver over copper is the same ratio for heat (Beaton and Hewitt) and charge (CRC), to 2 %."""
    heat = {row["metal"]: float(row["T300K"]) for row in rows(reference, "thermal_conductivity_W_mK.csv")}
    assert heat["Ag"] / heat["Cu"] == pytest.approx(RESISTIVITY["copper"] / RESISTIVITY["silver"], rel=0.02)


@pytest.mark.parametrize(
    ("frequency", "depth", "slack"), [(60.0, 8.5e-3, 0.05e-3), (1e3, 2.1e-3, 0.05e-3), (20e3, 0.46e-3, 0.01e-3)]
)
def test_skin_depth_of_copper(frequency: float, depth: float, slack: float) -> None:
    """Common tables, as printed (read in secondary sources)."""
    assert float(skin_depth(frequency)) == pytest.approx(depth, abs=slack)


@pytest.mark.parametrize(("kilohertz", "millimetres"), [(1, 2.06), (2, 1.46), (3.5, 1.10), (24, 0.42), (48, 0.30)])
def test_skin_depth_of_pure_copper(kilohertz: float, millimetres: float) -> None:
    """Arithmetic with the handbook's resistivity."""
    depth = float(skin_depth(1e3 * kilohertz, RESISTIVITY["copper"]))
    assert depth * 1e3 == pytest.approx(millimetres, abs=0.006)


@pytest.mark.parametrize(("conductivity", "depth"), [(5.813e7, 0.660e-6), (6.173e7, 0.641e-6)])
def test_skin_depth_at_microwaves(conductivity: float, depth: float) -> None:
    """Pozar, Microwave Engineering, example 1.2 at 10 GHz: copper and silver [conductivities from memory]."""
    assert float(skin_depth(10e9, 1 / conductivity)) == pytest.approx(depth, abs=0.0006e-6)


@pytest.mark.parametrize(("x", "ratio"), [(1, 1.005), (2, 1.078), (3, 1.318), (5, 2.043), (10, 3.799)])
def test_alternating_over_direct_resistance_of_a_round_wire(x: float, ratio: float) -> None:
    """Terman, Radio Engineers' Handbook [from memory]."""
    assert float(bessel_ratio(x)) == pytest.approx(ratio, abs=6e-4)


def test_a_thick_wire_conducts_in_its_skin_alone() -> None:
    """X -> infinity: R_ac/R_dc -> x / (2 sqrt 2) + 1/4 (asymptote of the Bessel ratio); and nothing overflows."""
    assert float(bessel_ratio(4000.0)) == pytest.approx(4000 / (2 * 2**0.5) + 0.25, rel=1e-6)


@pytest.mark.parametrize(
    ("frequency", "ratio", "slack"),
    [(1e3, 2e-6, 0.5e-6), (3.5e3, 2.3e-5, 0.1e-5), (24e3, 1e-3, 1e-4), (48e3, 4e-3, 4e-4)],
)
def test_no_current_crowds_into_a_coat(frequency: float, ratio: float, slack: float) -> None:
    """A 0.4 mm strand of copper, computed with the exact ratio."""
    assert float(ac_ratio(0.4e-3, frequency, RESISTIVITY["copper"])) - 1 == pytest.approx(ratio, abs=slack)


@pytest.mark.parametrize(
    ("diameter", "plating", "percent"),
    [
        (0.2, 1, -0.11),
        (0.4, 1, -0.06),
        (0.2, 2, -0.23),
        (0.4, 2, -0.11),
        (0.2, 5, -0.56),
        (0.3, 5, -0.37),
        (0.4, 5, -0.28),
    ],
)
def test_silver_plating_of_the_same_finished_diameter(diameter: float, plating: float, percent: float) -> None:
    change = 100 * float(plated_change(diameter * 1e-3, plating * 1e-6))
    assert change == pytest.approx(percent, abs=0.006)


def test_solid_silver_is_the_bound() -> None:
    """5.4 % below pure copper, 8 % below the annealed standard (arithmetic)."""
    assert float(plated_change(0.3e-3, 1.0)) == pytest.approx(-0.054, abs=5e-4)
    assert float(plated_change(0.3e-3, 1.0, IACS)) == pytest.approx(-0.080, abs=5e-4)
    assert RESISTIVITY["silver"] / RESISTIVITY["copper"] - 1 == pytest.approx(float(plated_change(0.3e-3, 1.0)))


def about(value: float, standard: float, name: str, trials: Trials) -> Quantity:
    return Quantity.of(value, standard, Source((name,), name, NORMAL), trials)


@pytest.mark.parametrize(
    ("predicted", "measured", "verdict"),
    [
        (-0.002, -0.05, "cannot"),
        (-0.05, -0.02, "can"),
        (-0.05, -0.05, "undecided"),
        (-0.05, -0.002, "nothing_to_explain"),
    ],
)
def test_a_claim_explains_what_it_predicts_and_no_more(
    predicted: float, measured: float, verdict: str, trials: Trials
) -> None:
    judged = explained(about(predicted, 1e-3, "p", trials), about(measured, 3e-3, "m", trials), 0.95)
    assert judged.verdict == verdict
    if judged.fraction is not None:
        assert judged.fraction.value == pytest.approx(predicted / measured)


def test_a_judgement_says_how_much_is_explained(trials: Trials) -> None:
    judged = explained(about(-0.002, 1e-4, "p", trials), about(-0.05, 3e-3, "m", trials), 0.95)
    words = explained_words(judged, 0.95)
    assert words.startswith("The conductor cannot make the measured difference")
    assert "4 % of it (3 to 5 %)" in words
    nothing = explained(about(-0.002, 1e-4, "p", trials), about(0.001, 3e-3, "m", trials), 0.95)
    assert "nothing to explain" in explained_words(nothing, 0.95)


def test_a_difference_the_other_way_is_not_explained(trials: Trials) -> None:
    judged = explained(about(-0.05, 1e-3, "p", trials), about(0.05, 3e-3, "m", trials), 0.95)
    assert judged.verdict == "cannot"


def test_a_rewound_motor_does_not_differ_in_its_conductor(trials: Trials) -> None:
    """R Kv^2 stays: 0.055 ohm at 1950 rpm/V and 0.0683 ohm at 1750 rpm/V are the same copper."""
    kv, other = (about(value, 0.0, name, trials) for value, name in ((1950.0, "a"), (1750.0, "b")))
    one = about(0.055, 1e-4, "r", trials)
    two = about(0.055 * (1950 / 1750) ** 2, 1e-4, "s", trials)
    assert resistance_beside(one, kv, two, other).value == pytest.approx(0.0, abs=1e-12)
