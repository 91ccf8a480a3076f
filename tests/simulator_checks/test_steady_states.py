"""A simulated bench in a steady state: energy adds up, and its figures are those of motors of this class."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simulator.demo import DRIVE, PROPELLERS, STORIES, SUPPLY
from simulator.physics import Air, Setup, Supply, operate, operate_at, turning_free

GRAM_FORCE = 9.80665e-3
RPM = np.pi / 30
LEVELS = np.linspace(0.1, 1.0, 19)

pytestmark = pytest.mark.parametrize("motor", [story.model for story in STORIES], ids=lambda m: f"{m.mass * 1e3:g}g")


@pytest.fixture
def setup(motor) -> Setup:
    return Setup(motor, DRIVE, PROPELLERS["oar-51x45"], SUPPLY, 1.225)


def test_what_goes_in_comes_out_or_is_lost(setup: Setup) -> None:
    state = operate_at(setup, "throttle", LEVELS)
    amperes = state.winding_current
    copper = amperes**2 * setup.motor.resistance_at(state.winding_temperature)
    switches = amperes**2 * 2 * DRIVE.on_resistance
    switching = DRIVE.switching * state.voltage * amperes * 4 * state.throttle * (1 - state.throttle)
    drag = setup.motor.drag_torque(state.speed) * state.speed
    total = state.shaft_power + copper + switches + switching + drag
    np.testing.assert_allclose(state.electrical_power, total, rtol=1e-9)


def test_the_supply_sags_by_its_own_resistance(setup: Setup) -> None:
    state = operate_at(setup, "throttle", LEVELS)
    np.testing.assert_allclose(state.voltage, SUPPLY.volts - SUPPLY.resistance * state.current, rtol=1e-9)


def test_a_point_is_found_again_from_any_of_its_figures(setup: Setup) -> None:
    state = operate_at(setup, "electrical_power", 200.0)
    for key in ("throttle", "thrust", "speed", "current"):
        again = operate_at(setup, key, getattr(state, key))
        np.testing.assert_allclose(again.electrical_power, 200.0, rtol=1e-8)


def test_thrust_at_stated_power_is_plausible(setup: Setup) -> None:
    gf = operate_at(setup, "electrical_power", [100.0, 200.0, 400.0]).thrust / GRAM_FORCE
    assert 350 < gf[0] < 500
    assert 540 < gf[1] < 770
    assert 900 < gf[2] < 1300
    area = np.pi * setup.propeller.diameter**2 / 4
    ceiling = (2 * 1.225 * area) ** (1 / 3) * (0.75 * np.array([100.0, 200.0, 400.0])) ** (2 / 3) / GRAM_FORCE
    assert np.all(gf < ceiling)


def test_efficiency_and_figure_of_merit_are_plausible(setup: Setup) -> None:
    state = operate_at(setup, "electrical_power", [100.0, 200.0, 400.0])
    efficiency = state.shaft_power / state.electrical_power
    assert np.all((efficiency > 0.75) & (efficiency < 0.87))
    area = np.pi * setup.propeller.diameter**2 / 4
    merit = state.thrust**1.5 / np.sqrt(2 * 1.225 * area) / state.shaft_power
    assert np.all((merit > 0.45) & (merit < 0.70))


def test_full_throttle_is_where_such_motors_run(setup: Setup) -> None:
    state = operate_at(setup, "throttle", 1.0)
    assert 24e3 < state.speed[0] / RPM < 34e3
    assert 400 < state.electrical_power[0] < 1000
    assert 10 < state.thrust[0] < 20
    assert 40 < state.winding_temperature[0] < 150


def test_constants_are_those_of_the_class(setup: Setup) -> None:
    motor = setup.motor
    km = motor.no_load_constant(DRIVE) / motor.resistance**0.5
    assert 15e-3 < km < 28e-3
    assert 0.45 < km / motor.mass < 0.85
    assert 3e-3 < motor.drag_torque(20000 * RPM) < 8e-3
    speed, current = turning_free(motor, DRIVE, [10.0], 25.0)
    assert 0.5 < current[0] < 2.2
    assert speed[0] < 10.0 / motor.no_load_constant(DRIVE)


def test_thin_air_takes_thrust_by_the_law_of_what_is_held(setup: Setup) -> None:
    thin = replace(setup, density=1.12)
    ratio = np.log(1.225 / 1.12)

    def exponent(key: str, value: float) -> float:
        dense, light = (operate_at(each, key, value).thrust[0] for each in (setup, thin))
        return float(np.log(dense / light) / ratio)

    assert exponent("speed", 20000 * RPM) == pytest.approx(1.0, abs=1e-6)
    assert 0.30 < exponent("electrical_power", 200.0) < 0.34
    # At full throttle on a stiff supply, a winding that stays cool: the exponent is about 0.8.
    cool = replace(setup.motor, heating=0.0)
    stiff = replace(setup, motor=cool, supply=Supply(SUPPLY.volts, 0.0))
    thin = replace(stiff, density=1.12)
    dense, light = (operate_at(each, "throttle", 1.0).thrust[0] for each in (stiff, thin))
    assert 0.78 < np.log(dense / light) / ratio < 0.92


def test_a_point_beyond_full_throttle_is_refused(setup: Setup) -> None:
    with pytest.raises(ValueError, match="beyond full throttle"):
        operate_at(setup, "electrical_power", 3000.0)


def test_more_speed_needs_more_of_everything(setup: Setup) -> None:
    state = operate(setup, np.linspace(300, 3000, 50))
    for values in (state.throttle, state.electrical_power, state.thrust, state.current):
        assert np.all(np.diff(values) > 0)


def test_air_weighs_what_the_tables_say(motor) -> None:
    # ISO 2533 at sea level, and CIPM-2007 at 20 degC, 101 325 Pa, 50 % (both remembered).
    assert Air().density == pytest.approx(1.2250, rel=6e-4)
    assert Air(20.0, 101325.0, 0.5).density == pytest.approx(1.1993, rel=1e-4)
