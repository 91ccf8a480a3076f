"""Vibration of a motor without propeller: acceleration of the stand with a mark once a turn, trial masses included."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.loggers import Fault, Recording, Style, record

if TYPE_CHECKING:
    from collections.abc import Mapping

    from simulator.campaigns import Bench
    from simulator.instruments import Occasion

LAYOUT = {
    "time": {"column": "t_us", "unit": "us"},
    "once_per_turn": {"column": "mark", "unit": "1"},
    "acceleration": {"column": "acc", "unit": "m/s**2", "instrument": "accelerometer"},
}
"""A layout for vibration logs."""


@dataclass(frozen=True, slots=True)
class TrialMass:
    """A small mass on the rotor: mass [kg], radius [m], angle from the mark with the rotation [rad]."""

    mass: float
    radius: float
    angle: float

    @property
    def unbalance(self) -> complex:
        """What it adds [kg m]."""
        return cmath.rect(self.mass * self.radius, self.angle)


@dataclass(frozen=True, slots=True)
class ShakePlan:
    """How a vibration log is made.

    Parameters
    ----------
    speed : float
        Held speed [rad/s].
    wander : float
        Slow relative change of the speed.
    duration, interval : float
        Length and time between rows [s].
    response : complex
        Acceleration of the stand per force at the turning frequency [1/kg].
    harmonics : mapping of float to float
        Order to amplitude of what else shakes [m/s**2].
    noise : float
        Standard scatter of a sample [m/s**2].
    """

    speed: float = 20000 * math.pi / 30
    wander: float = 3e-4
    duration: float = 2.0
    interval: float = 1e-4
    response: complex = cmath.rect(3.2, -0.6)
    harmonics: tuple[tuple[float, float], ...] = ((2.0, 0.08), (7.0, 0.05), (12.0, 0.06))
    noise: float = 0.08


def vibration(
    bench: Bench,
    sample: str,
    occasion: Occasion,
    *,
    trial: TrialMass | None = None,
    layout: Mapping[str, Mapping[str, Any]] | None = None,
    plan: ShakePlan | None = None,
    style: Style | None = None,
    faults: tuple[Fault, ...] = (),
) -> Recording:
    """Return a vibration log, with a trial mass on the rotor or without."""
    plan, layout = plan or ShakePlan(), layout or LAYOUT
    rng = bench.rig.stream("shaking", occasion.run)
    motor = bench.motor(sample)
    unbalance = motor.unbalance + (trial.unbalance if trial else 0)
    time = np.arange(0, plan.duration, plan.interval)
    swing = 2 * math.pi * 0.4
    angle = rng.uniform(0, 2 * math.pi) + plan.speed * (time + plan.wander / swing * (1 - np.cos(swing * time)))
    speed = plan.speed * (1 + plan.wander * np.sin(swing * time))
    acceleration = speed**2 * (plan.response * unbalance * np.exp(1j * angle)).real
    for order, amplitude in plan.harmonics:
        acceleration = acceleration + amplitude * np.cos(order * angle + rng.uniform(0, 2 * math.pi))
    turns = np.floor(angle / (2 * math.pi))
    shown = {
        "time": time,
        "once_per_turn": np.diff(turns, prepend=turns[0]),
        "acceleration": acceleration + plan.noise * rng.standard_normal(time.size),
    }
    meter = bench.rig.instrument(layout["acceleration"]["instrument"])
    shown["acceleration"] = meter.indicate(shown["acceleration"], occasion, rng)
    return record(shown, layout, style or Style(), pole_pairs=motor.pole_pairs, faults=faults)
