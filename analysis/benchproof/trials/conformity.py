"""Probability that a measured item conforms to limits."""

from __future__ import annotations

from scipy import special


def conformity_probability(value: float, standard: float, low: float | None = None, high: float | None = None) -> float:
    """Return the probability that the true value lies between the limits, for a normal distribution.

    ``p_c = Phi((TU - y) / u) - Phi((TL - y) / u)`` (JCGM 106:2012, 7.4).

    Parameters
    ----------
    value, standard : float
        Estimate and its standard uncertainty, above 0.
    low, high : float or None
        Tolerance limits; None where there is none on that side.
    """
    below = 1.0 if high is None else float(special.ndtr((high - value) / standard))
    above = 0.0 if low is None else float(special.ndtr((low - value) / standard))
    return below - above
