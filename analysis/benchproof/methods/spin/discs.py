"""What a flywheel of metal stands and holds: stress at speed, stored energy, the drag of the air.

Stress of a thin spinning disc: ``(3 + nu) / 8 rho r^2 w^2`` in the middle of a solid one, twice that and a little
more at the edge of a bore, ``(3 + nu) / 4 rho w^2 (R^2 + (1 - nu) / (3 + nu) r^2)`` (Timoshenko and Goodier, Theory
of Elasticity [from memory]). Stresses are shown so that a reader sees how they grow with the square of speed; they
say nothing of cracks, keyways, fits or balance, and no speed is called safe here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

LAMINAR: Final = 3e5
"""Reynolds number of a free disc, w r^2 / nu, at which its boundary layer is taken to turn turbulent."""

RIM_FRICTION: Final = 0.005
"""Skin friction coefficient of the rim (practitioner's judgement)."""


@dataclass(frozen=True, slots=True)
class Material:
    """A metal: density (kg/m3) and Poisson's ratio, handbook values [from memory]."""

    density: float
    poisson: float


MATERIALS: Final = {
    "stainless": Material(7950.0, 0.29),
    "steel": Material(7850.0, 0.29),
    "aluminium": Material(2700.0, 0.33),
    "aluminum": Material(2700.0, 0.33),
    "brass": Material(8500.0, 0.34),
    "titanium": Material(4430.0, 0.34),
}


def material_of(words: str) -> Material | None:
    """Return the metal that a description names, or None."""
    lower = words.lower()
    return next((metal for name, metal in MATERIALS.items() if name in lower), None)


def peak_stress(material: Material, outer: float, inner: float, speed: float) -> float:
    """Return the largest stress in a spinning disc, Pa.

    Parameters
    ----------
    material : Material
        Of the disc.
    outer, inner : float
        Diameters, m; inner 0 for a solid disc.
    speed : float
        rad/s.
    """
    nu, radius = material.poisson, outer / 2
    if not inner:
        return (3 + nu) / 8 * material.density * radius**2 * speed**2
    bored = radius**2 + (1 - nu) / (3 + nu) * (inner / 2) ** 2
    return (3 + nu) / 4 * material.density * speed**2 * bored


def stored_energy(inertia: Any, speed: Any) -> Any:
    """Return the kinetic energy of a flywheel, J: ``J w^2 / 2``."""
    return inertia * speed**2 / 2


def air_viscosity(temperature: Any) -> Any:
    """Return the dynamic viscosity of air, Pa s, at a temperature in K (Sutherland's law [from memory])."""
    return 1.716e-5 * (temperature / 273.15) ** 1.5 * (273.15 + 110.4) / (temperature + 110.4)


def disc_windage(
    speed: Any, diameter: float, thickness: float, density: Any, viscosity: float
) -> tuple[FloatArray, FloatArray]:
    """Return the torque of the air on both faces and on the rim of a disc turning freely, N m each.

    Parameters
    ----------
    speed : array
        rad/s.
    diameter, thickness : float
        m.
    density : array
        kg/m3.
    viscosity : float
        Dynamic, Pa s.

    Notes
    -----
    ``T = C_M rho w^2 r^5 / 2`` for both faces, ``C_M = 3.87 Re^-0.5`` laminar and ``0.146 Re^-0.2`` turbulent
    (Schlichting, Boundary-Layer Theory [from memory]; the same as Bird, Stewart and Lightfoot's problem of the
    rotating disc).
    """
    w, radius = np.maximum(np.asarray(speed, dtype=np.float64), 1e-9), diameter / 2
    reynolds = w * radius**2 * density / viscosity
    moment = np.where(reynolds < LAMINAR, 3.87 * reynolds**-0.5, 0.146 * reynolds**-0.2)
    faces = 0.5 * moment * density * w**2 * radius**5
    return faces, RIM_FRICTION * np.pi * thickness * radius**4 * density * w**2
