"""Heat soaks: a motor held at a constant load until it is as warm as it gets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.integrate import solve_ivp

from simulator.loggers import Fault, Recording, Style, record
from simulator.physics import COPPER_ZERO, Motor, operate_at, terminals

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from simulator.campaigns import Bench
    from simulator.instruments import Occasion
    from simulator.physics import Setup

    Floats = NDArray[np.float64]

LAYOUT = {
    "time": {"column": "t_s", "unit": "s"},
    "throttle": {"column": "throttle", "unit": "%"},
    "voltage": {"column": "volts", "unit": "V", "instrument": "supply_volts"},
    "current": {"column": "amps", "unit": "A", "instrument": "supply_amps"},
    "speed": {"column": "erpm", "unit": "rpm", "instrument": "tachometer", "divide_by": "pole_pairs"},
    "winding_temperature": {"column": "winding_C", "unit": "degC", "instrument": "thermometer"},
    "air_temperature": {"column": "air_C", "unit": "degC", "instrument": "thermometer"},
}
"""A layout for heat soaks."""


@dataclass(frozen=True, slots=True)
class SoakPlan:
    """How a soak is run.

    Parameters
    ----------
    power : float
        Electrical power of the cold motor that sets the speed; the speed is then held [W].
    duration : float
        With the load on [s].
    cooling : float
        Afterwards, with the drive off but the air still moved [s].
    rest : float
        Before, at air temperature [s].
    interval : float
        Between rows [s].
    temperature_noise : float
        Standard scatter of the winding thermocouple [K].
    """

    power: float = 150.0
    duration: float = 720.0
    cooling: float = 0.0
    rest: float = 5.0
    interval: float = 0.5
    temperature_noise: float = 0.2


@dataclass(frozen=True, slots=True)
class Soak:
    """Losses and temperatures of a soak at given times, shape (n,): W and degC."""

    loss: Floats
    winding_temperature: Floats


def held(setup: Setup, power: float) -> tuple[float, float, float]:
    """Return speed [rad/s], winding current [A] and drag power [W] of a load held at constant speed."""
    state = operate_at(setup, "electrical_power", power)
    speed = float(state.speed[0])
    return speed, float(state.winding_current[0]), float(setup.motor.drag_torque(speed)) * speed


def warming(motor: Motor, amperes: float, drag_power: float, ambient: float, plan: SoakPlan, times: Floats) -> Soak:
    """Return the warming of a winding by two nodes in series, copper resistance rising on the way.

    Parameters
    ----------
    motor : Motor
        Its ``soak`` gives both nodes.
    amperes, drag_power : float
        Held winding current [A] and drag losses [W].
    ambient : float
        Air [degC].
    plan : SoakPlan
        Rest, load, cooling.
    times : ndarray, shape (n,)
        From the start of the log [s].
    """
    r1, t1, r2, t2 = motor.soak
    off = plan.rest + plan.duration

    def loss(rise: Floats, on: Floats) -> Floats:
        copper = amperes**2 * motor.resistance * (COPPER_ZERO + ambient + rise) / (COPPER_ZERO + 20)
        return (copper + drag_power) * on

    def solved(start: float, stop: float, state: Floats, on: float) -> Any:
        def rates(_: float, x: Floats) -> list[float]:
            watts = loss(x[0] + x[1], on)
            return [(r1 * watts - x[0]) / t1, (r2 * watts - x[1]) / t2]

        return solve_ivp(rates, (start, stop), state, "DOP853", dense_output=True, rtol=1e-9, atol=1e-9).sol

    warm = solved(plan.rest, off, np.zeros(2), 1.0)
    cool = solved(off, off + max(plan.cooling, 1.0), warm(off), 0.0)
    on = (times >= plan.rest) & (times < off)
    rise = np.where(
        times < plan.rest,
        0.0,
        np.where(on, warm(np.clip(times, plan.rest, off)).sum(0), cool(np.maximum(times, off)).sum(0)),
    )
    return Soak(loss(rise, on.astype(float)), ambient + rise)


def heat_soak(
    bench: Bench,
    sample: str,
    occasion: Occasion,
    *,
    propeller: str,
    layout: Mapping[str, Mapping[str, Any]] | None = None,
    plan: SoakPlan | None = None,
    style: Style | None = None,
    faults: tuple[Fault, ...] = (),
    density: float = 1.2,
    ambient: float = 22.0,
) -> Recording:
    """Return the log of a soak: speed held by the drive, so the winding current stays and the volts creep up."""
    plan, layout = plan or SoakPlan(), layout or LAYOUT
    rng = bench.rig.stream("soak", occasion.run)
    motor, drive = bench.motor(sample), bench.drive
    speed, amperes, drag_power = held(bench.setup(sample, propeller, density, ambient), plan.power)
    time = np.arange(0, plan.rest + plan.duration + plan.cooling, plan.interval)
    soak = warming(motor, amperes, drag_power, ambient, plan, time)
    on = ((time >= plan.rest) & (time < plan.rest + plan.duration)).astype(float)
    constant = motor.no_load_constant(drive) * (1 - motor.saturation * amperes)
    volts = constant * speed + amperes * (motor.resistance_at(soak.winding_temperature) + 2 * drive.on_resistance)
    terminal, current = terminals(bench.supply, drive, volts, np.full(time.size, amperes))
    true = {
        "throttle": volts / terminal * on,
        "voltage": np.where(on > 0, terminal, bench.supply.volts),
        "current": current * on,
        "speed": speed * on,
        "winding_temperature": soak.winding_temperature,
        "air_temperature": np.full(time.size, ambient),
    }
    noise = {
        "voltage": 4e-3,
        "current": 6e-3 * true["current"],
        "speed": 1e-3 * true["speed"],
        "winding_temperature": plan.temperature_noise,
        "air_temperature": 0.1,
    }
    shown = {"time": time, "throttle": true["throttle"]}
    for channel, entry in layout.items():
        if channel not in shown:
            rough = true[channel] + noise[channel] * rng.standard_normal(time.size)
            shown[channel] = bench.rig.instrument(entry["instrument"]).indicate(rough, occasion, rng)
    return record(shown, layout, style or Style(), pole_pairs=motor.pole_pairs, faults=faults)
