"""Fits of typed points, with every error source carried trial by trial and the points' scatter on top."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.constants.points import FEWEST_WITH_SCATTER, Channel
from benchproof.trials.distributions import student
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, joint_parts, merge_parts
from benchproof.trials.regression import Fit, PolynomialFit, added_terms, fit_linear, fit_polynomial
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

LEVEL: Final = 0.01
"""A free intercept is significant where the points would ask for it this rarely by chance."""

BEYOND: Final = 2.0
"""An intercept counts only if it is also larger than this many of its standard uncertainties, stated offsets in it."""

FEWEST_FREE: Final = 4
"""Points that leave a line with a free intercept two degrees of freedom."""

FEWEST_OF_A_CURVE: Final = 4
FEWEST_OF_A_BEND: Final = 5
EDGE: Final = 1e-3
"""A place this near (relative) to the outermost point is at it, not beyond it."""


@dataclass(frozen=True, slots=True, eq=False)
class Slope:
    """A line through the origin.

    Parameters
    ----------
    slope : Quantity
        Ordinate per abscissa, SI.
    residuals : array, shape (n,)
        Observed minus fitted, SI.
    intercept : float or None
        Ordinate at zero of a line with free intercept; None with too few points for one.
    intercept_significant : bool
        Whether neither the points' scatter nor the stated offsets explain it.
    """

    slope: Quantity
    residuals: FloatArray
    intercept: float | None
    intercept_significant: bool


@single_threaded()
def slope_through_origin(x: Channel, y: Channel, identity: tuple[str, ...], label: str, trials: Trials) -> Slope:
    """Return the slope of ``y = k x`` by least squares.

    The scatter's share of the uncertainty does not suppose that all points scatter alike, for the scatter of a speed
    or a voltage often grows with it: ``u^2(k) = sum((x_i d_i)^2) / (sum x_i^2)^2``, where ``d_i = e_i / (1 - h_i)`` is
    how far a point lies off the line made without it (residual ``e``, leverage ``h``), with the fit's degrees of
    freedom (MacKinnon and White 1985, their third estimator [from memory]). From four points on, that line is one with
    free intercept, so that a stated offset is not counted again as scatter.

    Parameters
    ----------
    x, y : Channel
        The points.
    identity : tuple of str
        Names the scatter as a source.
    label : str
        Words for it.
    trials : Trials
        The laboratory's trials.
    """
    through = fit_linear(x.values[:, None], y.values)
    squares = (x.trials**2).sum(axis=0)
    by_trial = (x.trials * y.trials).sum(axis=0) / squares
    parts = merge_parts((x.parts, y.parts))
    if x.values.size >= FEWEST_WITH_SCATTER:
        size, df = _scatter(x.values, y.values, through)
        source = Source(identity, label, student(df))
        part = Part(source, trials.draw(source))
        by_trial, parts = by_trial + size * part.draws, (*parts, part)
    slope = Quantity(float(through.coefficients[0]), by_trial, parts)
    intercept, significant = _intercept(x, y, through)
    return Slope(slope, through.residuals, intercept, significant)


def _scatter(x: FloatArray, y: FloatArray, through: Fit) -> tuple[float, int]:
    """Return the standard uncertainty of the slope by the scatter of the points, and its degrees of freedom."""
    free = x.size >= FEWEST_FREE and np.unique(x).size > 1
    design = np.column_stack([np.ones_like(x), x]) if free else x[:, None]
    fit = fit_linear(design, y) if free else through
    # A leverage of one leaves no residual to learn from.
    off = fit.residuals / np.maximum(1 - _leverages(design), 1e-9)
    return float(np.sqrt(((x * off) ** 2).sum()) / (x**2).sum()), fit.df


def _leverages(design: FloatArray) -> FloatArray:
    """Return how much each point pulls the fit towards itself, from 0 to 1, shape (n,)."""
    q, _ = np.linalg.qr(design / np.abs(design).max(axis=0))
    return np.asarray((q**2).sum(axis=1), dtype=np.float64)


def _intercept(x: Channel, y: Channel, through: Fit) -> tuple[float | None, bool]:
    """Return the free intercept, and whether neither scatter nor stated errors explain it."""
    if x.values.size < FEWEST_FREE or np.unique(x.values).size < FEWEST_FREE - 1:
        return None, False
    free = fit_polynomial(x.values, y.values, 1)
    line = free.in_powers_of_x()
    middle = x.trials.mean(axis=0)
    apart = x.trials - middle
    slopes = (apart * y.trials).sum(axis=0) / (apart**2).sum(axis=0)
    stated = float(np.std(y.trials.mean(axis=0) - slopes * middle))
    size = float(np.hypot(stated, line.standard_uncertainties[0]))
    value = float(line.coefficients[0])
    return value, added_terms(through, free.fit) < LEVEL and abs(value) > BEYOND * size


class Curve:
    """A low-order polynomial through points that can be read between them.

    Parameters
    ----------
    x, y : Channel
        The points, at least four; from five on the curve may bend.
    identity : tuple of str
        Names the scatter as a source.
    label : str
        Words for it.
    trials : Trials
        The laboratory's trials.

    Raises
    ------
    ValueError
        If there are too few points, or they lie at too few places.
    """

    def __init__(self, x: Channel, y: Channel, identity: tuple[str, ...], label: str, trials: Trials) -> None:
        if x.values.size < FEWEST_OF_A_CURVE:
            message = f"{x.values.size} points do not carry a curve and its scatter"
            raise ValueError(message)
        self.x, self.y = x, y
        self.fit: PolynomialFit = fit_polynomial(x.values, y.values, 2 if x.values.size >= FEWEST_OF_A_BEND else 1)
        self._own = joint_parts(trials, identity, label, self.fit.degree + 1, float(self.fit.fit.df))
        self.parts = merge_parts((x.parts, y.parts, self._own))

    @property
    def range(self) -> tuple[float, float]:
        """Between which places it was measured."""
        return float(self.x.values.min()), float(self.x.values.max())

    def reached(self, place: float) -> bool:
        """Say whether a place lies inside the measured range."""
        low, high = self.range
        return low * (1 - EDGE) <= place <= high * (1 + EDGE)

    def at(self, place: float) -> Quantity:
        """Return the ordinate at a place."""
        values, trials = self.along(np.array([place]))
        return Quantity(float(values[0]), trials[0], self.parts)

    @single_threaded()
    def along(self, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the ordinates at several places.

        Returns
        -------
        tuple
            Values, shape (m,); trials, shape (m, count).
        """
        return self.fit(places), self.fit.basis(places) @ self.coefficients

    @cached_property
    @single_threaded()
    def coefficients(self) -> FloatArray:
        """The polynomial's coefficients by trial, in powers as the fit's basis has them, shape (degree + 1, count).

        An error of the abscissa moves a point sideways; to first order that is the same as moving it down by the
        curve's slope.
        """
        fit = self.fit.fit
        slope = self._slope(self.x.values)[:, None]
        errors = self.y.trials - slope * self.x.trials
        errors -= (self.y.values - slope[:, 0] * self.x.values)[:, None]
        found = np.linalg.pinv(self.fit.basis(self.x.values)) @ errors
        found += _root(fit.covariance) @ np.stack([part.draws for part in self._own])
        found += fit.coefficients[:, None]
        return np.asarray(found, dtype=np.float64)

    def _slope(self, x: FloatArray) -> FloatArray:
        z = (x - self.fit.centre) / self.fit.scale
        powers = np.polynomial.polynomial.polyder(self.fit.fit.coefficients)
        return np.asarray(np.polynomial.polynomial.polyval(z, powers) / self.fit.scale, dtype=np.float64)


def _root(covariance: FloatArray) -> FloatArray:
    """Return the lower triangular square root of a covariance that may be zero."""
    return np.asarray(np.linalg.cholesky(covariance + np.eye(covariance.shape[0]) * 1e-300), dtype=np.float64)
