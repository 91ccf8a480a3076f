"""Referring a sweep to other air, by the law that fits what is held constant.

The exponents say how a root moves with density when electrical power, speed or throttle is held. Momentum theory
gives one third at constant power; a motor and propeller model gives 0.31 to 0.33 there and 0.81 to 0.91 for thrust
at constant throttle and voltage (computed with assumed motors). The half-widths cover that range and are a source of
error of their own.
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

NONE: Final = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Law:
    """Exponents of (reference density / density) for each root, with the half-width each is known to."""

    held: str
    exponents: Mapping[str, tuple[float, float]]


LAWS: Final[Mapping[str, Law]] = MappingProxyType(
    {
        law.held: law
        for law in (
            Law(
                "electrical_power",
                {
                    "thrust": (1 / 3, 0.02),
                    "torque": (1 / 3, 0.02),
                    "speed": (-1 / 3, 0.02),
                    "current": NONE,
                    "electrical_power": NONE,
                },
            ),
            Law(
                "speed",
                {
                    "thrust": (1.0, 0.0),
                    "torque": (1.0, 0.0),
                    "speed": NONE,
                    "current": (1.0, 0.06),
                    "electrical_power": (1.0, 0.06),
                },
            ),
            Law(
                "throttle",
                {
                    "thrust": (0.86, 0.05),
                    "torque": (0.86, 0.05),
                    "speed": (-0.07, 0.03),
                    "current": (0.775, 0.02),
                    "electrical_power": (0.775, 0.02),
                },
            ),
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
    _, half_width = law.exponents[root]
    if not half_width:
        return None
    identity = ("method", "air reference", law.held, root)
    source = Source(identity, f"air reference, {root} at constant {law.held.replace('_', ' ')}", RECTANGULAR)
    return Part(source, trials.draw(source)), half_width / 3**0.5
