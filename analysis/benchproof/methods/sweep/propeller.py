"""Definitions of the propeller's figures at rest.

Every figure of a thrust sweep is a constant times powers of five measured roots (thrust, torque, speed, current,
electrical power) and of the air's density, so in logarithms each is a weighted sum. Definitions of the coefficients
after Deters, Ananda and Selig, AIAA 2014-2151, equations 3 and 4; figure of merit from momentum theory [from memory].
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

ROOTS: Final = ("thrust", "torque", "speed", "current", "electrical_power")
"""What a plateau is known by; all else follows."""

CEILING_EFFICIENCY: Final = 0.75
"""Figure of merit times efficiency that no small motor and propeller exceed (practitioner's judgement)."""


@dataclass(frozen=True, slots=True)
class Monomial:
    """A figure as a product of powers.

    Parameters
    ----------
    powers : Mapping of str to float
        Exponent of each root.
    density : float
        Exponent of the air's density.
    area : float
        Exponent of the disc's area.
    diameter : float
        Exponent of the diameter.
    factor : float
        What stands in front (speed in rad/s, all SI).
    """

    powers: Mapping[str, float]
    density: float = 0.0
    area: float = 0.0
    diameter: float = 0.0
    factor: float = 1.0
    needs: frozenset[str] = field(default_factory=frozenset)

    def log_constant(self, diameter: float) -> float:
        """Return the logarithm of the factor with the propeller's size in it; diameter in m."""
        area = math.pi * diameter**2 / 4
        return math.log(self.factor) + self.area * math.log(area) + self.diameter * math.log(diameter)


def _product(
    factor: float = 1.0, *, density: float = 0.0, area: float = 0.0, diameter: float = 0.0, **powers: float
) -> Monomial:
    return Monomial(MappingProxyType(powers), density, area, diameter, factor, frozenset(powers))


_TURN: Final = 2 * math.pi

FIGURES: Final[Mapping[str, Monomial]] = MappingProxyType(
    {
        "thrust": _product(thrust=1),
        "thrust_per_power": _product(thrust=1, electrical_power=-1),
        "speed": _product(speed=1),
        "current": _product(current=1),
        "electrical_power": _product(electrical_power=1),
        "torque": _product(torque=1),
        "shaft_power": _product(torque=1, speed=1),
        "motor_efficiency": _product(torque=1, speed=1, electrical_power=-1),
        # FM = T^1.5 / (sqrt(2 rho A) P_shaft)
        "figure_of_merit": _product(2**-0.5, density=-0.5, area=-0.5, thrust=1.5, torque=-1, speed=-1),
        # C_T = T / (rho n^2 D^4), n = w / (2 pi)
        "thrust_coefficient": _product(_TURN**2, density=-1, diameter=-4, thrust=1, speed=-2),
        # C_P = Q w / (rho n^3 D^5)
        "power_coefficient": _product(_TURN**3, density=-1, diameter=-5, torque=1, speed=-2),
    }
)

READ_AT: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "electrical_power": (
            "thrust",
            "thrust_per_power",
            "speed",
            "current",
            "figure_of_merit",
            "torque",
            "shaft_power",
            "motor_efficiency",
        ),
        "thrust": (
            "electrical_power",
            "thrust_per_power",
            "speed",
            "current",
            "figure_of_merit",
            "torque",
            "shaft_power",
            "motor_efficiency",
        ),
        "speed": ("thrust", "electrical_power", "thrust_coefficient", "power_coefficient"),
        "throttle": (
            "thrust",
            "electrical_power",
            "thrust_per_power",
            "speed",
            "current",
            "figure_of_merit",
            "torque",
            "shaft_power",
            "motor_efficiency",
        ),
    }
)
"""Which figures are read along which axis."""


def thrust_ceiling(electrical_power: float, density: float, diameter: float) -> float:
    """Return the thrust that no motor and propeller exceed at rest.

    Parameters
    ----------
    electrical_power : float
        W.
    density : float
        kg/m3.
    diameter : float
        m.

    Returns
    -------
    float
        N: ``(2 rho A)^(1/3) (0.75 P)^(2/3)``, momentum theory with the best conceivable losses.
    """
    area = math.pi * diameter**2 / 4
    return float((2 * density * area) ** (1 / 3) * (CEILING_EFFICIENCY * electrical_power) ** (2 / 3))
