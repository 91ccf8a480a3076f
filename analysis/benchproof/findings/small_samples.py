"""What a few pieces say of all the others: tests of two means, and tolerance factors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import integrate, optimize, special

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class MeanTest:
    """A difference of means with its standard error, degrees of freedom and two-sided p-value."""

    difference: float
    standard_error: float
    degrees_of_freedom: float

    @property
    def t(self) -> float:
        """Student's t."""
        return self.difference / self.standard_error

    @property
    def p(self) -> float:
        """Two-sided p-value of no difference."""
        return float(2 * special.stdtr(self.degrees_of_freedom, -abs(self.t)))

    def interval(self, coverage: float) -> tuple[float, float]:
        """Return the confidence interval of the difference."""
        half = float(special.stdtrit(self.degrees_of_freedom, (1 + coverage) / 2)) * self.standard_error
        return self.difference - half, self.difference + half


def paired(one: Sequence[float], other: Sequence[float]) -> MeanTest:
    """Return the paired t test of the same pieces measured twice (Student, Biometrika 6 (1908) 1).

    Raises
    ------
    ValueError
        If the two differ in length, or have fewer than two pairs.
    """
    apart = np.asarray(one, dtype=np.float64) - np.asarray(other, dtype=np.float64)
    if apart.size < 2:
        message = "a paired test needs two pairs or more"
        raise ValueError(message)
    return MeanTest(float(apart.mean()), float(apart.std(ddof=1) / apart.size**0.5), float(apart.size - 1))


def welch(one: Sequence[float], other: Sequence[float]) -> MeanTest:
    """Return the t test of two groups of unlike spread (Welch, Biometrika 34 (1947) 28 [from memory]).

    Raises
    ------
    ValueError
        If a group has fewer than two members, or nothing differs in either.
    """
    groups = [np.asarray(group, dtype=np.float64) for group in (one, other)]
    if min(group.size for group in groups) < 2:
        message = "Welch's test needs two members or more in each group"
        raise ValueError(message)
    shares = [float(group.var(ddof=1) / group.size) for group in groups]
    if not sum(shares):
        message = "nothing differs within either group"
        raise ValueError(message)
    degrees = sum(shares) ** 2 / sum(share**2 / (group.size - 1) for share, group in zip(shares, groups, strict=True))
    return MeanTest(float(groups[0].mean() - groups[1].mean()), sum(shares) ** 0.5, degrees)


def prediction_factor(size: int, degrees: int, coverage: float) -> float:
    """Return k of the interval mean ± k s that holds one more piece (ISO 16269-8 [from memory]).

    Parameters
    ----------
    size : int
        Number of pieces the mean is of.
    degrees : int
        Degrees of freedom of s, which may be pooled over other models.
    coverage : float
        Probability that the piece lies within.
    """
    return float(special.stdtrit(degrees, (1 + coverage) / 2)) * float((1 + 1 / size) ** 0.5)


def tolerance_factor(size: int, content: float, confidence: float, degrees: int | None = None) -> float:
    """Return k of the two-sided tolerance interval mean ± k s of a normal sample (ISO 16269-6, exact).

    Parameters
    ----------
    size : int
        Number of pieces the mean is of.
    content : float
        Share of all pieces the interval holds.
    confidence : float
        Probability that it does.
    degrees : int or None
        Degrees of freedom of s, where they are not ``size - 1``: pooled over other models.

    Notes
    -----
    k solves ``E[P(chi2_nu >= nu r(z)^2 / k^2)] = confidence``, where z ~ N(0, 1/n) is the error of the mean and r(z)
    the half-width about it that holds the content.
    """
    nu = size - 1 if degrees is None else degrees

    def reach(z: float) -> float:
        bracket = (0.0, abs(z) + 10.0)
        return float(optimize.brentq(lambda r: special.ndtr(z + r) - special.ndtr(z - r) - content, *bracket))

    def held(k: float) -> float:
        def weighed(z: float) -> float:
            inside = special.chdtrc(nu, nu * reach(z) ** 2 / k**2)
            return float(inside * np.exp(-size * z * z / 2) * (size / (2 * np.pi)) ** 0.5)

        return float(2 * integrate.quad(weighed, 0, 8 / size**0.5, epsrel=1e-7)[0])

    return float(optimize.brentq(lambda k: held(k) - confidence, 0.5, 1e3, xtol=1e-5))
