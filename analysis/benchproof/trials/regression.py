"""Least squares with full covariance: lines, polynomials and curves.

Linear fits go through an orthogonal factorisation of centred, scaled columns, never through normal equations,
so that certified reference fits come back to nine digits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
from scipy import optimize, special

from benchproof.trials.distributions import frozen
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    FloatArray = NDArray[np.float64]


_POLISH = 12
"""Gauss-Newton steps at the most; each gains digits until rounding stops them."""


class Model(Protocol):
    """A curve: parameters, shape (p,), and abscissae, shape (n,), to ordinates, shape (n,)."""

    def __call__(self, parameters: FloatArray, x: FloatArray, /) -> FloatArray:
        """Return the ordinates."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A least-squares fit.

    Parameters
    ----------
    coefficients : array, shape (p,)
    covariance : array, shape (p, p)
        ``s^2 (X'X)^-1``, or its curve equivalent with the Jacobian for ``X``.
    residuals : array, shape (n,)
        Observed minus fitted.
    df : int
        Residual degrees of freedom, n - p.
    """

    coefficients: FloatArray
    covariance: FloatArray
    residuals: FloatArray
    df: int

    @property
    def residual_sum(self) -> float:
        """Sum of the squared residuals."""
        return math.fsum(self.residuals**2)

    @property
    def residual_sd(self) -> float:
        """Residual standard deviation; 0 for a fit without degrees of freedom."""
        return math.sqrt(self.residual_sum / self.df) if self.df else 0.0

    @property
    def standard_uncertainties(self) -> FloatArray:
        """Standard uncertainties of the coefficients, shape (p,)."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, slots=True, eq=False)
class PolynomialFit:
    """A polynomial ``sum_k c_k ((x - centre) / scale)^k`` fitted by least squares.

    Parameters
    ----------
    fit : Fit
        In powers of the centred, scaled abscissa.
    centre, scale : float
        Of the abscissa.
    """

    fit: Fit
    centre: float
    scale: float

    @property
    def degree(self) -> int:
        """Degree of the polynomial."""
        return self.fit.coefficients.size - 1

    def basis(self, x: ArrayLike) -> FloatArray:
        """Return the powers of the centred, scaled abscissa, shape (n, degree + 1)."""
        z = (np.atleast_1d(np.asarray(x, dtype=np.float64)) - self.centre) / self.scale
        return np.vander(z, self.degree + 1, increasing=True)

    @single_threaded()
    def __call__(self, x: ArrayLike) -> FloatArray:
        """Return the fitted ordinates, shape (n,)."""
        return np.asarray(self.basis(x) @ self.fit.coefficients, dtype=np.float64)

    @single_threaded()
    def standard_uncertainty(self, x: ArrayLike) -> FloatArray:
        """Return the standard uncertainties of the fitted ordinates, ``sqrt(v' V v)``, shape (n,)."""
        basis = self.basis(x)
        variance = np.einsum("ij,jk,ik->i", basis, self.fit.covariance, basis)
        return np.asarray(np.sqrt(variance), dtype=np.float64)

    @single_threaded()
    def in_powers_of_x(self) -> Fit:
        """Return the same fit with coefficients of 1, x, x^2, ... as certified tables print them."""
        size = self.degree + 1
        turn = np.zeros((size, size))
        for k in range(size):
            for j in range(k + 1):
                turn[j, k] = math.comb(k, j) * (-self.centre) ** (k - j) / self.scale**k
        covariance = turn @ self.fit.covariance @ turn.T
        return Fit(turn @ self.fit.coefficients, covariance, self.fit.residuals, self.fit.df)


@single_threaded()
def fit_linear(design: ArrayLike, y: ArrayLike) -> Fit:
    """Fit ``y = X c`` by ordinary least squares.

    Parameters
    ----------
    design : array, shape (n, p)
    y : array, shape (n,)

    Raises
    ------
    ValueError
        If there are fewer observations than coefficients, or columns depend on each other.
    """
    X = np.asarray(design, dtype=np.float64)
    y = np.asarray(y, dtype=np.float64)
    n, p = X.shape
    if n < p:
        message = f"{n} observations do not settle {p} coefficients"
        raise ValueError(message)
    norms = np.sqrt(np.einsum("ij,ij->j", X, X))
    norms[norms == 0] = 1
    q, r = np.linalg.qr(X / norms)
    if np.min(np.abs(np.diag(r))) < 1e-12:
        message = "columns of the design depend on each other"
        raise ValueError(message)
    scaled = np.linalg.solve(r, q.T @ y)
    # One step of iterative refinement: the last digits of ill-conditioned certified sets need it.
    scaled += np.linalg.solve(r, q.T @ (y - (X / norms) @ scaled))
    residuals = y - (X / norms) @ scaled
    inverse = np.linalg.inv(r) / norms[:, None]
    variance = math.fsum(residuals**2) / (n - p) if n > p else 0.0
    return Fit(frozen(scaled / norms), frozen(variance * (inverse @ inverse.T)), frozen(residuals), n - p)


def fit_polynomial(x: ArrayLike, y: ArrayLike, degree: int) -> PolynomialFit:
    """Fit a polynomial of the given degree by ordinary least squares.

    Parameters
    ----------
    x, y : array, shape (n,)
    degree : int

    Raises
    ------
    ValueError
        If the abscissae do not settle the coefficients.
    """
    x = np.asarray(x, dtype=np.float64)
    centre = float(np.mean(x))
    scale = float(np.max(np.abs(x - centre), initial=0.0)) or 1.0
    z = (x - centre) / scale
    return PolynomialFit(fit_linear(np.vander(z, degree + 1, increasing=True), y), centre, scale)


@single_threaded()
def fit_curve(model: Model, start: ArrayLike, x: ArrayLike, y: ArrayLike) -> Fit:
    """Fit a curve by non-linear least squares from a start value.

    Parameters
    ----------
    model : Model
    start : array, shape (p,)
        Non-zero guesses; each sets the scale of its parameter.
    x, y : array, shape (n,)

    Returns
    -------
    Fit
        Covariance ``s^2 (J'J)^-1`` at the solution, with the Jacobian by central differences.

    Raises
    ------
    ValueError
        If there are fewer observations than parameters, the search does not converge, or the data do not
        settle the parameters.
    """
    start = np.asarray(start, dtype=np.float64)
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if y.size < start.size:
        message = f"{y.size} observations do not settle {start.size} parameters"
        raise ValueError(message)
    unit = np.where(start == 0, 1.0, np.abs(start))

    def left_over(scaled: FloatArray) -> FloatArray:
        return y - model(scaled * unit, x)

    result = optimize.least_squares(
        left_over,
        start / unit,
        jac="3-point",
        x_scale="jac",
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
        max_nfev=2000,
    )
    if not result.success:
        message = f"the fit does not converge: {result.message}"
        raise ValueError(message)
    return fit_nearby(model, result.x * unit, x, y)


@single_threaded()
def fit_nearby(model: Model, parameters: FloatArray, x: FloatArray, y: FloatArray) -> Fit:
    """Return the fit after Gauss-Newton steps for as long as they shrink, and the covariance there.

    The sum of squares is flat at its minimum; the steps see the last digits that it does not.

    Parameters
    ----------
    model : Model
    parameters : array, shape (p,)
        So near the solution that the model is nearly linear between the two.
    x, y : array, shape (n,)

    Raises
    ------
    ValueError
        If the data do not settle the parameters.
    """
    size = np.inf
    for _ in range(_POLISH):
        residuals = y - model(parameters, x)
        local = fit_linear(_jacobian(model, parameters, x), residuals)
        last, size = size, float(np.max(np.abs(residuals - local.residuals)))
        if not size < last:
            break
        parameters = parameters + local.coefficients
    residuals = y - model(parameters, x)
    local = fit_linear(_jacobian(model, parameters, x), residuals)
    return Fit(frozen(parameters), local.covariance, frozen(residuals), local.df)


def _jacobian(model: Model, parameters: FloatArray, x: FloatArray) -> FloatArray:
    """Return the derivatives of the ordinates by fourth-order central differences, shape (n, p)."""
    columns = []
    for k in range(parameters.size):
        step = np.zeros_like(parameters)
        step[k] = 1e-3 * (abs(parameters[k]) or 1.0)
        near = model(parameters + step, x) - model(parameters - step, x)
        far = model(parameters + 2 * step, x) - model(parameters - 2 * step, x)
        columns.append((8 * near - far) / (12 * step[k]))
    return np.stack(columns, axis=1)


def added_terms(simple: Fit, full: Fit) -> float:
    """Return the probability of so large a gain from added terms if the simple model were true.

    The F-test of the extra sum of squares, for fits of the same data, one model inside the other.
    """
    added = simple.df - full.df
    gain = max(simple.residual_sum - full.residual_sum, 0.0) / added
    return _f_tail(gain, full.residual_sum / full.df, added, full.df)


def _f_tail(upper: float, lower: float, df_upper: int, df_lower: int) -> float:
    if lower == 0:
        return 1.0 if upper == 0 else 0.0
    return float(special.fdtrc(df_upper, df_lower, upper / lower))
