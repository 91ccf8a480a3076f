"""Known loads: dead weights, alone or on an arm, and the errors that all loads of one calibration share.

All masses of a calibration come from one set and hang on one arm, so their errors do not average out over the loads:
they are one factor on everything that was applied.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.trials.distributions import NORMAL, RECTANGULAR, Shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.campaign.models.calibrations import Arm
    from benchproof.campaign.models.values import Uncertain

    FloatArray = NDArray[np.float64]

CONVENTIONAL_AIR: Final = 1.2
CONVENTIONAL_WEIGHTS: Final = 8000.0


def force_of_mass(
    mass: FloatArray,
    gravity: float,
    *,
    air_density: float = CONVENTIONAL_AIR,
    weight_density: float = CONVENTIONAL_WEIGHTS,
) -> FloatArray:
    """Return the force of dead weights, N.

    Parameters
    ----------
    mass : array
        Conventional mass, kg.
    gravity : float
        Local acceleration of free fall, m/s2.
    air_density, weight_density : float
        kg/m3; the conventional values of OIML R 111 [from memory].

    Returns
    -------
    array
        ``m g (1 - rho_air / rho_weight)``: buoyancy takes 0.015 % off steel.
    """
    return np.asarray(mass, dtype=np.float64) * gravity * (1 - air_density / weight_density)


@dataclass(frozen=True, slots=True)
class LoadError:
    """An error that all loads of one calibration share as a factor.

    Parameters
    ----------
    name : str
        ``masses``, ``arm length`` or ``arm level``.
    standard : float
        Standard uncertainty: relative, or rad for the level.
    shape : Shape
        Its distribution.
    level : float or None
        Slope of the arm, rad, for its own error; the load goes with the cosine of the slope.
    """

    name: str
    standard: float
    shape: Shape
    level: float | None = None

    def factor(self, draws: FloatArray) -> FloatArray:
        """Return true over stated load for standardised draws of the error, same shape."""
        if self.level is None:
            return np.asarray(1 + self.standard * draws)
        return np.asarray(np.cos(self.level + self.standard * draws) / np.cos(self.level))


def torque_of_force(force: FloatArray, arm: Arm) -> FloatArray:
    """Return the torque of a force that hangs on an arm, N m: ``F L cos(level)``."""
    level = arm.level.value.si if arm.level is not None else 0.0
    return np.asarray(force * arm.length.value.si * np.cos(level))


def errors_of(masses: float | None, arm: Arm | None) -> tuple[LoadError, ...]:
    """Return what the set of masses (half-width, relative) and the arm get wrong."""
    found = [] if not masses else [LoadError("masses", masses / 3**0.5, RECTANGULAR)]
    if arm is not None:
        length = arm.length
        found.append(LoadError("arm length", length.standard / length.value.si, _shape(length)))
        if arm.level is not None and arm.level.standard:
            found.append(LoadError("arm level", arm.level.standard, _shape(arm.level), arm.level.value.si))
    return tuple(found)


def _shape(stated: Uncertain) -> Shape:
    return RECTANGULAR if stated.shape == "rectangular" else NORMAL
