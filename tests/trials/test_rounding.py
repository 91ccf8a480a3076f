"""Figures as they are printed: two significant digits of the uncertainty, the value to the same place."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.trials.rounding import interval_text, rounded


@pytest.mark.parametrize(
    ("value", "expanded", "printed"),
    [
        pytest.param(9.8412, 0.1378, ("9.84", "0.14"), id="plain"),
        pytest.param(1.2345, 0.0996, ("1.23", "0.10"), id="uncertainty-rounds-up-a-decade"),
        pytest.param(12.3456, 0.99996, ("12.3", "1.0"), id="up-to-one"),
        pytest.param(-0.001, 0.14, ("0.00", "0.14"), id="no-minus-nought"),
        pytest.param(1.0, 25.0, ("1", "25"), id="uncertainty-above-the-value"),
        pytest.param(56_789.0, 1234.0, ("56800", "1200"), id="zeros-that-hold-the-place"),
        pytest.param(50_000_838.0, 93.0, ("50000838", "93"), id="end-gauge-in-nanometres"),
        pytest.param(123_456_789.0, 12_345.0, ("1.23457e8", "0.00012e8"), id="one-power-for-both"),
        pytest.param(2.43e-4, 1e-6, ("0.0002430", "0.0000010"), id="small-but-plain"),
        pytest.param(1.23456e-9, 1.2e-12, ("1.2346e-9", "0.0012e-9"), id="small"),
        pytest.param(5.5, 0.0, ("5.50000", "0"), id="exact"),
        pytest.param(0.0, 0.0, ("0", "0"), id="nought"),
    ],
)
def test_the_uncertainty_decides_the_place_of_the_value(
    value: float, expanded: float, printed: tuple[str, str]
) -> None:
    """JCGM 100:2008, 7.2.6 [clause from memory]."""
    assert rounded(value, expanded) == printed


@pytest.mark.parametrize(
    ("value", "low", "high", "printed"),
    [
        (3.0, 2.86, 3.14, ("3.00", "2.86", "3.14")),
        (0.02, 0.0199, 0.5, ("0.02", "0.02", "0.50")),
        (3.0, 3.0, 3.0, ("3.00000", "3.00000", "3.00000")),
        (-5.123, -5.4, -4.9, ("-5.12", "-5.40", "-4.90")),
    ],
)
def test_half_the_width_of_an_interval_decides_its_place(
    value: float, low: float, high: float, printed: tuple[str, str, str]
) -> None:
    assert interval_text(value, low, high) == printed


@pytest.mark.parametrize(("value", "expanded"), [(math.nan, 1.0), (1.0, math.inf), (1.0, -1.0)])
def test_what_is_no_number_is_not_printed(value: float, expanded: float) -> None:
    with pytest.raises(ValueError, match="cannot be rounded"):
        rounded(value, expanded)


FINITE = st.floats(allow_nan=False, allow_infinity=False, min_value=-1e200, max_value=1e200)


@given(value=FINITE, expanded=st.floats(min_value=1e-200, max_value=1e200))
def test_printing_moves_no_figure_by_more_than_half_its_last_digit(value: float, expanded: float) -> None:
    text, spread = rounded(value, expanded)
    assert abs(float(spread) / expanded - 1) <= 0.0501
    assert abs(float(text) - value) <= 0.051 * expanded + abs(value) * 1e-15


@given(value=FINITE, expanded=st.floats(min_value=1e-200, max_value=1e200))
def test_value_and_uncertainty_have_the_same_places(value: float, expanded: float) -> None:
    texts = rounded(value, expanded)
    places = {len(text.partition("e")[0].partition(".")[2]) for text in texts}
    powers = {text.partition("e")[2] for text in texts}
    assert len(places) == len(powers) == 1
