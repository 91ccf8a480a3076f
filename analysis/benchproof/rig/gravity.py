"""Free fall at the bench: what turns a mass on a load cell into a force."""

from __future__ import annotations

import math
from typing import Final

_EQUATOR: Final = 9.7803267715
_SOMIGLIANA_K: Final = 0.001931851353
_ECCENTRICITY_SQUARED: Final = 0.00669438002290
_FREE_AIR: Final = -3.086e-6


def local_gravity(latitude: float, elevation: float) -> float:
    """Return the acceleration of free fall, m/s2.

    Normal gravity on the GRS80 ellipsoid in Somigliana's closed form (Moritz, Geodetic Reference System 1980
    [constants from memory]) and the free-air gradient of -0.3086 mGal a metre [from memory]. Real ground differs
    from it by some 0.01 %.

    Parameters
    ----------
    latitude : float
        Geodetic latitude, rad.
    elevation : float
        Height above the ellipsoid, m; the height above sea level serves.
    """
    square = math.sin(latitude) ** 2
    normal = _EQUATOR * (1 + _SOMIGLIANA_K * square) / math.sqrt(1 - _ECCENTRICITY_SQUARED * square)
    return normal + _FREE_AIR * elevation
