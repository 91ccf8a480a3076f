"""Flywheel spin-ups and coast-downs: motion solved in time, then logged."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicHermiteSpline

from simulator.instruments import Instrument, Occasion, lagged
from simulator.loggers import Fault, Recording, Style, record
from simulator.physics import (
    COPPER_ZERO,
    Drive,
    Flywheel,
    Motor,
    Supply,
    terminals,
    turning_free,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from simulator.campaigns import Bench

    Floats = NDArray[np.float64]

RISE = 0.03
"""Time constant with which the drive lets its current limit come up at the start of a spin-up [s]."""
CORNER = 24.0
"""Sharpness of the corner between current limit and voltage limit; larger is sharper."""
STILL = 30.0
"""Speed at which a coast-down is taken to stop [rad/s]."""

SPEED_LAYOUT = {
    "time": {"column": "t_ms", "unit": "ms"},
    "throttle": {"column": "throttle", "unit": "%"},
    "voltage": {"column": "volts", "unit": "V", "instrument": "supply_volts"},
    "current": {"column": "amps", "unit": "A", "instrument": "supply_amps"},
    "speed": {"column": "erpm", "unit": "rpm", "instrument": "tachometer", "divide_by": "pole_pairs"},
}
"""A layout for spin-ups."""
PULSE_LAYOUT = {
    "time": {"column": "t_us", "unit": "us"},
    "throttle": {"column": "throttle", "unit": "%"},
    "voltage": {"column": "volts", "unit": "V", "instrument": "supply_volts"},
    "current": {"column": "amps", "unit": "A", "instrument": "supply_amps"},
    "once_per_turn": {"column": "mark", "unit": "1"},
}
"""A layout for spin-ups that log one row a turn."""
COAST_LAYOUT = {
    "time": {"column": "t_ms", "unit": "ms"},
    "speed": {"column": "rpm", "unit": "rpm", "instrument": "tachometer"},
}
"""A layout for coast-downs: the drive is off, the speed comes from a mark on the shaft."""
COAST_PULSE_LAYOUT = {
    "time": {"column": "t_us", "unit": "us"},
    "once_per_turn": {"column": "mark", "unit": "1"},
}
"""A layout for coast-downs that log one row a turn."""


@dataclass(frozen=True, slots=True)
class Motion:
    """How a shaft moved: states on a grid of times from the start of the motion, shape (n,), SI.

    ``shaft_torque`` is what the motor would deliver in a steady state at that speed and winding temperature: air-gap
    torque less the motor's own drag.
    """

    time: Floats
    speed: Floats
    angle: Floats
    acceleration: Floats
    winding_temperature: Floats
    winding_current: Floats
    voltage: Floats
    current: Floats
    shaft_torque: Floats

    def speed_at(self, times: Floats) -> Floats:
        """Return the speed at any times; still before the first, steady after the last."""
        spline = CubicHermiteSpline(self.time, self.speed, self.acceleration)
        inside = spline(np.clip(times, self.time[0], self.time[-1]))
        return np.where(times < self.time[0], self.speed[0], inside)

    def at(self, field: str, times: Floats) -> Floats:
        """Return another state at any times."""
        return np.interp(times, self.time, getattr(self, field))

    def at_speed(self, field: str, speed: float) -> float:
        """Return a state at the speed of a spin-up [rad/s]; ValueError where it was not reached."""
        if not self.speed[0] <= speed <= self.speed[-1]:
            message = f"{speed:g} rad/s was not reached"
            raise ValueError(message)
        return float(np.interp(speed, self.speed, getattr(self, field)))


def _soft_minimum(a: float, b: float) -> float:
    """Smaller of two currents, with a rounded corner; b may be negative or zero."""
    if b <= 0 or a <= 0:
        return max(min(a, b), 0.0)
    low, high = min(a, b), max(a, b)
    return low * (1 + (low / high) ** CORNER) ** (-1 / CORNER)


def _spin_current(motor: Motor, drive: Drive, supply: Supply, speed: float, temperature: float, time: float) -> float:
    """Winding current [A] at full command: the drive's limit, or what the volts allow."""
    constant = motor.no_load_constant(drive)
    resistance = motor.resistance * (COPPER_ZERO + temperature) / (COPPER_ZERO + 20) + 2 * drive.on_resistance
    path = resistance + supply.resistance - constant * motor.saturation * speed
    limit = drive.current_limit * (1 - math.exp(-time / RISE))
    return _soft_minimum(limit, (supply.volts - constant * speed) / path)


def _windage(flywheel: Flywheel | None, density: float) -> Callable[[float | Floats], Floats]:
    if flywheel is None:
        return lambda speed: np.zeros(np.shape(speed))
    return lambda speed: flywheel.windage(speed, density)


def spin_up(
    motor: Motor,
    drive: Drive,
    supply: Supply,
    flywheel: Flywheel,
    *,
    density: float = 1.2,
    temperature: float = 22.0,
    top: float = 0.985,
) -> Motion:
    """Return the motion of a spin-up at full command from rest.

    Parameters
    ----------
    motor, drive, supply, flywheel
        Who spins.
    density : float
        Of the air [kg/m**3].
    temperature : float
        Of the winding before the run [degC]; it warms while it works.
    top : float
        Share of the speed without load at which the run ends.
    """
    inertia = flywheel.inertia + motor.rotor_inertia
    constant, drag = motor.no_load_constant(drive), motor.drag
    windage = _windage(flywheel, density)
    end = top * float(turning_free(motor, drive, [supply.volts], temperature)[0][0])

    def rates(time: float, state: Floats) -> list[float]:
        speed, _, warmth = state
        amperes = _spin_current(motor, drive, supply, speed, warmth, time)
        torque = constant * (1 - motor.saturation * amperes) * amperes
        loss = drag[0] + drag[1] * speed + drag[2] * speed**2 if speed > 0 else 0.0
        heat = amperes**2 * motor.resistance * (COPPER_ZERO + warmth) / (COPPER_ZERO + 20)
        return [max(torque - loss - float(windage(speed)), 0.0) / inertia, speed, heat / motor.heat_capacity]

    def reached(_: float, state: Floats) -> float:
        return state[0] - end

    reached.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        rates, (0, 30), [0.0, 0.0, temperature], "DOP853", dense_output=True, events=reached,
        rtol=1e-9, atol=1e-9, max_step=0.1,
    )  # fmt: skip
    return _spun(solved.sol, float(solved.t[-1]), motor, drive, supply, inertia, windage)


def _spun(
    solution: Callable[[Floats], Floats],
    stop: float,
    motor: Motor,
    drive: Drive,
    supply: Supply,
    inertia: float,
    windage: Callable[[float | Floats], Floats],
) -> Motion:
    """States of a spin-up on a fine grid."""
    time = np.linspace(0, stop, 1500)
    speed, angle, warmth = solution(time)
    amperes = np.array(
        [_spin_current(motor, drive, supply, w, k, t) for w, k, t in zip(speed, warmth, time, strict=True)]
    )
    constant = motor.no_load_constant(drive)
    torque = constant * (1 - motor.saturation * amperes) * amperes - motor.drag_torque(speed) * (speed > 0)
    path = motor.resistance_at(warmth) + 2 * drive.on_resistance
    volts = constant * (1 - motor.saturation * amperes) * speed + amperes * path
    terminal, current = terminals(supply, drive, volts, amperes)
    acceleration = np.maximum(torque - windage(speed), 0) / inertia
    return Motion(time, speed, angle, acceleration, warmth, amperes, terminal, current, torque)


def coast_down(
    motor: Motor, flywheel: Flywheel | None, *, start: float, density: float = 1.2, stop: float = STILL
) -> Motion:
    """Return the motion of a coast-down with open windings.

    Parameters
    ----------
    motor, flywheel : Motor, Flywheel or None
        Who turns; None for the bare rotor.
    start, stop : float
        Speeds between which it runs [rad/s].
    density : float
        Of the air [kg/m**3].
    """
    inertia = motor.rotor_inertia + (flywheel.inertia if flywheel else 0.0)
    windage, (k0, k1, k2) = _windage(flywheel, density), motor.drag

    def rates(_: float, state: Floats) -> list[float]:
        speed = state[0]
        return [-(k0 + k1 * speed + k2 * speed**2 + float(windage(speed))) / inertia, speed]

    def still(_: float, state: Floats) -> float:
        return state[0] - stop

    still.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(rates, (0, 600), [start, 0.0], "DOP853", dense_output=True, events=still, rtol=1e-10, atol=1e-9)
    time = np.linspace(0, float(solved.t[-1]), 4000)
    speed, angle = solved.sol(time)
    braking = motor.drag_torque(speed) + windage(speed)
    none = np.zeros(time.size)
    return Motion(time, speed, angle, -braking / inertia, none, none, none, none, -motor.drag_torque(speed))


@dataclass(frozen=True, slots=True)
class SpinPlan:
    """How a motion is logged.

    Parameters
    ----------
    interval : float
        Between rows [s].
    lead : float
        Before the command [s].
    pulses : bool
        One row a turn, at the time of the mark, instead of a row an interval.
    speed_noise : float
        Standard scatter of a logged speed [rad/s].
    jitter : float
        Standard scatter of a mark [rad].
    """

    interval: float = 0.01
    lead: float = 0.5
    pulses: bool = False
    speed_noise: float = 30 * math.pi / 30
    jitter: float = math.radians(0.3)


def flywheel_run(
    bench: Bench,
    sample: str,
    occasion: Occasion,
    *,
    flywheel: str,
    layout: Mapping[str, Mapping[str, Any]] | None = None,
    plan: SpinPlan | None = None,
    style: Style | None = None,
    faults: tuple[Fault, ...] = (),
    density: float = 1.2,
    temperature: float = 22.0,
    motion: Motion | None = None,
) -> Recording:
    """Return the log of a spin-up; `spin_up` with the same arguments is the truth behind it, or a motion known from it."""
    plan = plan or SpinPlan()
    motion = motion or spin_up(
        bench.motor(sample), bench.drive, bench.supply, bench.flywheels[flywheel],
        density=density, temperature=temperature,
    )  # fmt: skip
    layout = layout or (PULSE_LAYOUT if plan.pulses else SPEED_LAYOUT)
    return _log(bench, sample, occasion, motion, layout, plan, style, faults)


def coast_down_run(
    bench: Bench,
    sample: str,
    occasion: Occasion,
    *,
    flywheel: str | None,
    start: float,
    layout: Mapping[str, Mapping[str, Any]] | None = None,
    plan: SpinPlan | None = None,
    style: Style | None = None,
    faults: tuple[Fault, ...] = (),
    density: float = 1.2,
) -> Recording:
    """Return the log of a coast-down with open windings, from just after the drive let go [``start`` in rad/s]."""
    plan = plan or SpinPlan(lead=0.0, speed_noise=5 * math.pi / 30)
    disc = bench.flywheels[flywheel] if flywheel else None
    motion = coast_down(bench.motor(sample), disc, start=start, density=density)
    layout = layout or (COAST_PULSE_LAYOUT if plan.pulses else COAST_LAYOUT)
    return _log(bench, sample, occasion, motion, layout, plan, style, faults)


def _log(
    bench: Bench,
    sample: str,
    occasion: Occasion,
    motion: Motion,
    layout: Mapping[str, Mapping[str, Any]],
    plan: SpinPlan,
    style: Style | None,
    faults: tuple[Fault, ...],
) -> Recording:
    rng = bench.rig.stream("spin", occasion.run)
    times = _marks(motion, plan, rng) if plan.pulses else _rows(motion, plan, rng)
    clock = times + plan.lead if plan.pulses else times - times[0]
    shown = {"time": clock, "throttle": (times >= 0).astype(float), "once_per_turn": np.ones(times.size)}
    for channel, entry in layout.items():
        if channel in shown:
            continue
        instrument = bench.rig.instrument(entry["instrument"])
        true = _behind(motion, channel, times, instrument) + _restless(channel, motion, times, plan, rng)
        shown[channel] = instrument.indicate(true, occasion, rng)
    return record(shown, layout, style or Style(), pole_pairs=bench.motor(sample).pole_pairs, faults=faults)


def _rows(motion: Motion, plan: SpinPlan, rng: np.random.Generator) -> Floats:
    """Times of sampled rows since the command; the command falls somewhere between two rows."""
    # A logger's clock counts: the stamps are exact, the command is not on one of them.
    before = plan.lead + rng.uniform(0, plan.interval) if plan.lead else 0.0
    return np.arange(0, motion.time[-1] + before, plan.interval) - before


def _marks(motion: Motion, plan: SpinPlan, rng: np.random.Generator) -> Floats:
    """Times at which the mark passes since the command, with jitter."""
    turning = motion.speed > 0
    angle, time = motion.angle[turning], motion.time[turning]
    turns = np.arange(math.ceil(angle[0] / (2 * math.pi)) + 1, math.floor(angle[-1] / (2 * math.pi)))
    # The slope of time over angle is steep at rest, so the first turn is left out.
    inverse = CubicHermiteSpline(angle, time, 1 / motion.speed[turning])
    exact = inverse(2 * math.pi * turns)
    return exact + plan.jitter / motion.speed_at(exact) * rng.standard_normal(turns.size)


def _behind(motion: Motion, channel: str, times: Floats, instrument: Instrument) -> Floats:
    """A true channel as the instrument's lag leaves it, worked out on a fine grid."""
    fine = 2.5e-4
    grid = np.arange(times[0] - 0.05, times[-1] + fine, fine)
    values = motion.speed_at(grid) if channel == "speed" else _electrical(motion, channel, grid)
    return np.interp(times, grid, lagged(values, fine, instrument.lag))


def _electrical(motion: Motion, channel: str, times: Floats) -> Floats:
    """Supply volts or amperes; before the command the supply is at rest."""
    values = motion.at(channel, times)
    rest = 0.0 if channel == "current" else motion.voltage[0]
    return np.where(times < 0, rest, values)


def _restless(channel: str, motion: Motion, times: Floats, plan: SpinPlan, rng: np.random.Generator) -> Floats:
    """Noise of one channel: white speed while it turns, ripple of the current, hum on the volts."""
    white = rng.standard_normal(times.size)
    if channel == "speed":
        return plan.speed_noise * white * (motion.speed_at(times) > 0)
    if channel == "current":
        return 4e-3 * _electrical(motion, "current", times) * white
    return 4e-3 * white
