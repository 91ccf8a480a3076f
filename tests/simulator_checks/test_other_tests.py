"""Spin-ups, coast-downs, steps, soaks, vibration and readings: physics that adds up, figures of the class."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import yaml
from scipy.integrate import trapezoid

from simulator.campaigns import Bench
from simulator.demo import DRIVE, PROPELLERS, STORIES, SUPPLY
from simulator.demo_words import RIG
from simulator.instruments import Rig
from simulator.physics import COPPER_ZERO, Flywheel
from simulator.readings import back_emf, no_load, winding_resistance
from simulator.shaking import ShakePlan, TrialMass, vibration
from simulator.spins import SpinPlan, coast_down, coast_down_run, flywheel_run, spin_up
from simulator.steps import StepPlan, throttle_step
from simulator.streams import stream
from simulator.thermal import SoakPlan, heat_soak, held, warming
from simulator.truth import true_constant, true_figure, true_heat, true_spin

RPM = np.pi / 30
DISC = Flywheel(5.0e-5)
MODEL = STORIES[0].model
PROPELLER = "oar-51x45"
LIMITED = replace(DRIVE, current_limit=45.0)


@pytest.fixture(scope="module")
def bench() -> Bench:
    """A bench whose instruments are without error."""
    plain = yaml.safe_load(RIG)
    for raw in plain["instruments"].values():
        raw.pop("errors", None)
        raw.pop("calibrations", None)
    rig = Rig.drawn(plain, stream(4, "perfect"))
    return Bench(rig, MODEL, {"A": MODEL}, PROPELLERS, LIMITED, SUPPLY, flywheels={"disc-60": DISC})


@pytest.fixture(scope="module")
def spin():
    return spin_up(MODEL, LIMITED, SUPPLY, DISC)


def _of(bench: Bench, run: str):
    return bench.occasion("2026-03-04", run)


def test_a_spin_up_spends_what_it_draws(spin) -> None:
    drawn = trapezoid(spin.voltage * spin.current, spin.time)
    stored = 0.5 * (DISC.inertia + MODEL.rotor_inertia) * spin.speed[-1] ** 2
    windage = trapezoid(DISC.windage(spin.speed, 1.2) * spin.speed, spin.time)
    drag = trapezoid(MODEL.drag_torque(spin.speed) * spin.speed, spin.time)
    amperes = spin.winding_current
    copper = trapezoid(amperes**2 * MODEL.resistance_at(spin.winding_temperature), spin.time)
    switches = trapezoid(amperes**2 * 2 * LIMITED.on_resistance, spin.time)
    duty = (spin.speed * MODEL.no_load_constant(LIMITED) * (1 - MODEL.saturation * amperes)
            + amperes * (MODEL.resistance_at(spin.winding_temperature) + 2 * LIMITED.on_resistance)) / spin.voltage  # fmt: skip
    switching = trapezoid(LIMITED.switching * spin.voltage * amperes * 4 * duty * np.maximum(1 - duty, 0), spin.time)
    assert stored + windage + drag + copper + switches + switching == pytest.approx(drawn, rel=1e-4)


def test_a_spin_up_is_that_of_such_a_motor(spin) -> None:
    assert 0.12 < spin.shaft_torque.max() < 0.40
    assert 0.5 < spin.time[-1] < 3.0
    assert 25 < spin.winding_temperature[-1] < 80
    efficiency = spin.shaft_torque * spin.speed / (spin.voltage * spin.current + 1e-9)
    assert efficiency.max() < 0.95
    at_10k = np.interp(10000 * RPM, spin.speed, spin.winding_current)
    assert at_10k == pytest.approx(45.0, rel=0.01)


def test_windage_is_small_beside_the_torque_and_in_the_known_range() -> None:
    # Both faces .25, .70, 1.28 mN m and rim .08, .33, .75 mN m at 10, 20, 30 krpm, for a disc of 60 x 5 mm.
    expected = np.array([0.33e-3, 1.03e-3, 2.03e-3])
    np.testing.assert_allclose(DISC.windage(np.array([1e4, 2e4, 3e4]) * RPM, 1.2), expected, rtol=0.06)


def test_shaft_torque_is_inertia_times_acceleration_and_windage_but_not_drag(spin) -> None:
    middle = spin.speed > 200
    total = (DISC.inertia + MODEL.rotor_inertia) * np.gradient(spin.speed, spin.time) + DISC.windage(spin.speed, 1.2)
    np.testing.assert_allclose(total[middle][5:-5], spin.shaft_torque[middle][5:-5], rtol=2e-3)


@pytest.mark.parametrize("interval", [0.01, 0.001])
def test_a_sampled_spin_up_follows_the_truth(bench: Bench, spin, interval: float) -> None:
    plan = SpinPlan(interval=interval, speed_noise=0.0)
    log = flywheel_run(bench, "A", _of(bench, "fly"), flywheel="disc-60", plan=plan).channels
    command = np.argmax(log["throttle"] > 0)
    late = log["speed"][command + round(0.4 / interval)]
    at = np.array([0.4 - interval - 0.003, 0.4 + interval])
    low, high = spin.speed_at(at)
    assert low - 0.5 <= late <= high + 0.5
    assert np.all(log["speed"][:command] == 0)


def test_marks_come_once_a_turn(bench: Bench, spin) -> None:
    plan = SpinPlan(pulses=True, jitter=0.0)
    log = flywheel_run(bench, "A", _of(bench, "marks"), flywheel="disc-60", plan=plan).channels
    periods = np.diff(log["time"])
    middle = (log["time"][1:] + log["time"][:-1]) / 2 - plan.lead
    np.testing.assert_allclose(2 * np.pi / periods[5:], spin.speed_at(middle)[5:], rtol=2e-3)
    assert log["time"].size == pytest.approx(spin.angle[-1] / (2 * np.pi), abs=3)


def test_a_coast_down_loses_its_energy_to_drag_and_air(bench: Bench) -> None:
    with_disc, bare = (coast_down(MODEL, disc, start=2500.0) for disc in (DISC, None))
    for motion, inertia in ((with_disc, DISC.inertia + MODEL.rotor_inertia), (bare, MODEL.rotor_inertia)):
        energy = 0.5 * inertia * (motion.speed[0] ** 2 - motion.speed[-1] ** 2)
        lost = -trapezoid(inertia * motion.acceleration * motion.speed, motion.time)
        assert lost == pytest.approx(energy, rel=1e-5)
    assert 0.2 < bare.time[-1] < 3
    assert 8 < with_disc.time[-1] < 60
    difference = (
        -(DISC.inertia + MODEL.rotor_inertia) * with_disc.acceleration[0] + MODEL.rotor_inertia * bare.acceleration[0]
    )
    assert difference == pytest.approx(DISC.windage(2500.0, 1.2), rel=1e-9)


def test_a_coast_down_log_only_falls(bench: Bench) -> None:
    plan = SpinPlan(interval=0.02, lead=0.0, speed_noise=0.0)
    log = coast_down_run(bench, "A", _of(bench, "coast"), flywheel="disc-60", start=2500.0, plan=plan).channels
    assert log["speed"][0] == pytest.approx(2500.0, rel=1e-3)
    assert np.all(np.diff(log["speed"]) <= 0)


def test_a_step_follows_its_time_constant_both_ways(bench: Bench) -> None:
    plan = StepPlan(interval=0.001, speed_noise=0.0, repeats=1)
    log = throttle_step(bench, "A", _of(bench, "step"), propeller=PROPELLER, plan=plan).channels
    at = {"up": {"step": "30 % to 70 %"}, "down": {"step": "70 % to 30 %"}}
    dead = true_constant(bench, "dead_time", at["up"], "A")
    for way, begin in (
        ("up", np.argmax(log["throttle"] > 0.5)),
        ("down", np.flatnonzero(log["throttle"] > 0.5)[-1] + 1),
    ):
        after = log["time"][begin : begin + 900] - log["time"][begin]
        speed = log["speed"][begin : begin + 900]
        share = (speed - speed[0]) / (speed[-1] - speed[0])
        reached = after[np.argmax(share > 1 - np.exp(-1))]
        # The tachometer is 2 ms behind, the command up to one row before its row.
        expected = true_constant(bench, "time_constant", at[way], "A") + dead + 0.002
        assert reached == pytest.approx(expected, abs=0.0025)


def test_a_soak_ends_where_its_resistance_says(bench: Bench) -> None:
    plan = SoakPlan(duration=2500.0)
    speed, amperes, drag = held(bench.setup("A", PROPELLER, 1.2, 22.0), plan.power)
    end = warming(MODEL, amperes, drag, 22.0, plan, np.array([0.0, plan.rest + plan.duration - 1]))
    rise = end.winding_temperature[1] - 22.0
    assert rise == pytest.approx(
        true_heat(bench, "thermal_resistance", "A", propeller=PROPELLER) * end.loss[1], rel=1e-3
    )
    assert 20 < rise < 110
    assert speed > 1000


def test_the_continuous_current_would_end_at_the_limit(bench: Bench) -> None:
    amperes = true_heat(bench, "continuous_current", "A", propeller=PROPELLER)
    _, _, drag = held(bench.setup("A", PROPELLER, 1.2, 22.0), 150.0)
    plan = SoakPlan(duration=4000.0)
    end = warming(MODEL, amperes, drag, 22.0, plan, np.array([plan.rest + plan.duration - 1]))
    assert end.winding_temperature[0] == pytest.approx(100.0, abs=0.1)
    assert 5 < amperes < 40


def test_a_soak_log_tells_of_copper_that_warms(bench: Bench) -> None:
    plan = SoakPlan(duration=300.0, cooling=60.0, temperature_noise=0.0)
    log = heat_soak(bench, "A", _of(bench, "soak"), propeller=PROPELLER, plan=plan).channels
    on = log["current"] > 0.5
    assert np.all(np.diff(log["winding_temperature"][on]) > -0.011)
    power = (log["voltage"] * log["current"])[on]
    assert power[-50:].mean() > power[:20].mean()
    assert log["winding_temperature"][-1] < log["winding_temperature"][on][-1]


def test_vibration_gives_back_the_unbalance_by_a_trial_mass(bench: Bench) -> None:
    trial = TrialMass(50e-6, 12e-3, 0.0)
    plan = ShakePlan(noise=0.0, wander=0.0)

    def once(run: str, mass: TrialMass | None) -> complex:
        log = vibration(bench, "A", _of(bench, run), trial=mass, plan=plan).channels
        marks = log["time"][log["once_per_turn"] > 0.5]
        speed = 2 * np.pi * (marks.size - 1) / (marks[-1] - marks[0])
        whole = (log["time"] >= marks[0]) & (log["time"] < marks[-1])
        angle = speed * (log["time"][whole] - marks[0])
        return 2 * np.mean(log["acceleration"][whole] * np.exp(-1j * angle))

    bare, loaded = once("v0", None), once("v1", trial)
    found = trial.unbalance * bare / (loaded - bare)
    true = true_constant(bench, "residual_unbalance", {"speed": "20000 rpm"}, "A")
    assert abs(found) == pytest.approx(true, rel=0.03)
    # 16 g at 20 krpm: 2.5 mm/s is 19 mg mm, 16 mm/s is 122 mg mm.
    assert 10e-9 < true < 122e-9


def test_resistance_at_20_degrees_comes_back(bench: Bench) -> None:
    read = winding_resistance(bench, "A", _of(bench, "r"), temperature=26.0, leads=1e-3)
    mean = (read.ab + read.bc + read.ca) / 3 - 1e-3
    back = mean * (COPPER_ZERO + 20) / (COPPER_ZERO + read.winding_temperature)
    assert back == pytest.approx(true_constant(bench, "winding_resistance_20c", {}, "A"), rel=1e-9)


def test_both_kv_come_back_and_differ_by_the_timing(bench: Bench) -> None:
    driven = back_emf(bench, "A", _of(bench, "e"), speeds=np.array([500.0, 1000.0]), unsteady=0.0)
    by_emf = float((driven.speed / driven.voltage)[0])
    assert by_emf == pytest.approx(true_constant(bench, "kv_back_emf", {}, "A"), rel=1e-9)
    free = no_load(bench, "A", _of(bench, "n"), volts=[6.0, 10.0, 14.0], unsteady_speed=0.0, unsteady_current=0.0)
    drop = free.current * (float(MODEL.resistance_at(free.winding_temperature)) + 2 * LIMITED.on_resistance)
    by_run = free.speed / (free.voltage - drop)
    kv = true_constant(bench, "kv_no_load", {}, "A")
    np.testing.assert_allclose(by_run, kv, rtol=3e-4)
    assert kv / by_emf == pytest.approx(np.pi / 3 / np.cos(LIMITED.timing), rel=1e-3)
    assert kv / RPM == pytest.approx(1850, rel=1e-3)


def test_drag_comes_back_from_the_current_without_load(bench: Bench) -> None:
    free = no_load(bench, "A", _of(bench, "d"), volts=[6.0, 10.0, 14.0], unsteady_speed=0.0, unsteady_current=0.0)
    torque = true_constant(bench, "kt", {}, "A") * free.current
    np.testing.assert_allclose(torque, MODEL.drag_torque(free.speed), rtol=6e-4)


@pytest.mark.parametrize(
    ("name", "at", "low", "high"),
    [
        ("mass", {"part": "bell"}, 13e-3, 20e-3),
        ("winding_resistance_20c", {}, 35e-3, 110e-3),
        ("km", {}, 15e-3, 28e-3),
        ("no_load_current", {"voltage": "10 V"}, 0.5, 2.2),
        ("drag_torque", {"speed": "20000 rpm"}, 3e-3, 8e-3),
        ("torque", {"speed": "20000 rpm"}, 0.12, 0.40),
        ("motor_efficiency", {"speed": "20000 rpm"}, 0.55, 0.90),
        ("peak_torque", {}, 0.12, 0.40),
        ("time_constant", {"step": "30 % to 70 %"}, 0.012, 0.080),
        ("dead_time", {"step": "30 % to 70 %"}, 0.002, 0.025),
        ("thermal_resistance", {}, 2.0, 8.0),
        ("thermal_time_constant", {}, 60.0, 300.0),
        ("thrust", {"electrical_power": "200 W"}, 5.3, 7.6),
        ("motor_efficiency", {"electrical_power": "200 W"}, 0.7, 0.87),
    ],
)
def test_every_truth_is_of_its_class(bench: Bench, name: str, at: dict[str, str], low: float, high: float) -> None:
    for sample in ("A", None):
        assert low < true_figure(bench, name, at, sample, propeller=PROPELLER, flywheel="disc-60") < high


def test_a_speed_that_a_spin_up_never_reaches_has_no_truth(bench: Bench) -> None:
    with pytest.raises(ValueError, match="not reached"):
        true_spin(bench, "torque", {"speed": "60000 rpm"}, "A", flywheel="disc-60")
