"""Quantities people write: a closed list of spellings, and clear words for everything else."""

from __future__ import annotations

import pytest

from benchproof.campaign.spellings import SPELLINGS
from benchproof.campaign.units import UnitError, dimensions, example, read_measured, scale_of, spellings


@pytest.mark.parametrize("dimension", dimensions())
def test_every_spelling_is_known_and_every_example_reads(dimension) -> None:
    for unit in spellings(dimension):
        assert scale_of(unit, dimension).factor > 0
    assert read_measured(example(dimension), dimension).unit in SPELLINGS[dimension][1]


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("32.41 g", "mass", 0.03241),
        ("22.5 degC", "temperature", 295.65),
        ("1750 rpm/V", "kv", 1750 * 3.141592653589793 / 30),
        ("812 gf", "force", 812 * 9.80665e-3),
        ("20 ppm", "ratio", 20e-6),
        ("55.1 mohm", "resistance", 0.0551),
        ("2.43e-4 kg*m**2", "inertia", 2.43e-4),
        ("1013.25 hPa", "pressure", 101325.0),
    ],
)
def test_the_contracts_quantities_read_right(text: str, dimension, si: float) -> None:
    assert read_measured(text, dimension).si == pytest.approx(si, rel=1e-12)


def test_a_half_width_in_degrees_is_a_difference() -> None:
    assert read_measured("0.5 degC", "temperature", difference=True).si == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("text", "dimension"),
    [
        (32.41, "mass"),
        ("32.41", "mass"),
        ("32,41 g", "mass"),
        ("nan V", "voltage"),
        ("inf V", "voltage"),
        ("1 Nm", "torque"),
        ("22 C", "temperature"),
        ("50 %RH", "humidity"),
        ("33 gr", "mass"),
        ("5 mOhm", "resistance"),
        ("1e999 V", "voltage"),
        ("-300 degC", "temperature"),
        ("", "mass"),
        (None, "mass"),
        (["1 g"], "mass"),
    ],
)
def test_what_bends_a_meaning_is_refused_with_a_right_spelling(text, dimension) -> None:
    with pytest.raises(UnitError) as caught:
        read_measured(text, dimension)
    assert caught.value.found
    assert caught.value.expected
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("text", "dimension", "right"),
    [("1 Nm", "torque", "N*m"), ("5 mOhm", "resistance", "mohm"), ("22 C", "temperature", "degC")],
)
def test_the_nearest_spelling_is_named(text: str, dimension, right: str) -> None:
    with pytest.raises(UnitError) as caught:
        read_measured(text, dimension)
    assert right in caught.value.remedy
