"""What if: how far the efficiency would move if the motor's constants were others, the shaft's load held.

At a held shaft load a change of resistance by ``x`` moves the electrical power by ``x`` times the copper loss, so the
efficiency by some ``-eta x P_cu / P_el``: ten percent of resistance are one point at the most for a small motor.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from benchproof.findings.losses import copper_loss, warmed, winding_current
from benchproof.trials.quantity import combine

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.findings.losses import LossBudget
    from benchproof.trials.quantity import Quantity

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """A motor that differs in its constants, all else alike.

    Parameters
    ----------
    label : str
        Words for tables.
    resistance : float or array, shape (1 + trials,)
        Relative change of the resistance at 20 degC.
    drag, kv : float
        Relative change of the drag torque and of Kv.
    """

    label: str
    resistance: float | FloatArray = 0.0
    drag: float = 0.0
    kv: float = 0.0


def rewound(kv: float) -> Change:
    """Return a motor wound for another Kv in the same copper: its resistance goes with ``1 / Kv^2``."""
    way = "lower" if kv < 0 else "higher"
    return Change(f"Kv {100 * abs(kv):g} % {way}, rewound in the same copper", resistance=(1 + kv) ** -2 - 1, kv=kv)


def efficiency_change(budget: LossBudget, change: Change, *, warming: bool = True) -> FloatArray:
    """Return how far the efficiency would move at each state, the shaft's load held, shape (k, 1 + trials).

    Parameters
    ----------
    budget : LossBudget
        The motor as it is; its residual is kept as it is.
    change : Change
        The other motor.
    warming : bool
        Whether the winding settles at the temperature that its changed losses give. Less resistance warms less, which
        takes resistance away again: the loss at 100 K of rise moves 1.37 times as far. Without it the winding keeps
        its temperature.

    Returns
    -------
    array
        Differences of ratios: 0.01 is one percentage point.
    """
    machine = budget.machine
    other = replace(
        machine,
        resistance=machine.resistance * (1 + change.resistance),
        drag=machine.drag * (1 + change.drag),
        kt=machine.kt / (1 + change.kv),
        saturation=machine.saturation / (1 + change.kv),
    )
    current = winding_current(budget.states.torque + other.drag, other.kt, other.saturation)
    drag = other.drag * budget.states.speed
    if warming:
        copper, _ = copper_loss(current, drag, other)
    else:
        copper = current**2 * other.resistance * warmed(budget.temperature)
    terms = budget.terms
    power = terms["shaft_power"] + copper + drag + 2 * other.on_resistance * current**2 + terms["residual"]
    return np.asarray(terms["shaft_power"] / power - budget.efficiency)


def resistance_for(budget: LossBudget, gain: float) -> FloatArray:
    """Return the relative change of resistance that a gain of efficiency would need, shape (k, 1 + trials).

    The winding keeps its temperature. Below -1 no resistance at all would not be enough.

    Parameters
    ----------
    budget : LossBudget
        The motor as it is.
    gain : float
        Gain of efficiency, a difference of ratios.
    """
    needed = budget.terms["shaft_power"] / (budget.efficiency + gain) - budget.states.electrical_power
    return np.asarray(needed / budget.terms["copper"])


def copper_of_motor_constant(torque: FloatArray, km: FloatArray, temperature: FloatArray | float = 20.0) -> FloatArray:
    """Return the copper loss of an air-gap torque, W, whatever the winding: ``(T / Km)^2``, warmed.

    A motor rewound for another Kv keeps its Km, so this compares motors without their Kv.

    Parameters
    ----------
    torque : array
        N m.
    km : array
        ``kt / sqrt(R_20)``, N m/W**0.5.
    temperature : array or float
        Of the winding, degC.
    """
    return np.asarray((torque / km) ** 2 * warmed(np.asarray(temperature, dtype=np.float64)))


def copper_beside(km: Quantity, other: Quantity) -> Quantity:
    """Return how far the copper loss at equal torque and temperature differs from another motor's, relative.

    ``(Km_other / Km)^2 - 1``: a comparison in which Kv has no part.
    """
    return combine(lambda own, theirs: (theirs / own) ** 2 - 1, km, other)
