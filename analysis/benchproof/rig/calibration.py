"""Calibration of an instrument against known values: fit, hysteresis, range of validity.

The fit is ordinary least squares of the applied value on the indicated one, with the full covariance of its
coefficients (JCGM 100, H.3 does the same for a thermometer [from memory]). Neglecting the covariance of intercept
and slope would overstate the uncertainty in the middle of the range several times over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import stats

from benchproof.errors import MethodError
from benchproof.trials.regression import added_terms, fit_polynomial

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from numpy.typing import NDArray

    from benchproof.trials.regression import PolynomialFit

    FloatArray = NDArray[np.float64]

HIGHEST_DEGREE: Final = 3
"""ISO 376 interpolates with a degree of three at most [from memory]."""

LACK_OF_FIT_LEVEL: Final = 0.01
HYSTERESIS_LEVEL: Final = 0.05

BEYOND: Final = 1.05
"""Readings may exceed the calibrated range by this factor before they count as outside."""

CONVENTIONAL_AIR: Final = 1.2
CONVENTIONAL_WEIGHTS: Final = 8000.0
_FEWEST_PAIRS: Final = 3


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


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A calibration, fitted.

    Parameters
    ----------
    key : str
        ``file:date``: names the calibration as a scope of errors.
    fit : PolynomialFit
        Applied value as a polynomial of the indicated one, both SI.
    applied, indicated : array
        The calibration's points, SI, shape (n,).
    direction : tuple of str
        ``up`` or ``down`` for each point.
    hysteresis : float
        Largest difference of down and up branch (SI) where it is more than the points' scatter, else 0.
    dated, expires : date
        From which day and until when it holds.
    """

    key: str
    fit: PolynomialFit
    applied: FloatArray
    indicated: FloatArray
    direction: tuple[str, ...]
    hysteresis: float
    dated: date
    expires: date

    @property
    def range(self) -> tuple[float, float]:
        """Lowest and highest indicated value it was made over."""
        return float(self.indicated.min()), float(self.indicated.max())

    def outside(self, indicated: FloatArray) -> NDArray[np.bool_]:
        """Say which readings lie beyond 1.05 of the range, shape (n,)."""
        low, high = self.range
        span = (BEYOND - 1) * max(abs(low), abs(high))
        return np.asarray((indicated < low - span) | (indicated > high + span))


def calibrate(
    applied: FloatArray,
    indicated: FloatArray,
    direction: Sequence[str],
    *,
    key: str,
    dated: date,
    expires: date,
) -> Calibration:
    """Fit a calibration.

    The lowest degree that a higher one does not improve on significantly is used; hysteresis counts only where the
    branches differ by more than the points scatter, because below that it is in the scatter already.

    Parameters
    ----------
    applied, indicated : array
        SI, shape (n,).
    direction : sequence of str
        ``up`` or ``down``, one a point.
    key : str
        Names it.
    dated, expires : date
        Its days.

    Raises
    ------
    MethodError
        If the points cannot carry a line with its scatter, or indications do not rise with what is applied.
    """
    if np.unique(indicated).size < 3 or np.unique(applied).size < 3:
        raise MethodError(key, "a calibration needs at least three different loads; add points to the file")
    fit = _lowest_degree(indicated, applied)
    slope = float((fit(indicated.max()) - fit(indicated.min()))[0])
    if slope <= 0:
        raise MethodError(key, "indications fall while the applied value rises; look at the sign of a column")
    return Calibration(
        key,
        fit,
        applied,
        indicated,
        tuple(direction),
        _hysteresis(fit, applied, indicated, direction),
        dated,
        expires,
    )


def _lowest_degree(x: FloatArray, y: FloatArray) -> PolynomialFit:
    """Return the fit of the lowest degree that cubic does not improve on (F-test for lack of fit)."""
    highest = min(HIGHEST_DEGREE, np.unique(x).size - 2, x.size - 2)
    fits = [fit_polynomial(x, y, degree) for degree in range(1, max(highest, 1) + 1)]
    for each in fits[:-1]:
        if added_terms(each.fit, fits[-1].fit) > LACK_OF_FIT_LEVEL:
            return each
    return fits[-1]


def _hysteresis(fit: PolynomialFit, applied: FloatArray, indicated: FloatArray, direction: Sequence[str]) -> float:
    """Return the largest smoothed difference of the branches where paired differences are significant, else 0."""
    corrected = fit(indicated)
    down = np.array([word == "down" for word in direction])
    loads = [load for load in np.unique(applied) if _both(applied == load, down)]
    if len(loads) < _FEWEST_PAIRS:
        return 0.0
    apart = np.array(
        [corrected[(applied == load) & down].mean() - corrected[(applied == load) & ~down].mean() for load in loads]
    )
    if not np.ptp(apart) and not apart.any():
        return 0.0
    if np.ptp(apart) and stats.ttest_1samp(apart, 0.0).pvalue > HYSTERESIS_LEVEL:
        return 0.0
    if len(loads) == _FEWEST_PAIRS:
        return float(np.abs(apart).max())
    return float(np.abs(np.polynomial.Polynomial.fit(loads, apart, 2)(np.array(loads))).max())


def _both(here: NDArray[np.bool_], down: NDArray[np.bool_]) -> bool:
    return bool((here & down).any() and (here & ~down).any())
