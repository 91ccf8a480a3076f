"""Kv from back-emf: waveforms, the line through the origin, its scatter, and what is caught."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from benchmarks.constants_coverage import back_emf_of, no_load_of, reduced, resistance_of
from benchproof.errors import InputError
from benchproof.methods.constants.lines import slope_through_origin
from benchproof.methods.constants.points import Channel
from benchproof.nomenclature import RPM, term
from benchproof.trials.engine import Trials
from methods.motors import STEADY, codes, error_free, figure, opened, value

KEY = "back_emf"
SPEEDS = np.array([1000.0, 2000.0, 3000.0, 4000.0, 5000.0]) * RPM


def typed(points: dict[str, str], **more: Any) -> dict[str, Any]:
    rows = [{"speed": speed, "voltage": volts} for speed, volts in points.items()]
    return {"test": KEY, "sample": "A", "waveform": "peak", "points": rows, **more}


def exact(values: list[float], count: int = 1000) -> Channel:
    column = np.array(values)
    return Channel(column, np.repeat(column[:, None], count, axis=1), ())


@pytest.mark.parametrize("waveform", ["peak", "rms", "rectified_mean"])
def test_every_waveform_gives_the_same_kv(waveform: str) -> None:
    truth = error_free()
    bench = opened(truth, [back_emf_of(truth, "A", "e", SPEEDS, waveform, unsteady=0.0)])
    assert value(bench, KEY, "kv_back_emf").value == pytest.approx(1 / STEADY.ke_peak, rel=1e-6)


def test_waveforms_are_those_of_a_sine() -> None:
    """Mean of a sine over the sixty degrees about its crest, and its rms: by integration."""
    crest = np.cos(np.linspace(-np.pi / 6, np.pi / 6, 100_001))
    turn = np.sin(np.linspace(0, 2 * np.pi, 100_001))
    truth = error_free()
    for waveform, shown in (("rectified_mean", crest.mean()), ("rms", np.sqrt((turn**2).mean()))):
        bench = opened(truth, [typed({"5000 rpm": f"{3 * shown:.9f} V"}, waveform=waveform)])
        assert 5000 / term("kv_back_emf").from_si(value(bench, KEY, "kv_back_emf").value) == pytest.approx(3, rel=1e-4)


def test_a_campaign_that_does_not_say_the_waveform_is_refused() -> None:
    test = typed({"5000 rpm": "2.86 V"})
    del test["waveform"]
    with pytest.raises(InputError, match="waveform"):
        opened(error_free(), [test])


def test_a_line_through_the_origin_is_nists(reference: Path) -> None:
    """NIST StRD NoInt1: slope and intercept-free fit, certified."""
    rows = list(csv.DictReader((reference / "nist_strd" / "strd_lin_Noint1.csv").read_text().splitlines()))
    x, y = ([float(row[name]) for row in rows] for name in ("x", "y"))
    known = json.loads((reference / "nist_strd" / "strd_certified.json").read_text())["linear_Noint1"]
    line = slope_through_origin(exact(x), exact(y), ("nist",), "scatter", Trials(1, 1000))
    assert line.slope.value == pytest.approx(float(known["slope"]), rel=1e-9)
    assert line.intercept_significant


def test_scatter_that_grows_with_speed_is_covered() -> None:
    """Five hundred lines of six points; their 95 % intervals hold the slope as often as a binomial region allows."""
    rng, inside = np.random.default_rng(5), 0
    engine, x = Trials(3, 1000), np.arange(1.0, 7.0)
    for k in range(500):
        y = 2.0 * x * (1 + 1e-3 * rng.standard_normal(6))
        low, high = slope_through_origin(exact(list(x)), exact(list(y)), (str(k),), "s", engine).slope.interval(0.95)
        inside += low <= 2.0 <= high
    assert stats.binom.ppf(0.0005, 500, 0.95) <= inside <= stats.binom.ppf(0.9995, 500, 0.97)


def test_a_stated_offset_is_in_the_interval_and_not_remarked_on() -> None:
    points = {f"{n} rpm": f"{n * 5.6e-4 + 0.004:.6f} V" for n in (1000, 2000, 3000, 4000, 5000)}
    silent = error_free(voltage=[{"offset": "5 mV"}])
    assert codes(opened(silent, [typed(points)]), KEY) == []
    quantity = value(opened(silent, [typed(points)]), KEY, "kv_back_emf")
    low, high = quantity.interval(0.95)
    assert low < RPM / 5.6e-4 < high


def test_an_offset_that_is_not_stated_is_named() -> None:
    points = {f"{n} rpm": f"{n * 5.6e-4 + 0.05:.6f} V" for n in (1000, 2000, 3000, 4000, 5000)}
    assert codes(opened(error_free(voltage=[{"offset": "5 mV"}]), [typed(points)]), KEY) == ["intercept"]


def test_two_points_count_with_the_stated_errors_alone() -> None:
    truth = error_free(voltage=[{"repeatability": "3 mV"}])
    bench = opened(truth, [typed({"5000 rpm": "2.86 V", "6000 rpm": "3.432 V"})])
    expected = 3e-3 * math.hypot(5000, 6000) / (5000**2 + 6000**2) / (2.86 / 5000)
    quantity = value(bench, KEY, "kv_back_emf")
    assert quantity.standard_uncertainty / quantity.value == pytest.approx(expected, rel=1e-2)
    assert codes(bench, KEY) == ["few_points"]


def test_three_points_count_with_their_scatter_and_not_twice() -> None:
    points = {"2000 rpm": "1.001 V", "4000 rpm": "2.000 V", "6000 rpm": "2.999 V"}
    with_stated = opened(error_free(voltage=[{"repeatability": "50 mV"}]), [typed(points)])
    without = opened(error_free(), [typed(points)])
    found = [value(bench, KEY, "kv_back_emf").standard_uncertainty for bench in (with_stated, without)]
    assert found[0] == pytest.approx(found[1])
    assert found[0] > 0


def test_values_with_their_own_uncertainty_do_not_average_it_away() -> None:
    rows = [
        {"speed": f"{n} rpm", "voltage": {"value": f"{n * 5e-4} V", "standard": "0.5 %"}}
        for n in (1000, 2000, 3000, 4000)
    ]
    quantity = value(opened(error_free(), [typed({}) | {"points": rows}]), KEY, "kv_back_emf")
    assert quantity.standard_uncertainty / quantity.value == pytest.approx(0.005, rel=1e-2)


def test_torque_constant_from_back_emf_alone_is_flagged() -> None:
    truth = error_free()
    tests = [back_emf_of(truth, "A", "e", SPEEDS, unsteady=0.0), resistance_of(truth, "A", "r")]
    bench = opened(truth, tests)
    kt = figure(bench, KEY, "kt")
    assert kt.flags == ("from_back_emf",)
    assert kt.quantity is not None
    assert kt.quantity.value == pytest.approx(3 / np.pi * STEADY.ke_peak, rel=1e-6)
    km = value(bench, KEY, "km").value
    assert km == pytest.approx(3 / np.pi * STEADY.ke_peak / STEADY.resistance**0.5, rel=1e-5)


def test_a_run_without_load_takes_the_torque_constant_over() -> None:
    truth = error_free()
    tests = [back_emf_of(truth, "A", "e", SPEEDS), no_load_of(truth, "A", "n", np.linspace(5, 15, 6))]
    assert {f.name for f in reduced(opened(truth, tests), KEY).figures} == {"kv_back_emf"}


def test_what_was_not_measured_is_not_made_of_back_emf() -> None:
    truth = error_free()
    bench = opened(truth, [back_emf_of(truth, "A", "e", SPEEDS)])
    assert {f.name for f in reduced(bench, KEY).figures} == {"kv_back_emf", "kt"}


def test_charts_show_every_point_and_the_table_its_definition() -> None:
    truth = error_free()
    found = reduced(opened(truth, [back_emf_of(truth, "A", "e", SPEEDS)]), KEY)
    points = [one for chart in found.charts for one in chart.series if one.role == "points"]
    assert [len(one.x) for one in points] == [5, 5]
    assert "driven from outside" in found.tables[0].caption
