"""How the resistance of a copper winding goes with temperature."""

from __future__ import annotations

from typing import Any, Final

COPPER_ZERO: Final = 234.5
"""Degrees Celsius below zero where the line of annealed copper's resistance meets zero (common practice)."""

ZERO_CELSIUS: Final = 273.15
REFERENCE: Final = 20.0 + ZERO_CELSIUS
"""Temperature that resistances are referred to, K."""


def resistance_ratio(hot: Any, cold: Any = REFERENCE) -> Any:
    """Return the resistance of copper at one temperature over that at another.

    Parameters
    ----------
    hot, cold : float or array
        Temperatures of the winding, K.

    Returns
    -------
    float or array
        ``(234.5 + t_hot) / (234.5 + t_cold)``, temperatures in degrees Celsius.
    """
    shift = COPPER_ZERO - ZERO_CELSIUS
    return (hot + shift) / (cold + shift)
