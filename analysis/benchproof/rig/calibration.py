"""Calibration of an instrument against known values: fit, hysteresis, range of validity.

The fit is ordinary least squares of the applied value on the indicated one, with the full covariance of its
coefficients (JCGM 100, H.3 does the same for a thermometer [from memory]). Neglecting the covariance of intercept
and slope would overstate the uncertainty in the middle of the range several times over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError
from benchproof.trials.regression import Fit, PolynomialFit, added_terms, fit_linear, fit_polynomial

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from numpy.typing import NDArray

    from benchproof.rig.loads import LoadError

    FloatArray = NDArray[np.float64]

HIGHEST_DEGREE: Final = 3
"""ISO 376 interpolates with a degree of three at most [from memory]."""

LACK_OF_FIT_LEVEL: Final = 0.01
HYSTERESIS_LEVEL: Final = 0.05

BEYOND: Final = 1.05
"""Readings may exceed the calibrated range by this factor before they count as outside."""

_FEWEST_PAIRS: Final = 3
_FEWEST_POINTS: Final = 4
_FEWEST_LOADS: Final = 3
_FEWEST_DEGREES_OF_FREEDOM: Final = 2
_BRANCH_TERMS: Final = 3
"""The difference of the branches is a parabola of the indication: constant, slope, bow."""


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A calibration, fitted.

    Parameters
    ----------
    key : str
        ``file:date``: names the calibration as a scope of errors.
    fit : PolynomialFit
        Applied value as a polynomial of the indicated one, both SI; where hysteresis counts, of the line midway
        between the branches.
    applied, indicated : array
        The calibration's points, SI, shape (n,).
    direction : tuple of str
        ``up`` or ``down`` for each point.
    hysteresis : float
        Largest difference of down and up branch (SI) where it is more than the points' scatter, else 0.
    dated, expires : date
        From which day and until when it holds.
    load_errors : tuple of LoadError
        Errors that all applied loads share.
    """

    key: str
    fit: PolynomialFit
    applied: FloatArray
    indicated: FloatArray
    direction: tuple[str, ...]
    hysteresis: float
    dated: date
    expires: date
    load_errors: tuple[LoadError, ...] = ()

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
    load_errors: tuple[LoadError, ...] = (),
) -> Calibration:
    """Fit a calibration.

    The lowest degree that a cubic does not improve on significantly is used (F-test for lack of fit). Hysteresis
    counts only where the branches differ by significantly more than the points scatter; their difference is then
    fitted beside the polynomial and taken out of the scatter, so that it is counted once. Below that it is in the
    scatter already. Scatter of the indication is small against the range, so ordinary least squares on it serves.

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
    load_errors : tuple of LoadError
        Errors that all applied loads share.

    Raises
    ------
    MethodError
        If the points cannot carry a line with its scatter, or indications do not rise with what is applied.
    """
    loads = min(np.unique(indicated).size, np.unique(applied).size)
    if indicated.size < _FEWEST_POINTS or loads < _FEWEST_LOADS:
        message = (
            f"a calibration needs at least {_FEWEST_POINTS} points at {_FEWEST_LOADS} different loads; "
            "add points to the file"
        )
        raise MethodError(key, message)
    fit, hysteresis = _fit(applied, indicated, direction)
    slope = float((fit(indicated.max()) - fit(indicated.min()))[0])
    if slope <= 0:
        raise MethodError(key, "indications fall while the applied value rises; look at the sign of a column")
    return Calibration(
        key,
        fit,
        applied,
        indicated,
        tuple(direction),
        hysteresis,
        dated,
        expires,
        load_errors,
    )


def _fit(applied: FloatArray, indicated: FloatArray, direction: Sequence[str]) -> tuple[PolynomialFit, float]:
    """Return the fit, and the largest smoothed difference of its branches where that is significant, else 0."""
    down = np.array([word == "down" for word in direction])
    room = indicated.size - _BRANCH_TERMS - _FEWEST_DEGREES_OF_FREEDOM - 1
    if _pairs(applied, down) >= _FEWEST_PAIRS and room >= 1:
        split = _lowest_degree(indicated, applied, down)
        if added_terms(_one_fit(indicated, applied, split.curve.degree).whole, split.whole) <= HYSTERESIS_LEVEL:
            return split.curve, split.apart
    return _lowest_degree(indicated, applied).curve, 0.0


def _pairs(applied: FloatArray, down: NDArray[np.bool_]) -> int:
    """Return at how many loads there are points of both branches."""
    return np.intersect1d(applied[down], applied[~down]).size


@dataclass(frozen=True, slots=True, eq=False)
class _Fitted:
    """A polynomial, the whole regression it is part of, and the largest difference of the branches."""

    curve: PolynomialFit
    whole: Fit
    apart: float


def _lowest_degree(x: FloatArray, y: FloatArray, down: NDArray[np.bool_] | None = None) -> _Fitted:
    """Return the fit of the lowest degree that the highest one does not improve on (F-test for lack of fit)."""
    beside = 0 if down is None else _BRANCH_TERMS
    room = x.size - beside - _FEWEST_DEGREES_OF_FREEDOM - 1
    highest = max(min(HIGHEST_DEGREE, np.unique(y).size - 2, room), 1)
    fits = [_one_fit(x, y, degree, down) for degree in range(1, highest + 1)]
    for each in fits[:-1]:
        if added_terms(each.whole, fits[-1].whole) > LACK_OF_FIT_LEVEL:
            return each
    return fits[-1]


def _one_fit(x: FloatArray, y: FloatArray, degree: int, down: NDArray[np.bool_] | None = None) -> _Fitted:
    """Fit a polynomial, and beside it the difference of the branches where ``down`` tells them apart."""
    curve = fit_polynomial(x, y, degree)
    if down is None:
        return _Fitted(curve, curve.fit, 0.0)
    z = (x - curve.centre) / curve.scale
    difference = np.vander(z, _BRANCH_TERMS, increasing=True)
    # A point of the down branch reads half the difference high, one of the up branch half of it low.
    side = np.where(down, -0.5, 0.5)[:, None]
    whole = fit_linear(np.hstack([curve.basis(x), side * difference]), y)
    size = degree + 1
    kept = Fit(whole.coefficients[:size], whole.covariance[:size, :size], whole.residuals, whole.df)
    apart = float(np.abs(difference @ whole.coefficients[size:]).max())
    return _Fitted(PolynomialFit(kept, curve.centre, curve.scale), whole, apart)
