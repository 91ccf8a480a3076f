"""Throttle steps to and fro with a propeller, logged."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.campaigns import WAKE_LAG, Bench
from simulator.instruments import Occasion, lagged
from simulator.loggers import Fault, Recording, Style, record
from simulator.physics import operate_at, winding_current
from simulator.spins import SPEED_LAYOUT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from simulator.physics import Motor, Setup, State

    Floats = NDArray[np.float64]

LAYOUT = SPEED_LAYOUT
"""A layout for throttle steps."""


@dataclass(frozen=True, slots=True)
class StepPlan:
    """Steps to and fro: throttle levels, how often, seconds at each, seconds between rows, scatter of the speed."""

    low: float = 0.3
    high: float = 0.7
    repeats: int = 5
    dwell: float = 1.0
    interval: float = 0.01
    speed_noise: float = 30 * math.pi / 30


def throttle_step(
    bench: Bench,
    sample: str,
    occasion: Occasion,
    *,
    propeller: str,
    layout: Mapping[str, Mapping[str, Any]] | None = None,
    plan: StepPlan | None = None,
    style: Style | None = None,
    faults: tuple[Fault, ...] = (),
    density: float = 1.2,
) -> Recording:
    """Return the log of throttle steps; the speed follows by a dead time and one time constant each way."""
    plan, layout = plan or StepPlan(), layout or LAYOUT
    rng = bench.rig.stream("steps", occasion.run)
    setup = bench.setup(sample, propeller, density)
    start = _commands(plan, rng)
    fine = plan.interval / max(4, round(plan.interval / 5e-4))
    grid = np.arange(0, start.size * plan.dwell, fine)
    true = _true_steps(setup, plan, start, grid)
    kept = np.arange(0, grid.size, round(plan.interval / fine))
    noise = {"speed": plan.speed_noise, "current": 6e-3 * true["current"][kept], "thrust": 0.02, "voltage": 4e-3}
    shown = {"time": grid[kept], "throttle": true["throttle"][kept]}
    for channel, entry in layout.items():
        if channel not in shown:
            instrument = bench.rig.instrument(entry["instrument"])
            values = lagged(true[channel], fine, instrument.lag)[kept]
            values = values + noise[channel] * rng.standard_normal(kept.size)
            shown[channel] = instrument.indicate(values, occasion, rng)
    return record(shown, layout, style or Style(), pole_pairs=setup.motor.pole_pairs, faults=faults)


def _commands(plan: StepPlan, rng: np.random.Generator) -> Floats:
    """Times of the commands, the first before the log; each falls between two rows at a phase of its own."""
    count = 2 * plan.repeats + 1
    return plan.dwell * np.arange(count) + plan.interval * np.concatenate([[-1], rng.uniform(0, 1, count - 1)])


def _true_steps(setup: Setup, plan: StepPlan, start: Floats, grid: Floats) -> dict[str, Floats]:
    """True channels on a fine grid of times."""
    states = operate_at(setup, "throttle", [plan.low, plan.high])
    high = np.arange(start.size) % 2
    segment = np.searchsorted(start, grid, side="right") - 1
    lag = np.array(setup.motor.response)[1 - high]
    speed, rate = _followed(states.speed[high], start + setup.drive.dead_time, lag, grid)
    return _loaded(setup, states, high[segment], speed, rate) | {
        "throttle": np.array([plan.low, plan.high])[high[segment]],
        "thrust": _wake(states, high[segment], speed, float(grid[1])),
    }


def _loaded(setup: Setup, states: State, now: NDArray[np.intp], speed: Floats, rate: Floats) -> dict[str, Floats]:
    """Speed with the amperes and volts that move it; ``now`` is the state that the command asks for."""
    motor: Motor = setup.motor
    load = states.torque[now] * (speed / states.speed[now]) ** 2 + motor.drag_torque(speed)
    torque = np.maximum(load + (motor.rotor_inertia + setup.propeller.inertia) * rate, 0)
    amperes = winding_current(torque, motor.no_load_constant(setup.drive), motor.saturation)
    current = states.current[now] * amperes / states.winding_current[now]
    volts = setup.supply.volts - setup.supply.resistance * current
    return {"speed": speed, "current": current, "voltage": volts}


def _wake(states: State, now: NDArray[np.intp], speed: Floats, interval: float) -> Floats:
    return lagged(states.thrust[now] * (speed / states.speed[now]) ** 2, interval, WAKE_LAG)


def _followed(target: Floats, start: Floats, lag: Floats, times: Floats) -> tuple[Floats, Floats]:
    """Speed and its rate: each target approached by its own time constant from where the last left off."""
    reached, at = [float(target[0])], [float(target[0])]
    for k in range(1, target.size):
        at.append(reached[-1])
        passed = (start[k + 1] if k + 1 < target.size else np.inf) - start[k]
        reached.append(float(target[k] + (at[k] - target[k]) * np.exp(-passed / lag[k])))
    segment = np.maximum(np.searchsorted(start, times, side="right") - 1, 0)
    gap = (np.array(at) - target)[segment] * np.exp(-np.maximum(times - start[segment], 0) / lag[segment])
    return target[segment] + gap, -gap / lag[segment]
