"""Referring a sweep to other air, by the law that fits what is held constant.

The exponents say how a root moves with density when electrical power, speed or throttle is held. Momentum theory gives
thrust one third at constant shaft power; motor and propeller models give 0.29 to 0.33 at constant electrical power. At
constant speed electrical power follows density less than shaft power does where the motor's own drag is a large part of
it. The half-widths cover these ranges and are a source of error of their own.

At constant throttle and supply the speed gives way, the more the motor is loaded. A motor whose drive hands it the mean
voltage ``d U`` turns at ``w`` where ``(d U - K w) K / R`` meets a load that goes with ``rho w^2``; from its derivative

    d ln w / d ln rho = -x / (1 + 2 x),    x = I_w R / (K w) = I R / (d K w),

with the winding current ``I_w = I / d``. ``R K^-2`` hardly differs between motors of one kind, however they are wound
(``R Kv^2``, practitioner's judgement), so a sweep tells ``x`` from its own current, voltage, speed and throttle. The
supply's sag, seen in the same log as the fall of voltage with current, acts as ``d^2`` times its resistance in series.
Supply current follows the torque of the shaft and of the motor's own drag, of which only the first follows the air.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]


RESISTANCE_KV2: Final = 2.5e5 * (math.pi / 30) ** 2
"""Resistance of winding and drive times Kv squared, ohm (rad/s/V)^2.

In ohm (rpm/V)^2 motors of this class have 1.4e5 to 3.0e5 at 20 degC (practitioner's judgement); a winding at work is
some 40 K warmer, which is a sixth more.
"""

LOAD_HALF_WIDTH: Final = 0.45
"""How far the load ratio of a motor may lie from the one so told, relative: the range of R Kv^2, and commands that are
not the drive's duty."""

DRAG_SHARE: Final = 0.045
"""Drag torque over shaft torque at the highest speed of a sweep (computed with assumed motors)."""

DRAG_HALF_WIDTH: Final = 0.6
"""How far that share may lie from the truth, relative."""

DRAG_FALL: Final = 1.5
"""Drag goes about with the root of speed, the propeller's torque with its square: the share falls with this power."""

LARGEST_LOAD: Final = 0.5
"""A load ratio beyond this is no motor's at work; commands are no measure of the duty there."""


@dataclass(frozen=True, slots=True)
class Exponent:
    """How a root follows (reference density / density).

    Parameters
    ----------
    value : FloatArray
        Best estimate, at every plateau or for all of them, shape (n,) or (1,).
    half_width : FloatArray
        How far the truth may lie from it, rectangular; of the same shape.
    known_by : str
        Names the uncertainty; roots that share it move together.
    """

    value: FloatArray
    half_width: FloatArray
    known_by: str = ""

    @classmethod
    def fixed(cls, value: float, half_width: float = 0.0, known_by: str = "") -> Exponent:
        """Return an exponent that is the same at every plateau."""
        return cls(np.array([value]), np.array([half_width]), known_by)


@dataclass(frozen=True, slots=True)
class Law:
    """Exponents of each root while something is held constant."""

    held: str
    exponents: Mapping[str, Exponent]


def _law(held: str, speed: Exponent, current: Exponent, power: Exponent | None = None) -> Law:
    """Return a law from the exponent of speed: thrust and torque go with density times speed squared."""
    load = Exponent(1 + 2 * speed.value, 2 * speed.half_width, speed.known_by)
    return Law(
        held,
        {"thrust": load, "torque": load, "speed": speed, "current": current, "electrical_power": power or current},
    )


LAWS: Final[Mapping[str, Law]] = MappingProxyType(
    {
        law.held: law
        for law in (
            _law("electrical_power", Exponent.fixed(-0.34, 0.017, "speed"), Exponent.fixed(0.0)),
            _law("speed", Exponent.fixed(0.0), Exponent.fixed(0.95, 0.13, "supply")),
            _law("throttle", Exponent.fixed(-0.08, 0.06, "speed"), Exponent.fixed(0.76, 0.08, "supply")),
        )
    }
)
"""Laws by what is held constant; that of throttle stands where a sweep has no speed to tell its load from."""

HELD_ON_AXIS: Final = MappingProxyType(
    {
        "electrical_power": "electrical_power",
        "thrust": "electrical_power",
        "speed": "speed",
        "throttle": "throttle",
    }
)
"""What is held while the curve is shifted, before it is read along an axis."""


def throttle_law(throttle: FloatArray, roots: Mapping[str, FloatArray]) -> Law:
    """Return the law at constant throttle and supply for a sweep's plateaus.

    Parameters
    ----------
    throttle : FloatArray
        Commands, ratio, shape (n,); taken for the drive's duty.
    roots : Mapping of str to FloatArray
        Logarithms of current (A), electrical power (W) and, where logged, speed (rad/s), shape (n,).
    """
    if "speed" not in roots:
        return LAWS["throttle"]
    sag = supply_resistance(roots)
    load = load_ratio(throttle, roots, sag)
    slope = 1 / (1 + 2 * load) ** 2
    speed = Exponent(-load / (1 + 2 * load), LOAD_HALF_WIDTH * load * slope, "speed")
    drag = DRAG_SHARE * np.exp(DRAG_FALL * (roots["speed"].max() - roots["speed"]))
    torque = 1 + 2 * speed.value
    current = torque / (1 + drag)
    half_width = np.hypot(2 * speed.half_width, DRAG_HALF_WIDTH * torque * drag / (1 + drag)) / (1 + drag)
    kept = 1 - sag * np.exp(2 * roots["current"] - roots["electrical_power"])
    return _law(
        "throttle",
        speed,
        Exponent(current, half_width, "supply"),
        Exponent(current * kept, half_width * kept, "supply"),
    )


def supply_resistance(roots: Mapping[str, FloatArray]) -> float:
    """Return how far the supply sags per ampere over a sweep, ohm; 0 where it does not."""
    current = np.exp(roots["current"])
    volts = np.exp(roots["electrical_power"] - roots["current"])
    apart = current - current.mean()
    square = float(apart @ apart)
    return max(-float(apart @ volts) / square, 0.0) if square else 0.0


def load_ratio(throttle: FloatArray, roots: Mapping[str, FloatArray], sag: float) -> FloatArray:
    """Return the voltage drop of winding and supply over the back-emf at every plateau, shape (n,).

    The volts per speed ``K`` come from the highest command, where the duty is surest: ``d U = K w + I_w g K^2`` with
    ``g = R / K^2``. ``sag`` is the supply's resistance, ohm.
    """
    speed, winding = np.exp(roots["speed"]), np.exp(roots["current"]) / throttle
    applied = np.exp(roots["electrical_power"] - roots["current"]) * throttle
    top = int(np.argmax(throttle))
    drop = RESISTANCE_KV2 * winding[top]
    constant = 2 * applied[top] / (speed[top] + np.sqrt(speed[top] ** 2 + 4 * drop * applied[top]))
    resistance = RESISTANCE_KV2 * constant**2 + throttle**2 * sag
    load: FloatArray = np.minimum(winding * resistance / (constant * speed), LARGEST_LOAD)
    return load


def exponent_part(law: Law, root: str, trials: Trials) -> Part | None:
    """Return the source of a root's uncertain exponent; None where it is exact.

    The law is the method's own: its draw is the same for every campaign of a laboratory.
    """
    exponent = law.exponents[root]
    if not exponent.half_width.any():
        return None
    identity = ("method", "air reference", law.held, exponent.known_by)
    held = law.held.replace("_", " ")
    source = Source(identity, f"reference air, law at constant {held} ({exponent.known_by})", RECTANGULAR)
    return Part(source, trials.draw(source))
