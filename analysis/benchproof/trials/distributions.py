"""Standardised score tables: the quantiles of a distribution at the midpoints of equal strata.

A table of ``count`` scores represents its distribution as evenly as ``count`` numbers can; a random
permutation of it is a stratified sample. The inverse normal distribution is our own, so that no library
release can move a figure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, Literal, TypeVar

import numpy as np
from scipy import special
from scipy.interpolate import CubicSpline

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

_Array = TypeVar("_Array", bound="NDArray[Any]")

Kind = Literal["normal", "rectangular", "triangular", "student", "joint"]

_COARSE_DEGREES: Final = (60, 80, 120, 240)
_LAST_FINE_DEGREE: Final = 50
_EIGHTHS_UP_TO: Final = 10
_NODES: Final = 500
"""Places at which a library's slow inverse is asked; splines through logarithms give the rest to 1 part in 1e9."""


@dataclass(frozen=True, slots=True)
class Shape:
    """The distribution of a standardised draw: its stated standard uncertainty is 1.

    Parameters
    ----------
    kind : {"normal", "rectangular", "triangular", "student", "joint"}
        ``student`` is an estimate's own scatter, ``joint`` one component of several estimates that share one
        residual standard deviation (the coefficients of a fit); both state ``s / sqrt(n)``, not the wider
        standard deviation of Student's distribution.
    df : float or None
        Degrees of freedom, at least 1; for ``student`` and ``joint`` only.
    drawn : float or None
        Degrees of freedom of the draws where they are not ``df``: more of them, and so lighter tails, where the
        source stands beside better known ones.

    Raises
    ------
    ValueError
        If degrees of freedom are missing, below 1, or given where they mean nothing.
    """

    kind: Kind
    df: float | None = None
    drawn: float | None = None

    def __post_init__(self) -> None:
        wants = self.kind in {"student", "joint"}
        if wants != (self.df is not None) or (self.df is not None and not self.df >= 1):
            message = f"a {self.kind} shape with {self.df} degrees of freedom"
            raise ValueError(message)

    @property
    def degrees_drawn(self) -> float | None:
        """Degrees of freedom of the draws."""
        return self.df if self.drawn is None else self.drawn


NORMAL: Final = Shape("normal")
RECTANGULAR: Final = Shape("rectangular")
TRIANGULAR: Final = Shape("triangular")


def student(df: float | None) -> Shape:
    """Return the shape of an estimate from its own scatter; normal if ``df`` is None or infinite."""
    return NORMAL if df is None or np.isinf(df) else Shape("student", df)


def tabulated_degrees(df: float) -> float:
    """Return the degrees of freedom of the table used: ``df`` floored to eighths up to 10, 11..50, 60, 80, 120, 240.

    Flooring widens an interval, never narrows it: a 95 % interval for a whole number of degrees by 0.5 % at
    the most, which is where 240 stands for very many.
    """
    if df < _EIGHTHS_UP_TO:
        return math.floor(df * 8) / 8
    if df < _LAST_FINE_DEGREE + 1:
        return math.floor(df)
    return max((degree for degree in _COARSE_DEGREES if degree <= df), default=_LAST_FINE_DEGREE)


def inverse_normal(p: FloatArray) -> FloatArray:
    """Return the quantiles of the standard normal distribution.

    Parameters
    ----------
    p : array
        Probabilities strictly between 0 and 1.

    Returns
    -------
    array
        Quantiles, of the shape of ``p``, good to about 1 part in 1e15.

    Notes
    -----
    Algorithm AS 241 (PPND16), M. J. Wichura, Applied Statistics 37 (1988) 477-484 [coefficients from memory].
    """
    q = np.asarray(p, dtype=np.float64) - 0.5
    tail = np.sqrt(-np.log(np.where(q < 0, p, 1 - p)))
    central = _rational(0.180625 - q * q, *_CENTRE) * q
    outer = np.where(tail <= 5, _rational(tail - 1.6, *_TAIL), _rational(tail - 5, *_FAR))
    return np.where(np.abs(q) <= 0.425, central, np.copysign(outer, q))


def _rational(x: FloatArray, above: tuple[float, ...], below: tuple[float, ...]) -> FloatArray:
    """Return the quotient of two polynomials, highest power first (Horner)."""
    return np.polyval(np.array(above), x) / np.polyval(np.array(below), x)


_CENTRE: Final = (
    (
        2.5090809287301226727e3,
        3.3430575583588128105e4,
        6.7265770927008700853e4,
        4.5921953931549871457e4,
        1.3731693765509461125e4,
        1.9715909503065514427e3,
        1.3314166789178437745e2,
        3.3871328727963666080e0,
    ),
    (
        5.2264952788528545610e3,
        2.8729085735721942674e4,
        3.9307895800092710610e4,
        2.1213794301586595867e4,
        5.3941960214247511077e3,
        6.8718700749205790830e2,
        4.2313330701600911252e1,
        1.0,
    ),
)
_TAIL: Final = (
    (
        7.74545014278341407640e-4,
        2.27238449892691845833e-2,
        2.41780725177450611770e-1,
        1.27045825245236838258e0,
        3.64784832476320460504e0,
        5.76949722146069140550e0,
        4.63033784615654529590e0,
        1.42343711074968357734e0,
    ),
    (
        1.05075007164441684324e-9,
        5.47593808499534494600e-4,
        1.51986665636164571966e-2,
        1.48103976427480074590e-1,
        6.89767334985100004550e-1,
        1.67638483018380384940e0,
        2.05319162663775882187e0,
        1.0,
    ),
)
_FAR: Final = (
    (
        2.01033439929228813265e-7,
        2.71155556874348757815e-5,
        1.24266094738807843860e-3,
        2.65321895265761230930e-2,
        2.96560571828504891230e-1,
        1.78482653991729133580e0,
        5.46378491116411436990e0,
        6.65790464350110377720e0,
    ),
    (
        2.04426310338993978564e-15,
        1.42151175831644588870e-7,
        1.84631831751005468180e-5,
        7.86869131145613259100e-4,
        1.48753612908506148525e-2,
        1.36929880922735805310e-1,
        5.99832206555887937690e-1,
        1.0,
    ),
)


@lru_cache(maxsize=128)
def score_table(kind: Kind, degrees: float | None, count: int) -> FloatArray:
    """Return the ascending, read-only scores of a distribution at the midpoints of ``count`` strata.

    Normal, rectangular and triangular scores have mean 0 and mean square 1 exactly; Student's are the plain
    quantiles of t, whose stated standard uncertainty is 1 by meaning.

    Raises
    ------
    ValueError
        For ``joint``, which has no table of its own.
    """
    p = _midpoints(count)
    match kind:
        case "normal":
            scores = _unit(inverse_normal(p))
        case "rectangular":
            scores = _unit(2 * p - 1)
        case "triangular":
            scores = _unit(np.sign(2 * p - 1) * (1 - np.sqrt(1 - np.abs(2 * p - 1))))
        case "student":
            scores = _student(degrees or 0.0, count)
        case _:
            message = f"a {kind} shape is drawn together with its fellows, not alone"
            raise ValueError(message)
    return frozen(scores)


def tabulate(count: int) -> None:
    """Make the tables that most campaigns use; a process that forks afterwards does it for all its children."""
    for kind in ("normal", "rectangular", "triangular"):
        score_table(kind, None, count)
    for degrees in range(_EIGHTHS_UP_TO, _LAST_FINE_DEGREE + 1):
        score_table("student", degrees, count)


def _student(degrees: float, count: int) -> FloatArray:
    """Return the quantiles of t: its logarithm over that of the normal score of the same probability is smooth."""
    scores = inverse_normal(_midpoints(count)[count // 2 :])
    places = np.linspace(1e-3, float(scores[-1]) + 1e-3, _NODES)
    ratio = -special.stdtrit(degrees, special.ndtr(-places)) / places
    upper = scores * np.exp(CubicSpline(places, np.log(ratio))(scores))
    return np.concatenate([-upper[::-1], upper]) if count % 2 == 0 else np.concatenate([-upper[:0:-1], upper])


@lru_cache(maxsize=32)
def spread_table(degrees: float, count: int) -> FloatArray:
    """Return the read-only scores of sqrt(df / chi-square), common to jointly Student estimates."""
    scores = inverse_normal(_midpoints(count))
    places = np.linspace(scores[0] - 1e-3, scores[-1] + 1e-3, 2 * _NODES)
    low, high = places[places < 0], places[places >= 0]
    halves = special.gammaincinv(degrees / 2, special.ndtr(low)), special.gammainccinv(degrees / 2, special.ndtr(-high))
    logarithm = CubicSpline(places, -0.5 * np.log(2 * np.concatenate(halves) / degrees))
    return frozen(np.exp(logarithm(scores)))


def frozen(array: _Array) -> _Array:
    """Return the array, set read-only."""
    array.setflags(write=False)
    return array


def _midpoints(count: int) -> FloatArray:
    return (np.arange(count, dtype=np.float64) + 0.5) / count


def _odd(scores: FloatArray) -> FloatArray:
    """Return scores made exactly antisymmetric, so that their mean is 0."""
    return (scores - scores[::-1]) / 2


def _unit(scores: FloatArray) -> FloatArray:
    even = _odd(scores)
    return np.asarray(even / np.sqrt(np.mean(even * even)), dtype=np.float64)
