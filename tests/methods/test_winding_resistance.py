"""Winding resistance: copper's rule, leads, pairs, connection, and what is caught."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from benchmarks.constants_coverage import reduced, resistance_of
from benchproof.errors import InputError
from benchproof.methods.constants.copper import ZERO_CELSIUS, resistance_ratio
from methods.motors import codes, error_free, opened, value
from simulator.demo_words import RIG

KEY = "winding_resistance"
METER = [{"scale": "0.2 %"}, {"offset": "0.02 mohm"}, {"repeatability": "0.02 mohm"}]


def pairs(ab: str, bc: str, ca: str, **more: Any) -> dict[str, Any]:
    return {
        "test": KEY,
        "sample": "A",
        "pairs": {"ab": ab, "bc": bc, "ca": ca},
        "winding_temperature": "20 degC",
        **more,
    }


def test_the_hot_resistance_of_the_textbook_comes_back_to_20_degrees(reference: Path) -> None:
    """Kulshreshtha, example 2.18, by program output of a textbook companion."""
    known = json.loads((reference / "machines" / "machines.json").read_text())["hot_resistance"]
    hot = f"{known['hot_ohm']} ohm"
    warm = f"{known['cold_degC'] + known['rise_K']:.4f} degC"
    bench = opened(error_free(), [pairs(hot, hot, hot, winding_temperature=warm)])
    assert value(bench, KEY, "winding_resistance_20c").value == pytest.approx(known["cold_ohm"], abs=2e-4)


def test_the_rule_stays_near_the_tabulated_factors(reference: Path) -> None:
    """IEC 60228:2004, read in a secondary copy; its factors follow 250 / (230 + t)."""
    table = np.loadtxt(reference / "iec60228" / "iec60228_temp_factor.csv", delimiter=",", skiprows=2)
    ours = 1 / resistance_ratio(table[:, 0] + ZERO_CELSIUS)
    np.testing.assert_allclose(ours, table[:, 1], rtol=5e-3)
    np.testing.assert_allclose(250 / (230 + table[:, 0]), table[:, 1], atol=6e-4)
    assert ours[table[:, 0] == 20] == pytest.approx(1.0, abs=1e-12)


def test_from_20_to_80_degrees_copper_gains_23_6_percent() -> None:
    """Computed with 234.5."""
    assert resistance_ratio(80 + ZERO_CELSIUS) == pytest.approx(1.23576, abs=5e-6)


def test_the_uncertainty_is_the_meters_and_the_thermometers() -> None:
    truth = error_free(resistance=METER, temperature=[{"offset": "0.5 degC"}])
    quantity = value(opened(truth, [pairs("55.1 mohm", "54.8 mohm", "55.0 mohm")]), KEY, "winding_resistance_20c")
    mean = (55.1 + 54.8 + 55.0) / 3
    meter = np.hypot(0.002 * mean, 0.02) / 3**0.5
    expected = np.sqrt(meter**2 + 0.02**2 / 3 + (mean / 254.5 * 0.5) ** 2 / 3)
    assert quantity.value * 1e3 == pytest.approx(mean)
    assert quantity.standard_uncertainty * 1e3 == pytest.approx(expected, rel=5e-3)


def test_pairs_that_differ_are_no_scatter_of_the_mean() -> None:
    truth = error_free(resistance=METER)
    alike = value(opened(truth, [pairs("55 mohm", "55 mohm", "55 mohm")]), KEY, "winding_resistance_20c")
    apart = value(opened(truth, [pairs("54.6 mohm", "55 mohm", "55.4 mohm")]), KEY, "winding_resistance_20c")
    assert apart.standard_uncertainty == pytest.approx(alike.standard_uncertainty, rel=1e-2)


def test_leads_are_subtracted_and_the_meters_offset_goes_with_them() -> None:
    truth = error_free(resistance=[{"offset": "1 mohm"}])
    own = [pairs("56.5 mohm", "56.5 mohm", "56.5 mohm", leads="1.5 mohm")]
    quantity = value(opened(truth, own), KEY, "winding_resistance_20c")
    assert quantity.value == pytest.approx(0.055)
    assert quantity.standard_uncertainty == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("leads", [None, "0 mohm"])
def test_a_four_wire_reading_keeps_the_meters_offset(leads: str | None) -> None:
    truth = error_free(resistance=[{"offset": "1 mohm"}])
    more = {"leads": leads} if leads else {}
    quantity = value(opened(truth, [pairs("55 mohm", "55 mohm", "55 mohm", **more)]), KEY, "winding_resistance_20c")
    assert quantity.value == pytest.approx(0.055)
    assert quantity.standard_uncertainty == pytest.approx(1e-3 / 3**0.5, rel=1e-3)


def test_leads_with_an_uncertainty_of_their_own_bring_it() -> None:
    leads = {"value": "1.5 mohm", "standard": "0.1 mohm"}
    bench = opened(error_free(), [pairs("56.5 mohm", "56.5 mohm", "56.5 mohm", leads=leads)])
    quantity = value(bench, KEY, "winding_resistance_20c")
    assert quantity.value == pytest.approx(0.055)
    assert quantity.standard_uncertainty == pytest.approx(1e-4, rel=1e-3)


def test_pairs_more_than_two_percent_apart_are_named() -> None:
    assert codes(opened(error_free(), [pairs("55 mohm", "55.5 mohm", "56 mohm")]), KEY) == []
    assert "pairs_unequal" in codes(opened(error_free(), [pairs("55 mohm", "55.5 mohm", "56.3 mohm")]), KEY)


@pytest.mark.parametrize(("connection", "phase"), [("wye", "30.0000"), ("delta", "90.0000")])
def test_one_phase_is_half_in_wye_and_half_more_in_delta(connection: str, phase: str) -> None:
    specimen = {
        "maker": "Invented", "model": "M", "source": "bought", "samples": [{"id": "A"}], "connection": connection
    }  # fmt: skip
    bench = opened(error_free(), [pairs("60 mohm", "60 mohm", "60 mohm")], specimen=specimen)
    (table,) = reduced(bench, KEY).tables
    assert table.rows[0][-1] == phase
    assert connection in table.caption


def test_repeats_are_averaged_and_contradictions_named() -> None:
    truth = error_free(resistance=METER)
    first = pairs("55 mohm", "55 mohm", "55 mohm")
    close, far = (pairs(*[text] * 3) for text in ("55.02 mohm", "56 mohm"))
    assert value(opened(truth, [first, close]), KEY, "winding_resistance_20c").value == pytest.approx(0.05501)
    assert "repeats_disagree" not in codes(opened(truth, [first, close]), KEY)
    assert "repeats_disagree" in codes(opened(truth, [first, far]), KEY)


def test_a_rig_without_a_meter_is_an_error_that_names_it() -> None:
    plain = yaml.safe_load(RIG)
    del plain["instruments"]["milliohmmeter"]
    with pytest.raises(InputError, match="measures resistance"):
        reduced(opened(error_free(plain), [pairs("55 mohm", "55 mohm", "55 mohm")]), KEY)


def test_an_error_free_bench_gives_the_truth() -> None:
    truth = error_free()
    test = resistance_of(truth, "A", "r", temperature=27.0, leads=2e-3)
    found = value(opened(truth, [test]), KEY, "winding_resistance_20c").value
    assert found == pytest.approx(truth.motor("A").resistance, rel=1e-6)
