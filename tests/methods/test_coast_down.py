"""Coast-downs: published retardation tests, the simulator's drag, and what is refused."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from benchmarks import spin_coverage as spins
from benchproof.campaign.logs import Log
from benchproof.errors import MethodError
from benchproof.methods import coast_down as method
from benchproof.methods.spin.coasting import CoastRun, deceleration_of
from benchproof.rig.instrument import Instrument, Occasion
from simulator.physics import RPM
from simulator.spins import COAST_LAYOUT, COAST_PULSE_LAYOUT, SPEED_LAYOUT, SpinPlan, coast_down_run

EXAMPLES = json.loads(
    (Path(__file__).parents[1] / "reference" / "retardation" / "examples.json").read_text(encoding="utf-8")
)
TACHOMETER = Instrument("rig", "tachometer", "speed")
SPEEDS = ["10000 rpm", "20000 rpm", "90000 rpm"]
TRIALS = 1000
OPEN = {"windings": "open"}


def straight(fast: float, slow: float, seconds: float) -> CoastRun:
    """A shaft that loses speed evenly."""
    time = np.linspace(0, seconds, 200)
    speed = fast + (slow - fast) * time / seconds
    occasion = Occasion("rig", "c", "raw/c.csv", date(2026, 3, 1))
    return CoastRun("A", None, False, time, {"speed": speed}, TACHOMETER, 0.0, occasion)


def deceleration(fast: float, slow: float, seconds: float) -> float:
    return float(deceleration_of(straight(fast, slow, seconds)).at(np.array([(fast + slow) / 2]))[0])


def test_the_inertia_of_a_retardation_test() -> None:
    """Theraja, example 31.17: 1525 to 1475 rpm in 25 s, in 20 s with 1000 W more; J = 121.585 kg m2."""
    example = EXAMPLES["theraja_31_17"]
    fast, slow = (rpm * RPM for rpm in example["rpm"])
    alone, loaded = (deceleration(fast, slow, example[name]) for name in ("seconds", "seconds_loaded"))
    inertia = example["watts"] / ((fast + slow) / 2 * (loaded - alone))
    assert inertia == pytest.approx(example["inertia"], rel=1e-4)


def test_the_stray_loss_of_a_retardation_test() -> None:
    """Theraja, example 31.16: 220 to 190 V in 30 s, in 20 s with 10 A on average; 4100 W."""
    example = EXAMPLES["theraja_31_16"]
    fast, slow = example["volts"]
    alone, loaded = (deceleration(fast, slow, example[name]) for name in ("seconds", "seconds_loaded"))
    watts = (fast + slow) / 2 * example["mean_amperes"]
    assert watts * alone / (loaded - alone) == pytest.approx(example["stray_loss_watts"], rel=1e-6)


def test_the_law_is_found_back_whatever_the_stamps() -> None:
    a0, a1, a2 = 700.0, 0.5, 2e-4
    rng = np.random.default_rng(4)
    fine = np.linspace(0, 2.0, 20_001)
    speed = [3000.0]
    for step in np.diff(fine):
        w = speed[-1]
        speed.append(w - step * (a0 + a1 * w + a2 * w**2))
    kept = np.sort(rng.choice(fine.size, 400, replace=False))
    run = replace(straight(2, 1, 1), time=fine[kept], channels={"speed": np.array(speed)[kept]})
    found = deceleration_of(run)
    for w in (600.0, 1500.0, 2800.0):
        assert found.at(np.array([w]))[0] == pytest.approx(a0 + a1 * w + a2 * w**2, rel=3e-3)


def test_a_shaft_that_does_not_slow_down_is_refused() -> None:
    rising = straight(1000, 900, 5)
    speed = rising.channels["speed"].copy()
    speed[100:] += np.linspace(0, 99, 100)
    with pytest.raises(MethodError, match="does not slow down"):
        deceleration_of(replace(rising, channels={"speed": speed}))


@pytest.fixture(scope="module")
def known():
    rng = np.random.default_rng([5, 79])
    return spins.spinning_bench(5, rng)


def opened(known, coasts, *, pulses: bool = False, more=(), rotor: bool = True):
    """Return a campaign of coast-downs: each a flywheel's name or None, and what its test says beside."""
    bench, stated = known
    layout = COAST_PULSE_LAYOUT if pulses else COAST_LAYOUT
    logs, tests = {}, []
    for number, (flywheel, extra) in enumerate(coasts):
        log = f"raw/coast-{number}.csv"
        plan = SpinPlan(interval=0.005, lead=0.0, speed_noise=5 * RPM, pulses=pulses)
        recording = coast_down_run(
            bench, "A", bench.occasion(spins.DAY, log), flywheel=flywheel, start=2900.0, layout=layout, plan=plan
        )
        logs[log] = Log(recording.channels, recording.channels["time"].size, ())
        test = {"test": "coast_down", "sample": "A", "log": log, "flywheel": flywheel or "none", "layout": layout}
        if rotor:
            test["rotor_inertia"] = spins._inertia(stated["rotor"], spins.ROTOR_STATED)
        tests.append(test | extra)
    return spins.campaign_of(bench, stated, SPEED_LAYOUT, [*tests, *more], logs, SPEEDS, TRIALS)


def reduced(bench):
    return method.reduce([method.gather(test, bench) for test in bench.tests("coast_down")], bench)


@pytest.mark.parametrize("pulses", [False, True])
def test_drag_of_the_bare_rotor_is_the_simulators(known, pulses: bool) -> None:
    found = reduced(opened(known, [(None, OPEN)] * 3, pulses=pulses)).figures
    motor = known[0].motor("A")
    for figure in found[:2]:
        true = float(motor.drag_torque(float(figure.at["speed"].split()[0]) * RPM))
        low, high = figure.quantity.interval(0.99)
        assert low < true < high
        assert figure.quantity.standard_uncertainty / true == pytest.approx(spins.ROTOR_STATED, rel=0.1)
    assert found[2].flags == ("not_reached",)


def test_drag_without_load_owns_the_figure_and_stands_beside(known) -> None:
    motor = known[0].motor("A")
    points = []
    for rpm in (12_000, 18_000):
        drag, speed = float(motor.drag_torque(rpm * RPM)), rpm * RPM
        points.append({"voltage": "10 V", "current": f"{drag * speed / 10:.4f} A", "speed": f"{rpm} rpm"})
    no_load = {"test": "no_load", "sample": "A", "winding_temperature": "25 degC", "points": points}
    found = reduced(opened(known, [(None, OPEN)], more=[no_load]))
    assert not found.figures
    table = next(table for table in found.tables if table.name == "drag_two_ways")
    assert len(table.rows) == 2
    assert "drag_differs" not in {remark.code for remark in found.remarks}
    double = {**no_load, "points": [{**point, "voltage": "20 V"} for point in points]}
    assert "drag_differs" in {r.code for r in reduced(opened(known, [(None, OPEN)], more=[double])).remarks}


def test_shorted_windings_are_refused(known) -> None:
    found = reduced(opened(known, [(None, {"windings": "shorted"})]))
    assert all(figure.flags == ("withheld:shorted_windings",) for figure in found.figures)
    assert "shorted_windings" in {remark.code for remark in found.remarks}
    both = reduced(opened(known, [(None, {"windings": "shorted"}), (None, OPEN)]))
    plain = reduced(opened(known, [(None, OPEN)]))
    assert both.figures[0].quantity.value == pytest.approx(plain.figures[0].quantity.value, rel=0.02)


def test_without_the_rotors_inertia_drag_is_withheld(known) -> None:
    found = reduced(opened(known, [(None, OPEN)], rotor=False))
    assert all(figure.flags == ("withheld:no_rotor_inertia",) for figure in found.figures)


def test_a_coast_down_with_a_flywheel_gives_windage_and_no_drag_figure(known) -> None:
    only = reduced(opened(known, [(spins.DISC, OPEN)]))
    assert not only.figures
    both = reduced(opened(known, [(spins.DISC, OPEN), (None, OPEN)]))
    chart = next(chart for chart in both.charts if chart.name == "windage_vs_speed")
    measured = next(series for series in chart.series if "with less without" in series.label)
    disc = known[0].flywheels[spins.DISC]
    for x, low, high in list(zip(measured.x, measured.low, measured.high, strict=True))[5:-5]:
        true = float(disc.windage(x * RPM, 1.2))
        centre, half = (low + high) / 2, (high - low) / 2
        assert abs(true - centre) < 2 * half
    formula = next(series for series in chart.series if "disc formula" in series.label)
    plain = replace(disc, faces=1.0, rim=1.0)
    assert math.isclose(formula.y[-1], float(plain.windage(formula.x[-1] * RPM, 1.2)), rel_tol=0.05)
