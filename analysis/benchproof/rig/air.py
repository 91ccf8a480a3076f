"""Density of moist air after CIPM-2007.

Picard, Davis, Glaeser, Fujii: Revised formula for the density of moist air (CIPM-2007), Metrologia 45 (2008)
149-155 [coefficients from memory, checked against published densities]. The formula's own standard uncertainty is
22 parts in a million; it is meant for 15 to 27 degC and 600 to 1100 hPa and degrades slowly outside.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    FloatArray = NDArray[np.float64]

_KELVIN: Final = 273.15
_GAS_CONSTANT: Final = 8.314472
_MOLAR_MASS_OF_VAPOUR: Final = 18.01528e-3
_REFERENCE_CARBON_DIOXIDE: Final = 400e-6


def saturation_pressure(temperature: ArrayLike) -> FloatArray:
    """Return the saturation pressure of water vapour over water, Pa (CIPM-2007, A1.1).

    Parameters
    ----------
    temperature : array
        K.
    """
    T = np.asarray(temperature, dtype=np.float64)
    return np.asarray(np.exp(1.2378847e-5 * T**2 - 1.9121316e-2 * T + 33.93711047 - 6.3431645e3 / T))


def enhancement_factor(temperature: ArrayLike, pressure: ArrayLike) -> FloatArray:
    """Return how much air raises the vapour pressure at saturation, a ratio (CIPM-2007, A1.1).

    Parameters
    ----------
    temperature, pressure : array
        K, Pa.
    """
    t = np.asarray(temperature, dtype=np.float64) - _KELVIN
    return np.asarray(1.00062 + 3.14e-8 * np.asarray(pressure, dtype=np.float64) + 5.6e-7 * t**2)


def compressibility(temperature: ArrayLike, pressure: ArrayLike, vapour: ArrayLike) -> FloatArray:
    """Return the compressibility factor of moist air (CIPM-2007, A1.4).

    Parameters
    ----------
    temperature, pressure, vapour : array
        K, Pa, mole fraction of water vapour.
    """
    T = np.asarray(temperature, dtype=np.float64)
    p = np.asarray(pressure, dtype=np.float64)
    x = np.asarray(vapour, dtype=np.float64)
    t = T - _KELVIN
    dry = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
    moist = (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x**2
    return np.asarray(1 - p / T * (dry + moist) + (p / T) ** 2 * (1.83e-11 - 0.765e-8 * x**2))


def moist_air_density(
    temperature: ArrayLike,
    pressure: ArrayLike,
    humidity: ArrayLike,
    carbon_dioxide: float = _REFERENCE_CARBON_DIOXIDE,
) -> FloatArray:
    """Return the density of moist air, kg/m3 (CIPM-2007, equation 1).

    Parameters
    ----------
    temperature : array
        K.
    pressure : array
        Pa.
    humidity : array
        Relative humidity, 0 to 1.
    carbon_dioxide : float
        Mole fraction.

    Returns
    -------
    array
        Of the shape the arguments broadcast to, so trials of the three give trials of the density.
    """
    T = np.asarray(temperature, dtype=np.float64)
    p = np.asarray(pressure, dtype=np.float64)
    h = np.asarray(humidity, dtype=np.float64)
    vapour = h * enhancement_factor(T, p) * saturation_pressure(T) / p
    dry_air = (28.96546 + 12.011 * (carbon_dioxide - _REFERENCE_CARBON_DIOXIDE)) * 1e-3
    mean_molar_mass = dry_air * (1 - vapour * (1 - _MOLAR_MASS_OF_VAPOUR / dry_air))
    return np.asarray(p * mean_molar_mass / (compressibility(T, p, vapour) * _GAS_CONSTANT * T))
