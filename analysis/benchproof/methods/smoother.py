"""A smooth curve through scattered points, as a linear smoother with its own uncertainty.

The curve is a natural cubic spline whose roughness (the integral of the squared second derivative) is
penalised; the penalty is the ratio of two variances and comes from the data by restricted maximum
likelihood (Wahba 1985, Annals of Statistics 13, 1378 [from memory]). The penalty is not known exactly, so
the curve is averaged over its posterior, which widens the band where the data leave the smoothness open.
In the basis that makes both matrices diagonal (Demmler and Reinsch 1975, Numerische Mathematik 24, 375
[from memory]) every penalty costs a few multiplications.

Points may scatter more from plateau to plateau than their own noise allows. That excess belongs to the
place where it was measured: a figure read at a measured point keeps that point's own deviation, a figure
read between points does not, and both carry the scatter in their uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import fdtri

from benchproof.trials.distributions import frozen

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

MOST_KNOTS: Final = 24
"""More knots change no curve that a bench log can carry, and cost time."""

FEWEST_POINTS: Final = 4
"""A straight line and two degrees of freedom for its scatter."""

COINCIDENT: Final = 2e-3
"""Width, in the logarithm of the axis, within which a figure counts as read at a measured point."""

_PENALTIES: Final = np.logspace(-9, 7, 129)
_EXCESS_LEVEL: Final = 0.99
_LEAST_RELATIVE_VARIANCE: Final = 1e-4  # no point counts more than a hundred times as precise as another
_LEAST_BEND: Final = 0.1  # below this the curve is a straight line, and every larger penalty says the same
_LEAST_FREEDOM: Final = 2.0


@dataclass(frozen=True, slots=True)
class Smooth:
    """A fitted curve.

    Parameters
    ----------
    x : FloatArray
        Places of the points, shape (n,).
    y : FloatArray
        Their values, shape (n,).
    knots : FloatArray
        Knots, shape (k,).
    basis : FloatArray
        Coefficients of the basis at the knots, shape (k, m); the branch column is last where there is one.
    projection : FloatArray
        Takes the points' values to coefficients in the basis, shape (m, n).
    covariance : FloatArray
        Covariance of the coefficients, shape (m, m).
    variance : FloatArray
        Variance of the scatter of each point, shape (n,).
    excess_share : float
        Share of that variance that stays at the place where it was measured, 0 to 1.
    degrees_of_freedom : float
        Degrees of freedom of the scatter.
    branch_difference : tuple of float
        Second branch less first branch and its standard uncertainty; (0, 0) without branches.
    """

    x: FloatArray
    y: FloatArray
    knots: FloatArray
    basis: FloatArray
    projection: FloatArray
    covariance: FloatArray
    variance: FloatArray
    excess_share: float
    degrees_of_freedom: float
    branch_difference: tuple[float, float]

    def rows(self, at: FloatArray) -> FloatArray:
        """Return the smoother's rows at new places, shape (len(at), n): the curve there is ``rows @ y``."""
        gain = self._gain(at)
        if not gain.any():
            return self._curve_rows(at)
        return self._curve_rows(at) + gain @ (np.eye(self.x.size) - self._curve_rows(self.x))

    def slope(self) -> FloatArray:
        """Return the curve's derivative at its own points, shape (n,)."""
        return self._spline(self.x, derivative=1) @ (self.projection @ self.y)

    def curve(self, at: FloatArray) -> FloatArray:
        """Return the smooth curve itself, without any point's own deviation, shape (len(at),)."""
        return self._curve_rows(at) @ self.y

    def standard_error(self, at: FloatArray) -> FloatArray:
        """Return the standard uncertainty that the points' scatter leaves in ``rows(at) @ y``, shape (len(at),)."""
        gain = self._gain(at)
        rows = self._spline(at)
        if gain.any():
            rows = rows - gain @ self._spline(self.x)
        square = np.einsum("ij,jk,ik->i", rows, self.covariance, rows) + gain**2 @ self.variance
        return np.asarray(np.sqrt(np.clip(square, 0.0, None)), dtype=np.float64)

    def residuals(self) -> FloatArray:
        """Return the points less the smooth curve, shape (n,), each branch about its own curve's mean."""
        return self.y - self._curve_rows(self.x) @ self.y

    def _curve_rows(self, at: FloatArray) -> FloatArray:
        return self._spline(at) @ self.projection

    def _spline(self, at: FloatArray, derivative: int = 0) -> FloatArray:
        width = self.knots.size
        cardinal = _cardinal(tuple(self.knots))(at, derivative)
        return np.asarray(cardinal @ self.basis[:width], dtype=np.float64)

    def _gain(self, at: FloatArray) -> FloatArray:
        nearness = np.exp(-0.5 * ((at[:, None] - self.x[None, :]) / COINCIDENT) ** 2)
        nearness[nearness < 1e-6] = 0.0
        total = self.excess_share * nearness.sum(axis=1, keepdims=True) + (1.0 - self.excess_share)
        # Away from every point of a noiseless log there is no deviation to keep.
        return self.excess_share * nearness / np.where(total > 0.0, total, 1.0)


def smooth(x: FloatArray, y: FloatArray, noise: FloatArray, branch: FloatArray | None = None) -> Smooth:
    """Fit a smooth curve through points with unequal noise.

    Parameters
    ----------
    x : FloatArray
        Places, shape (n,); logarithm of the axis. Ties are allowed.
    y : FloatArray
        Values, shape (n,); logarithm of the figure.
    noise : FloatArray
        Standard uncertainty of each point from its own readings, shape (n,). Used for weights, and to tell
        whether the points scatter more than they should; the size of the scatter comes from the residuals.
    branch : FloatArray or None
        -0.5 for points of the first branch, +0.5 for the second, shape (n,); the curve is the branches' mean.

    Returns
    -------
    Smooth
        The curve.

    Raises
    ------
    ValueError
        If there are fewer than four points (five with branches) or fewer than three places.
    """
    needed = FEWEST_POINTS + (branch is not None)
    knots = _knots(x) if x.size else x
    if x.size < needed or knots.size < 3:
        message = f"a curve needs at least {needed} points at 3 places, found {x.size} at {knots.size}"
        raise ValueError(message)
    weights, mean_square = _relative_noise(x, noise)
    fitted = _fit(x, y, knots, weights, branch, 0.0)
    if mean_square > 0.0 and fitted.variance.mean() <= _excess_limit(fitted, x.size) * mean_square:
        return fitted
    share = 1.0 - mean_square / float(fitted.variance.mean()) if fitted.variance.mean() > 0 else 0.0
    return _fit(x, y, knots, share + (1.0 - share) * weights, branch, share)


def _excess_limit(fitted: Smooth, points: int) -> float:
    within = 7.0 * points  # eight block means a plateau
    return float(fdtri(fitted.degrees_of_freedom, within, _EXCESS_LEVEL))


def _knots(x: FloatArray) -> FloatArray:
    """Return knots at measured places, no two closer than a thousandth of the range, at most MOST_KNOTS."""
    places = np.unique(x)
    apart = 1e-3 * (places[-1] - places[0])
    kept = [float(places[0])]
    for place in places[1:]:
        if place - kept[-1] > apart:
            kept.append(float(place))
    chosen = np.unique(np.linspace(0, len(kept) - 1, min(len(kept), MOST_KNOTS)).round().astype(int))
    return np.asarray(np.array(kept)[chosen], dtype=np.float64)


def _relative_noise(x: FloatArray, noise: FloatArray) -> tuple[FloatArray, float]:
    """Return variances relative to their mean, as a smooth law of x, and the mean variance itself.

    The noise of one plateau is known from a few block means only; its trend over the range is known far
    better, so the weights follow a straight line through the logarithms.
    """
    mean_square = float(np.mean(noise**2))
    heard = noise > 0
    if heard.sum() < 3 or np.ptp(x) == 0:
        return np.ones(x.size), mean_square
    law = _straight_line(x[heard], 2.0 * np.log(noise[heard]), x)
    relative = np.maximum(np.exp(law - law.max()), _LEAST_RELATIVE_VARIANCE)
    return relative / relative.mean(), mean_square


@lru_cache(maxsize=64)
def _cardinal(knots: tuple[float, ...]) -> CubicSpline:
    """Return the cardinal natural splines of some knots; every figure read along one axis shares them."""
    return CubicSpline(np.array(knots), np.eye(len(knots)), bc_type="natural")


@lru_cache(maxsize=64)
def _penalty_matrix(knots: tuple[float, ...]) -> FloatArray:
    """Return the integral of products of second derivatives of the cardinal natural splines, shape (k, k)."""
    places = np.array(knots)
    bend = _cardinal(knots)(places, 2)
    step = np.diff(places)[:, None, None]
    left, right = bend[:-1], bend[1:]
    outer = (
        left[:, :, None] * left[:, None, :]
        + right[:, :, None] * right[:, None, :]
        + 0.5 * (left[:, :, None] * right[:, None, :] + right[:, :, None] * left[:, None, :])
    )
    return frozen(np.asarray((step * outer / 3.0).sum(axis=0), dtype=np.float64))


def _fit(
    x: FloatArray,
    y: FloatArray,
    knots: FloatArray,
    variance: FloatArray,
    branch: FloatArray | None,
    excess_share: float,
) -> Smooth:
    spread = knots[-1] - knots[0]
    design = _cardinal(tuple(knots))(x)
    penalty = _penalty_matrix(tuple((knots - knots[0]) / spread))
    if branch is not None:
        design = np.column_stack([design, branch])
        penalty = np.pad(penalty, ((0, 1), (0, 1)))
    basis, roughness = _diagonal_basis(design, penalty, variance)
    loadings = (design @ basis) / variance[:, None]
    curves = _Penalised.over_penalties(
        y - _straight_line(x, y, x), loadings, roughness, variance, 2 + (branch is not None)
    )
    projection = curves.mean_shrinkage[:, None] * loadings.T
    covariance = curves.covariance()
    effective = float(curves.mean_shrinkage.sum())
    return Smooth(
        x=x,
        y=y,
        knots=knots,
        basis=basis,
        projection=projection,
        covariance=covariance,
        variance=variance * curves.mean_scatter,
        excess_share=excess_share,
        degrees_of_freedom=x.size - effective,
        branch_difference=_branch(basis, projection, covariance, y, branch),
    )


def _straight_line(x: FloatArray, y: FloatArray, at: FloatArray) -> FloatArray:
    """Return the least-squares line through points at some places.

    Taking it off the points costs the penalty nothing and saves digits.
    """
    apart = x - x.mean()
    slope = (apart @ y) / (apart @ apart)
    return np.asarray(y.mean() + slope * (at - x.mean()), dtype=np.float64)


def _branch(
    basis: FloatArray,
    projection: FloatArray,
    covariance: FloatArray,
    y: FloatArray,
    branch: FloatArray | None,
) -> tuple[float, float]:
    if branch is None:
        return 0.0, 0.0
    row = basis[-1]
    return float(row @ projection @ y), float(np.sqrt(row @ covariance @ row))


def _diagonal_basis(design: FloatArray, penalty: FloatArray, variance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the basis in which the weighted design is orthonormal and the penalty diagonal."""
    gram = design.T @ (design / variance[:, None])
    lower = np.linalg.cholesky(gram + 1e-12 * np.trace(gram) / gram.shape[0] * np.eye(gram.shape[0]))
    inverse = np.linalg.inv(lower)
    roughness, rotation = np.linalg.eigh(inverse @ penalty @ inverse.T)
    return inverse.T @ rotation, np.clip(roughness, 0.0, None)


@dataclass(frozen=True, slots=True)
class _Penalised:
    """The fit at every penalty, and how likely each is."""

    coefficients: FloatArray  # (penalties, m)
    shrinkage: FloatArray  # (penalties, m)
    scatter: FloatArray  # (penalties,)
    weight: FloatArray  # (penalties,)

    @classmethod
    def over_penalties(
        cls, y: FloatArray, loadings: FloatArray, roughness: FloatArray, variance: FloatArray, free: int
    ) -> _Penalised:
        """Fit at each penalty; ``free`` directions (level, slope, branch) are never penalised."""
        points = y.size
        score = loadings.T @ y
        bend = _PENALTIES[:, None] * roughness[None, free:]
        shrinkage = np.hstack([np.ones((bend.shape[0], free)), 1.0 / (1.0 + bend)])
        bent = shrinkage[:, free:].sum(axis=1)
        usable = (bent >= _LEAST_BEND) & (points - free - bent >= _LEAST_FREEDOM)
        shrinkage, bend = shrinkage[usable], bend[usable]
        total = float(y @ (y / variance))
        squares = np.maximum(total - (shrinkage * score**2).sum(axis=1), 1e-14 * total + 1e-300)
        likelihood = -0.5 * (points - free) * np.log(squares) + 0.5 * np.log(bend / (1.0 + bend)).sum(axis=1)
        weight = np.exp(likelihood - likelihood.max())
        return cls(shrinkage * score, shrinkage, squares / (points - free), weight / weight.sum())

    @property
    def mean_shrinkage(self) -> FloatArray:
        return np.asarray(self.weight @ self.shrinkage, dtype=np.float64)

    @property
    def mean_scatter(self) -> float:
        return float(self.weight @ self.scatter)

    def covariance(self) -> FloatArray:
        """Return the coefficients' covariance: within each penalty, and between penalties."""
        mean = self.weight @ self.coefficients
        apart = self.coefficients - mean
        between = apart.T @ (self.weight[:, None] * apart)
        return np.diag((self.weight * self.scatter) @ self.shrinkage) + between
