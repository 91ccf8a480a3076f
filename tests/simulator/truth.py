"""True figures, from the physics alone: what an error-free bench would publish."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulator.physics import operate_at

if TYPE_CHECKING:
    from simulator.campaigns import Bench

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
