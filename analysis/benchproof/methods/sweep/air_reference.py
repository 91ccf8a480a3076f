"""Referring a sweep to other air, by the law that fits what is held constant.

The exponents say how a root moves with density when electrical power, speed or throttle is held. Momentum theory gives
thrust one third at constant shaft power; motor and propeller models give 0.29 to 0.33 at constant electrical power, and
0.70 to 0.91 at constant throttle and supply, less the more the motor is loaded (computed with assumed motors). At
constant speed electrical power follows density less than shaft power does where the motor's own drag is a large part of
it. The half-widths cover these ranges and are a source of error of their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Exponent:
    """How a root follows (reference density / density).

    Parameters
    ----------
    value : float
        Best estimate.
    half_width : float
        How far the truth may lie from it, rectangular.
    known_by : str
        Names the uncertainty; roots that share it move together.
    """

    value: float
    half_width: float = 0.0
    known_by: str = ""


@dataclass(frozen=True, slots=True)
class Law:
    """Exponents of each root while something is held constant."""

    held: str
    exponents: Mapping[str, Exponent]


def _law(held: str, speed: Exponent, supply: Exponent) -> Law:
    """Return a law from the exponent of speed: thrust and torque go with density times speed squared."""
    load = Exponent(1 + 2 * speed.value, 2 * speed.half_width, speed.known_by)
    return Law(
        held,
        {"thrust": load, "torque": load, "speed": speed, "current": supply, "electrical_power": supply},
    )


LAWS: Final[Mapping[str, Law]] = MappingProxyType(
    {
        law.held: law
        for law in (
            _law("electrical_power", Exponent(-0.34, 0.017, "speed"), Exponent(0.0)),
            _law("speed", Exponent(0.0), Exponent(0.95, 0.13, "supply")),
            _law("throttle", Exponent(-0.10, 0.06, "speed"), Exponent(0.77, 0.05, "supply")),
        )
    }
)
"""Laws by what is held constant."""

HELD_ON_AXIS: Final = MappingProxyType(
    {
        "electrical_power": "electrical_power",
        "thrust": "electrical_power",
        "speed": "speed",
        "throttle": "throttle",
    }
)
"""What is held while the curve is shifted, before it is read along an axis."""


def exponent_part(law: Law, root: str, trials: Trials) -> tuple[Part, float] | None:
    """Return the source of a root's uncertain exponent and its standard uncertainty; None where it is exact.

    The law is the method's own: its draw is the same for every campaign of a laboratory.
    """
    exponent = law.exponents[root]
    if not exponent.half_width:
        return None
    identity = ("method", "air reference", law.held, exponent.known_by)
    held = law.held.replace("_", " ")
    source = Source(identity, f"reference air, law at constant {held} ({exponent.known_by})", RECTANGULAR)
    return Part(source, trials.draw(source)), exponent.half_width / 3**0.5
