"""Readings typed by hand: winding resistance, back-emf, runs without load, and what a balance says of small parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simulator.physics import turning_free

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from simulator.campaigns import Bench
    from simulator.instruments import Occasion

    Floats = NDArray[np.float64]

PER_PEAK = {"peak": 1.0, "rms": 2**-0.5, "rectified_mean": 3 / np.pi}
"""What a voltmeter makes of a sine's peak, line to line."""


@dataclass(frozen=True, slots=True)
class Pairs:
    """Resistances of the three pairs as read [ohm], and the winding temperature as read [degC]."""

    ab: float
    bc: float
    ca: float
    winding_temperature: float


@dataclass(frozen=True, slots=True)
class Points:
    """Points as read, SI, shape (n,); the current of a back-emf point is zero."""

    speed: Floats
    voltage: Floats
    current: Floats
    winding_temperature: float


def winding_resistance(
    bench: Bench, sample: str, occasion: Occasion, *, temperature: float = 22.0, leads: float = 0.0
) -> Pairs:
    """Return the readings of the rig's resistance meter between the three pairs.

    Parameters
    ----------
    bench, sample, occasion
        Who, when.
    temperature : float
        True temperature of the winding [degC].
    leads : float
        Resistance of the leads that each reading contains [ohm].
    """
    motor = bench.motor(sample)
    rng = bench.rig.stream("resistance", occasion.run, sample)
    true = motor.resistance_at(temperature) * (1 + np.array(motor.pair_skew)) + leads
    shown = bench.rig.that_measures("resistance").indicate(true, occasion, rng)
    return Pairs(*shown.tolist(), _temperature(bench, temperature, occasion, rng))


def back_emf(
    bench: Bench,
    sample: str,
    occasion: Occasion,
    *,
    speeds: ArrayLike,
    waveform: str = "peak",
    temperature: float = 22.0,
    unsteady: float = 5e-4,
) -> Points:
    """Return the line-to-line voltages of the motor, driven from outside.

    Parameters
    ----------
    speeds : array_like, shape (n,)
        True speeds [rad/s].
    waveform : str
        What the voltmeter shows: ``peak``, ``rms`` or ``rectified_mean``.
    temperature : float
        Of the motor [degC].
    unsteady : float
        Relative scatter of the voltage from one point to the next.
    """
    rng = bench.rig.stream("back-emf", occasion.run, sample)
    w = np.asarray(speeds, float)
    volts = bench.motor(sample).ke_peak * w * PER_PEAK[waveform] * (1 + unsteady * rng.standard_normal(w.size))
    return Points(
        bench.rig.that_measures("speed").indicate(w, occasion, rng),
        bench.rig.that_measures("voltage").indicate(volts, occasion, rng),
        np.zeros(w.size),
        _temperature(bench, temperature, occasion, rng),
    )


def no_load(
    bench: Bench,
    sample: str,
    occasion: Occasion,
    *,
    volts: ArrayLike,
    temperature: float = 25.0,
    unsteady_speed: float = 2e-4,
    unsteady_current: float = 4e-3,
) -> Points:
    """Return supply voltage, current and speed at full duty without load.

    Parameters
    ----------
    volts : array_like, shape (n,)
        True voltages at the drive's terminals [V].
    temperature : float
        True temperature of the winding [degC].
    unsteady_speed, unsteady_current : float
        Relative scatter from one point to the next.
    """
    rng = bench.rig.stream("no-load", occasion.run, sample)
    supply = np.asarray(volts, float)
    speed, current = turning_free(bench.motor(sample), bench.drive, supply, temperature)
    speed = speed * (1 + unsteady_speed * rng.standard_normal(supply.size))
    current = current * (1 + unsteady_current * rng.standard_normal(supply.size))
    return Points(
        bench.rig.that_measures("speed").indicate(speed, occasion, rng),
        bench.rig.that_measures("voltage").indicate(supply, occasion, rng),
        bench.rig.that_measures("current").indicate(current, occasion, rng),
        _temperature(bench, temperature, occasion, rng),
    )


def _temperature(bench: Bench, true: float, occasion: Occasion, rng: np.random.Generator) -> float:
    return float(bench.rig.that_measures("temperature").indicate(true, occasion, rng))
