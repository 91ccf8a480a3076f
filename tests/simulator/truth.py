"""True figures, from the physics alone: what an error-free bench would publish."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from simulator.instruments import si
from simulator.physics import COPPER_ZERO, operate_at, turning_free
from simulator.spins import spin_up
from simulator.thermal import SoakPlan, held

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from simulator.campaigns import Bench
    from simulator.physics import Motor
    from simulator.spins import Motion

REFERENCE_DENSITY = 1.22500
"""Dry air at 15 degC and 1013.25 hPa [kg/m**3], from the standard atmosphere."""


def truth(
    bench: Bench,
    name: str,
    axis: str,
    place: float,
    sample: str | None,
    *,
    propeller: str,
    density: float = REFERENCE_DENSITY,
    ambient: float = 21.0,
) -> float:
    """Return a true figure of a thrust sweep [SI].

    Parameters
    ----------
    bench : Bench
        Who runs.
    name : str
        The figure, as results name it.
    axis, place : str, float
        Where it is read: a field or property of `State` and its value [SI].
    sample : str or None
        The sample; None for the model's mean.
    propeller : str
        Key of the propeller, mounted as on average.
    density, ambient : float
        Air it is referred to [kg/m**3, degC].
    """
    setup = bench.setup(sample, propeller, density, ambient)
    state = operate_at(setup, axis, place)
    thrust, torque, speed = float(state.thrust[0]), float(state.torque[0]), float(state.speed[0])
    power, turns, diameter = float(state.electrical_power[0]), speed / (2 * np.pi), setup.propeller.diameter
    return {
        "thrust": thrust,
        "torque": torque,
        "speed": speed,
        "current": float(state.current[0]),
        "electrical_power": power,
        "shaft_power": torque * speed,
        "thrust_per_power": thrust / power,
        "motor_efficiency": torque * speed / power,
        "figure_of_merit": thrust**1.5 / np.sqrt(density * np.pi / 2) / diameter / (torque * speed),
        "thrust_coefficient": thrust / (density * turns**2 * diameter**4),
        "power_coefficient": torque * speed / (density * turns**3 * diameter**5),
    }[name]


def true_constant(
    bench: Bench,
    name: str,
    at: Mapping[str, str],
    sample: str | None,
    winding: float = 25.0,
    volts: Sequence[float] | None = None,
) -> float:
    """Return a true constant of a motor [SI]: mass, resistance, the Kv family, drag, unbalance, response.

    Parameters
    ----------
    bench : Bench
        Who was tested.
    name, at : str, mapping
        The figure and its operating point, as results write them.
    sample : str or None
        The sample; None for the model's mean.
    winding : float
        Temperature of the winding in the run without load [degC].
    volts : sequence of float, optional
        Voltages of the run without load; the speed per volt, which changes a little with current, is that of the line
        through its points.
    """
    motor = bench.motor(sample)
    if name in _OF_A_RUN:
        return _OF_A_RUN[name](motor, _kv_no_load(bench, motor, volts or (KV_VOLTS,), winding))
    return _CONSTANTS[name](bench, motor, at, winding)


def _kv_no_load(bench: Bench, motor: Motor, volts: Sequence[float], winding: float) -> float:
    """Speed per volt behind the resistive drop, of the line through a run without load [rad/s/V]."""
    speed, current = turning_free(motor, bench.drive, volts, winding)
    behind = np.asarray(volts) - current * (float(motor.resistance_at(winding)) + 2 * bench.drive.on_resistance)
    return float((speed**2).sum() / (speed * behind).sum())


def _step_way(at: Mapping[str, str]) -> int:
    """0 for a step up, 1 for a step down, from ``"30 % to 70 %"``."""
    low, high = (float(number) for number in re.findall(r"([\d.]+) %", at["step"]))
    return int(high < low)


KV_VOLTS = 10.0
"""Voltage at which the speed per volt is stated where the run's voltages are not given."""

_OF_A_RUN: dict[str, Callable[[Motor, float], float]] = {
    "kv_no_load": lambda _m, kv: kv,
    "kt": lambda _m, kv: 1 / kv,
    "km": lambda m, kv: 1 / kv / m.resistance**0.5,
    "km_per_mass": lambda m, kv: 1 / kv / m.resistance**0.5 / m.mass,
}

_CONSTANTS: dict[str, Callable[[Bench, Motor, Mapping[str, str], float], float]] = {
    "mass": lambda _b, m, at, _t: {"motor": m.mass, "bell": m.bell_mass}[at.get("part", "motor")],
    "winding_resistance_20c": lambda _b, m, _at, _t: m.resistance,
    "kv_back_emf": lambda _b, m, _at, _t: 1 / m.ke_peak,
    "no_load_current": lambda b, m, at, t: float(turning_free(m, b.drive, [si(at["voltage"])], t)[1][0]),
    "drag_torque": lambda _b, m, at, _t: float(m.drag_torque(si(at["speed"]))),
    "residual_unbalance": lambda _b, m, _at, _t: abs(m.unbalance),
    "time_constant": lambda _b, m, at, _t: m.response[_step_way(at)],
    "dead_time": lambda b, _m, _at, _t: b.drive.dead_time,
}


def true_spin(
    bench: Bench,
    name: str,
    at: Mapping[str, str],
    sample: str | None,
    *,
    flywheel: str,
    density: float = 1.2,
    temperature: float = 22.0,
) -> float:
    """Return a true figure of a flywheel run [SI]: torque, shaft_power, motor_efficiency at speed, or peak_torque.

    The torque is the shaft's as a steady state would have it: the air-gap torque less the motor's own drag.
    """
    motion = spin_up(
        bench.motor(sample), bench.drive, bench.supply, bench.flywheels[flywheel],
        density=density, temperature=temperature,
    )  # fmt: skip
    return true_of_motion(motion, name, at)


def true_of_motion(motion: Motion, name: str, at: Mapping[str, str]) -> float:
    """Return a true figure of a flywheel run [SI] from its motion, as `true_spin` does."""
    if name == "peak_torque":
        return float(motion.shaft_torque.max())
    speed = si(at["speed"])
    torque = motion.at_speed("shaft_torque", speed)
    power = motion.at_speed("voltage", speed) * motion.at_speed("current", speed)
    return {"torque": torque, "shaft_power": torque * speed, "motor_efficiency": torque * speed / power}[name]


def true_heat(
    bench: Bench,
    name: str,
    sample: str | None,
    *,
    propeller: str,
    plan: SoakPlan | None = None,
    density: float = 1.2,
    ambient: float = 22.0,
    limit: float = 100.0,
) -> float:
    """Return a true figure of a heat soak [SI].

    ``thermal_resistance`` is the whole path from winding to air per watt of the motor's losses,
    ``thermal_time_constant`` the slow node's, ``continuous_current`` the winding current that ends at ``limit`` [degC]
    with the drag losses of the soak.
    """
    motor, plan = bench.motor(sample), plan or SoakPlan()
    r1, _, r2, t2 = motor.soak
    if name != "continuous_current":
        return {"thermal_resistance": r1 + r2, "thermal_time_constant": t2}[name]
    _, _, drag_power = held(bench.setup(sample, propeller, density, ambient), plan.power)
    copper = (limit - ambient) / (r1 + r2) - drag_power
    hot = motor.resistance * (COPPER_ZERO + limit) / (COPPER_ZERO + 20)
    return float((copper / hot) ** 0.5)


_SPIN = ("torque", "shaft_power", "motor_efficiency", "peak_torque")
_HEAT = ("thermal_resistance", "thermal_time_constant", "continuous_current")


def true_figure(
    bench: Bench, name: str, at: Mapping[str, str], sample: str | None, *, propeller: str, flywheel: str = ""
) -> float:
    """Return any true figure [SI] by its name and operating point as results write them, in ordinary conditions.

    Figures of a sweep are in the reference air. Where the conditions of a run matter, ask the function of its test:
    `truth`, `true_constant`, `true_spin`, `true_heat`.
    """
    if name in _CONSTANTS or name in _OF_A_RUN:
        return true_constant(bench, name, at, sample)
    if name in _HEAT:
        return true_heat(bench, name, sample, propeller=propeller)
    if name in _SPIN and (name == "peak_torque" or "speed" in at):
        return true_spin(bench, name, at, sample, flywheel=flywheel)
    axis, place = next((key, text) for key, text in at.items() if key != "part")
    return truth(bench, name, axis, si(place), sample, propeller=propeller)
