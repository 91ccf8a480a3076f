"""Runs without load: both Kv, torque and motor constant, drag, and what is caught."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from benchmarks.constants_coverage import (
    back_emf_of,
    figures_of,
    figures_of_bench,
    no_load_of,
    reduced,
    resistance_of,
    weighing_of,
)
from benchproof.methods.constants.lines import Curve
from benchproof.methods.constants.points import Channel
from benchproof.nomenclature import RPM, term
from benchproof.trials.engine import Trials
from methods.motors import codes, error_free, figure, opened, value
from simulator.campaigns import Bench as Truth
from simulator.demo import DRIVE
from simulator.truth import true_constant

KEY = "no_load"
VOLTS = np.linspace(4.0, 16.0, 8)
SPEEDS = np.linspace(1000, 6000, 6) * RPM


def weighed(truth: Truth, sample: str) -> dict[str, Any]:
    """One reading of a balance without error."""
    test = weighing_of(truth, sample)
    return test | {"readings": test["readings"][:1]}


def run(truth: Truth, sample: str = "A", volts: np.ndarray = VOLTS, **more: Any) -> list[dict[str, Any]]:
    """All tests of one sample, without scatter unless asked for."""
    quiet = {"unsteady_speed": 0.0, "unsteady_current": 0.0} | more
    return [
        weighed(truth, sample),
        resistance_of(truth, sample, "r"),
        back_emf_of(truth, sample, "e", SPEEDS, unsteady=0.0),
        no_load_of(truth, sample, "n", volts, 40.0, **quiet),
    ]


def test_the_textbooks_motor_comes_back(reference: Path) -> None:
    """Fitzgerald, example 7.9, by program output of a textbook companion: one point without load, then a loaded one."""
    known = json.loads((reference / "machines" / "machines.json").read_text())["pm_motor"]
    ohm, free, loaded = f"{known['resistance_ohm']} ohm", known["no_load"], known["loaded"]
    point = {
        "voltage": f"{free['voltage_V']} V",
        "current": f"{free['current_A']} A",
        "speed": f"{free['speed_rpm']} rpm",
    }
    tests = [
        {"test": "winding_resistance", "sample": "A", "pairs": {"ab": ohm, "bc": ohm, "ca": ohm},
         "winding_temperature": "20 degC"},
        {"test": KEY, "sample": "A", "winding_temperature": "20 degC", "points": [point]},
    ]  # fmt: skip
    bench = opened(error_free(), tests, {"speed": ["2100 rpm"]}, drive=None)
    kt = value(bench, KEY, "kt").value
    assert round(kt, 2) == known["constant_V_s"]
    drag = value(bench, KEY, "drag_torque", speed="2100 rpm").value
    loss = drag * free["speed_rpm"] * RPM
    assert loss == pytest.approx(known["rotational_loss_W"], abs=0.5)
    emf = kt * loaded["speed_rpm"] * RPM
    current = (loaded["voltage_V"] - emf) / known["resistance_ohm"]
    assert emf * current - loss == pytest.approx(known["output_W"], rel=2e-4)


def test_kt_times_kv_is_sixty_over_two_pi(reference: Path) -> None:
    known = json.loads((reference / "machines" / "machines.json").read_text())["kt_times_kv"]
    truth = error_free()
    bench = opened(truth, run(truth))
    kv = term("kv_no_load").from_si(value(bench, KEY, "kv_no_load").value)
    assert kv * value(bench, KEY, "kt").value == pytest.approx(known, abs=5e-5)


def test_every_figure_of_an_error_free_bench_is_the_truth() -> None:
    truth = error_free()
    found = [f for f in figures_of(opened(truth, run(truth))) if f.sample == "A"]
    assert {f.name for f in found} >= {"kv_no_load", "kt", "km", "km_per_mass", "no_load_current", "drag_torque"}
    for each in found:
        assert each.quantity is not None
        true = true_constant(truth, each.name, each.at, "A", 40.0, VOLTS.tolist())
        assert each.quantity.value == pytest.approx(true, rel=1e-5), each.name


def test_both_kv_differ_by_the_timing_alone() -> None:
    truth = error_free()
    bench = opened(truth, run(truth))
    ratio = value(bench, KEY, "kv_no_load").value / value(bench, "back_emf", "kv_back_emf").value
    assert ratio == pytest.approx(np.pi / 3 / np.cos(DRIVE.timing), rel=1e-5)


def test_leaving_the_resistive_drop_out_would_lower_kv() -> None:
    """By half a per cent: what the definition is about."""
    truth = error_free()
    tests = run(truth)
    cold = opened(truth, tests)
    tests[1]["pairs"] = dict.fromkeys(("ab", "bc", "ca"), "0.0001 mohm")
    without = opened(truth, tests, drive=None)
    assert 0.993 < value(without, KEY, "kv_no_load").value / value(cold, KEY, "kv_no_load").value < 0.997


def test_nothing_is_read_beyond_the_outermost_points() -> None:
    truth = error_free()
    points = {"voltage": ["3 V", "10 V", "20 V"], "speed": ["2000 rpm", "20000 rpm", "60000 rpm"]}
    bench = opened(truth, run(truth), points)
    for name, axis, places in (
        ("no_load_current", "voltage", points["voltage"]),
        ("drag_torque", "speed", points["speed"]),
    ):
        found = [figure(bench, KEY, name, **{axis: place}) for place in places]
        assert [each.quantity is not None for each in found] == [False, True, False]
        assert found[0].flags == found[2].flags == ("not_reached",)


def test_without_resistance_kv_is_withheld_with_what_to_add() -> None:
    truth = error_free()
    tests = [test for test in run(truth) if test["test"] != "winding_resistance"]
    found = reduced(opened(truth, tests), KEY)
    by_name = {f.name: f for f in found.figures if f.at in ({}, {"voltage": "10 V"}, {"speed": "20000 rpm"})}
    for name in ("kv_no_load", "kt", "km", "km_per_mass", "drag_torque"):
        assert by_name[name].quantity is None
        assert "withheld:no_resistance" in by_name[name].flags
    assert by_name["no_load_current"].quantity is not None
    assert "add a winding_resistance test" in next(r.message for r in found.remarks if r.code == "no_resistance")


def test_without_a_weighing_the_motor_constant_per_mass_is_withheld() -> None:
    truth = error_free()
    bench = opened(truth, run(truth)[1:])
    assert figure(bench, KEY, "km_per_mass").flags[-1] == "withheld:no_mass"
    assert figure(bench, KEY, "km").quantity is not None


def test_a_timing_that_is_not_stated_is_named_and_stands_beside_kv() -> None:
    truth = error_free()
    unstated = opened(truth, run(truth), drive=None)
    assert "timing_not_stated" in codes(unstated, KEY)
    assert "timing_not_stated" in figure(unstated, KEY, "kv_no_load").flags
    stated = opened(truth, run(truth))
    assert "timing_not_stated" not in codes(stated, KEY)
    cells = [{row[0]: row[-1] for row in reduced(bench, KEY).tables[0].rows} for bench in (stated, unstated)]
    assert [each["Kv at no load"] for each in cells] == ["16 deg", "drive not stated"]
    assert {each["Kv from back-emf"] for each in cells} == {"no drive in it"}


def test_rms_taken_for_peak_shows_in_the_ratio_of_the_two_kv() -> None:
    truth = error_free()
    tests = run(truth)
    assert "kv_ratio" not in codes(opened(truth, tests), KEY)
    tests[2] = back_emf_of(truth, "A", "e", SPEEDS, "rms", unsteady=0.0) | {"waveform": "peak"}
    (said,) = [r.message for r in reduced(opened(truth, tests), KEY).remarks if r.code == "kv_ratio"]
    assert "rms stated as peak" in said


def test_milliohms_taken_for_ohms_are_caught() -> None:
    truth = error_free()
    tests = run(truth)
    tests[1]["pairs"] = dict.fromkeys(("ab", "bc", "ca"), "55 ohm")
    bench = opened(truth, tests)
    for name in ("kv_no_load", "kt", "km", "km_per_mass"):
        assert figure(bench, KEY, name).flags == ("withheld:drop_above_voltage",)
    assert figure(bench, KEY, "drag_torque", speed="20000 rpm").quantity is None
    (said,) = [r.message for r in reduced(bench, KEY).remarks if r.code == "drop_above_voltage"]
    assert "units" in said


def test_an_odd_motor_constant_is_remarked_on() -> None:
    truth = error_free()
    tests = run(truth)
    tests[1]["pairs"] = dict.fromkeys(("ab", "bc", "ca"), "5.5 mohm")
    where = [r.where for r in reduced(opened(truth, tests), KEY).remarks if r.code == "unusual"]
    assert any(place.startswith("km of") for place in where)


def test_three_points_carry_kv_but_no_curve() -> None:
    truth = error_free()
    bench = opened(truth, run(truth, volts=np.array([5.0, 10.0, 15.0])))
    assert value(bench, KEY, "kv_no_load").value == pytest.approx(true_constant(truth, "kv_no_load", {}, "A"), rel=1e-4)
    assert value(bench, KEY, "no_load_current", voltage="10 V").value > 0
    assert figure(bench, KEY, "drag_torque", speed="20000 rpm").flags == ("withheld:too_few_points",)
    assert "too_few_points" in codes(bench, KEY)


def test_the_drag_band_takes_in_the_current_meters_offset() -> None:
    truth = error_free(current=[{"offset": "20 mA"}])
    bench = opened(truth, run(truth))
    drag = value(bench, KEY, "drag_torque", speed="20000 rpm")
    kt = value(bench, KEY, "kt").value
    assert drag.standard_uncertainty == pytest.approx(kt * 0.02 / 3**0.5, rel=5e-3)
    (chart,) = [c for c in reduced(bench, KEY).charts if c.name == "drag_torque_vs_speed"]
    (band,) = [one for one in chart.series if one.curve]
    assert all(low < y < high for low, y, high in zip(band.low, band.y, band.high, strict=True))


def test_an_error_that_tests_share_counts_once_in_what_joins_them() -> None:
    """Kv, resistance and mass hang on different instruments; kt and km hang on the same Kv."""
    truth = error_free(voltage=[{"scale": "1 %"}], resistance=[{"scale": "1 %"}])
    bench = opened(truth, run(truth))
    kt, km = value(bench, KEY, "kt"), value(bench, KEY, "km")
    one = 0.01 / 3**0.5
    assert kt.standard_uncertainty / kt.value == pytest.approx(one, rel=2e-2)
    assert km.standard_uncertainty / km.value == pytest.approx(one * 1.25**0.5, rel=2e-2)
    assert [s.label for s in km.budget()[:2]] == ["scale of supply_volts", "scale of milliohmmeter"]


def test_repeats_and_samples_combine() -> None:
    truth = error_free(voltage=[{"scale": "0.05 %"}])
    tests = [*run(truth), no_load_of(truth, "A", "n2", VOLTS, 40.0), *run(truth, "B")]
    found = [f for f in figures_of(opened(truth, tests)) if f.name == "kv_no_load"]
    assert [f.sample for f in found] == ["A", "B", None]


def test_a_parabola_is_nists(reference: Path) -> None:
    """NIST StRD Pontius through the curve that reads currents."""
    rows = list(csv.DictReader((reference / "nist_strd" / "strd_lin_Pontius.csv").read_text().splitlines()))
    x, y = (np.array([float(row[name]) for row in rows]) for name in ("x", "y"))
    sides = [Channel(each, np.repeat(each[:, None], 1000, axis=1), ()) for each in (x, y)]
    curve = Curve(*sides, ("nist",), "scatter", Trials(1, 1000))
    certified = json.loads((reference / "nist_strd" / "strd_certified.json").read_text())["linear_Pontius"]
    known = [float(each) for each in certified["coef"]]
    assert curve.fit.in_powers_of_x().coefficients == pytest.approx(known, rel=1e-9)
    middle = float(np.median(x))
    assert curve.at(middle).standard_uncertainty == pytest.approx(
        float(curve.fit.standard_uncertainty(middle)[0]), rel=0.05
    )


def test_the_interval_holds_the_truth_over_a_family_of_benches() -> None:
    """Thirty benches of the committed benchmark's kind; one binomial region for each figure, benches counted."""
    cases = [case for seed in range(9001, 9031) for case in figures_of_bench(seed, 1000)]
    groups: dict[tuple[str, str, str], list[bool]] = {}
    for case in cases:
        groups.setdefault((case.of, case.name, case.at), []).append(case.low <= case.true <= case.high)
    low = stats.binom.ppf(0.05 / 100 / len(groups), 30, 0.95) / 30
    for key, inside in groups.items():
        assert np.mean(inside) >= low, key
    every = np.mean([np.mean(inside) for inside in groups.values()])
    assert 0.90 <= every <= 0.985
