"""Where the watts go: the loss budget of a motor with its drive, and what other constants would have changed.

``P_el = P_shaft + I^2 R(t) + T_0(w) w + 2 R_on I^2 + residual``. The winding current is the current that makes the
air-gap torque, ``I = (T + T_0) / kt``, and not the current drawn from the supply: at half duty the supply gives half of
it, and copper loss from the supply's current would be four times too small. With the torque constant of the contract
(speed per volt behind the resistive drop) ``I^2 R`` between two phases holds for block and for sinusoidal currents
alike.

All arrays here have a last axis of ``1 + trials`` entries: the best estimate first, then the trials. One and the same
formula then gives a figure and what it might have been, and no correlation is lost on the way.

Sources: segregation of losses after IEC 60034-2-1 [from memory]; first-order model of the permanent-magnet machine,
textbook knowledge [from memory]; copper's resistance, (234.5 + t) / 254.5 of that at 20 degC, IEC 60228 [from memory].
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.trials.quantity import Part, Quantity, coverage_interval, merge_parts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

COPPER_ZERO: Final = 234.5
"""Temperature below zero at which copper's resistance line meets zero, degC."""

STANDARD: Final = 20.0
"""Temperature that resistances are stated at, degC."""

TERMS: Final = ("shaft_power", "copper", "drag", "drive", "residual")
"""What electrical power is made up of, in the order of tables."""

_STEADIEST: Final = 0.9
"""Share of thermal runaway beyond which a warming winding is not followed any further."""


@dataclass(frozen=True, slots=True, eq=False)
class Loaded:
    """Steady states of one sample under load, as tested.

    Parameters
    ----------
    electrical_power, torque, speed : array, shape (k, 1 + trials)
        W, N m, rad/s.
    parts : tuple of tuple of Part
        Sources of each state.
    """

    electrical_power: FloatArray
    torque: FloatArray
    speed: FloatArray
    parts: tuple[tuple[Part, ...], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Machine:
    """What is known of the motor and its drive.

    Parameters
    ----------
    resistance : array, shape (1 + trials,)
        Phase to phase at 20 degC, ohm.
    kt : array, shape (1 + trials,)
        Torque per ampere of winding current near no load, N m/A.
    saturation : array, shape (1 + trials,)
        Fall of ``kt`` per ampere, 1/A.
    drag : array, shape (k, 1 + trials)
        Drag torque at the speed of each state, N m.
    ambient : array, shape (1 + trials,)
        Temperature of the air, degC.
    heating : array, shape (1 + trials,)
        Rise of the winding per watt of copper and drag loss, K/W.
    on_resistance : float
        Of one switch of the drive, two of which are in the path, ohm; 0 where not stated.
    parts : tuple of Part
        Sources of all of it.
    """

    resistance: FloatArray
    kt: FloatArray
    saturation: FloatArray
    drag: FloatArray
    ambient: FloatArray
    heating: FloatArray
    on_resistance: float
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True, eq=False)
class LossBudget:
    """The loss budget of one sample at some states.

    Parameters
    ----------
    sample : str
        The sample.
    states : Loaded
        What was measured.
    machine : Machine
        What is known.
    current : array, shape (k, 1 + trials)
        Winding current, A.
    temperature : array, shape (k, 1 + trials)
        Of the winding, degC.
    terms : dict of str to array, shape (k, 1 + trials)
        Each of `TERMS`, W.
    """

    sample: str
    states: Loaded
    machine: Machine
    current: FloatArray
    temperature: FloatArray
    terms: dict[str, FloatArray] = field(repr=False)

    @property
    def efficiency(self) -> FloatArray:
        """Shaft power over electrical power, shape (k, 1 + trials)."""
        return np.asarray(self.terms["shaft_power"] / self.states.electrical_power)

    def quantity(self, values: FloatArray, place: int) -> Quantity:
        """Return one row of an array of this budget as a quantity with its sources."""
        parts = merge_parts((self.states.parts[place], self.machine.parts))
        return Quantity(float(values[place, 0]), values[place, 1:], parts)

    def interval(self, values: FloatArray, coverage: float) -> tuple[FloatArray, FloatArray]:
        """Return both ends of the coverage interval of every row, shape (k,)."""
        return coverage_interval(values[:, 1:], coverage)


def winding_current(torque: FloatArray, kt: FloatArray, saturation: FloatArray) -> FloatArray:
    """Return the current that makes an air-gap torque, A: ``torque = kt (1 - s I) I`` solved for ``I``.

    Parameters
    ----------
    torque : array
        Shaft torque and drag together, N m.
    kt : array
        Near no load, N m/A.
    saturation : array
        ``s``, 1/A; 0 gives ``torque / kt``.
    """
    room = np.maximum(1 - 4 * saturation * torque / kt, 0.0)
    return np.asarray(2 * torque / kt / (1 + np.sqrt(room)))


def saturation_of(torque: FloatArray, current: FloatArray, kt: FloatArray) -> FloatArray:
    """Return the fall of the torque constant per ampere, 1/A, from one state at full duty.

    At full duty the drive chops nothing, so the supply's current is the winding's.

    Parameters
    ----------
    torque, current : array
        Air-gap torque (N m) and supply current (A) there.
    kt : array
        Near no load, N m/A.
    """
    return np.asarray((1 - torque / (kt * current)) / current)


def heating_from(
    temperature: FloatArray, machine: Machine, torque: FloatArray, drag: FloatArray, speed: FloatArray
) -> FloatArray:
    """Return the rise of the winding per watt, K/W, shape (1 + trials,), from its temperature (degC) in one state.

    Parameters
    ----------
    temperature : array, shape (1 + trials,)
        Of the winding, degC.
    machine : Machine
        What is known besides.
    torque, drag, speed : array, shape (1 + trials,)
        Of the state: shaft torque and drag (N m), speed (rad/s).
    """
    current = winding_current(torque + drag, machine.kt, machine.saturation)
    copper = current**2 * machine.resistance * warmed(temperature)
    return np.asarray((temperature - machine.ambient) / (copper + drag * speed))


def loss_budget(sample: str, states: Loaded, machine: Machine) -> LossBudget:
    """Split the electrical power of some states into what leaves the shaft and what is lost where.

    Parameters
    ----------
    sample : str
        The sample.
    states : Loaded
        What was measured.
    machine : Machine
        What is known.

    Returns
    -------
    LossBudget
        ``residual`` is what no term explains: switching of the drive, stray losses, and errors.
    """
    current = winding_current(states.torque + machine.drag, machine.kt, machine.saturation)
    drag = machine.drag * states.speed
    copper, temperature = copper_loss(current, drag, machine)
    drive = 2 * machine.on_resistance * current**2
    shaft = states.torque * states.speed
    residual = states.electrical_power - shaft - copper - drag - drive
    terms = dict(zip(TERMS, (shaft, copper, drag, drive, residual), strict=True))
    return LossBudget(sample, states, machine, current, temperature, terms)


def copper_loss(current: FloatArray, drag: FloatArray, machine: Machine) -> tuple[FloatArray, FloatArray]:
    """Return copper loss (W) and winding temperature (degC) where losses and the resistance they warm agree.

    ``t = t_air + h (P_drag + I^2 R(t))`` is linear in ``t``.
    """
    cold = current**2 * machine.resistance
    per_degree = np.minimum(machine.heating * cold / (COPPER_ZERO + STANDARD), _STEADIEST)
    temperature = (machine.ambient + machine.heating * drag + per_degree * COPPER_ZERO) / (1 - per_degree)
    return cold * warmed(temperature), temperature


def warmed(temperature: FloatArray) -> FloatArray:
    """Return copper's resistance at a temperature (degC) over that at 20 degC."""
    return np.asarray((COPPER_ZERO + temperature) / (COPPER_ZERO + STANDARD))


def residual_remarks(budget: LossBudget, coverage: float, where: str) -> tuple[Remark, ...]:
    """Remark on a residual that is significantly negative: more comes out than goes in.

    Parameters
    ----------
    budget : LossBudget
        The budget.
    coverage : float
        Of the interval that must reach zero.
    where : str
        The sample or run it concerns.
    """
    _, high = budget.interval(budget.terms["residual"], coverage)
    below = np.flatnonzero(high < 0)
    if not below.size:
        return ()
    worst = int(below[np.argmin(budget.terms["residual"][below, 0])])
    power, missing = budget.states.electrical_power[worst, 0], budget.terms["residual"][worst, 0]
    sentence = (
        f"shaft power and known losses exceed the electrical power by {-missing:.1f} W at {power:.0f} W, more than the "
        "stated errors allow; look at the torque cell's gain, arm and cross-talk, at the power reading, the pole "
        "pairs, and at the resistance and drag of this sample"
    )
    return (Remark("losses_exceed_power", where, sentence),)
