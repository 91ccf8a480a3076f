"""Balance quality after ISO 21940-11 (which took the place of ISO 1940-1) [from memory].

A grade G is the speed at which the centre of mass circles the axis: eccentricity times angular speed, in mm/s. It is
not the vibration of the housing, and it stands for a stated service speed only.
"""

from __future__ import annotations

from typing import Any


def permissible_unbalance(grade: Any, mass: Any, speed: Any) -> Any:
    """Return the permissible residual unbalance of a grade, kg m.

    Parameters
    ----------
    grade : float or array
        Balance quality grade, m/s (G 6.3 is 6.3e-3).
    mass : float or array
        Of the rotor, kg.
    speed : float or array
        Service speed, rad/s.
    """
    return grade * mass / speed


def quality(unbalance: Any, mass: Any, speed: Any) -> Any:
    """Return the speed of the centre of mass about the axis, ``U w / m``, m/s.

    Parameters
    ----------
    unbalance : float or array
        Residual unbalance, kg m.
    mass : float or array
        Of the rotor, kg.
    speed : float or array
        Service speed, rad/s.
    """
    return unbalance * speed / mass


def shaking_force(unbalance: Any, speed: Any) -> Any:
    """Return the rotating force of an unbalance, ``U w^2``, N."""
    return unbalance * speed**2
