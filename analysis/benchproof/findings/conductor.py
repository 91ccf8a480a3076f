"""What the conductor of a winding can do: metal, plating, gauge, fill, skin effect.

Resistivities at 20 degC after the CRC Handbook of Chemistry and Physics, annealed copper after IEC 60028 (IACS); skin
effect of a round wire by the exact Bessel ratio (textbook knowledge [from memory]).
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import special

from benchproof.trials.quantity import Quantity, combine

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike, NDArray

    FloatArray = NDArray[np.float64]

IACS: Final = 1 / 58e6
"""Annealed copper of the international standard, 20 degC, ohm m."""

RESISTIVITY: Final[Mapping[str, float]] = MappingProxyType(
    {"copper": 1.678e-8, "silver": 1.587e-8, "aluminium": 2.650e-8}
)
"""Pure metals at 20 degC, ohm m."""

VACUUM: Final = 4e-7 * np.pi
"""Permeability of vacuum, H/m (exact before 2019, and to 1e-9 since)."""


def awg_diameter(gauge: float) -> float:
    """Return the diameter of a wire gauge, m: ``0.005 in x 92^((36 - n) / 39)`` (ASTM B258 [from memory]).

    Parameters
    ----------
    gauge : float
        Number of the gauge; 0000 is -3.
    """
    return float(0.005 * 0.0254 * 92 ** ((36 - gauge) / 39))


def resistance_per_length(diameter: ArrayLike, resistivity: float = IACS) -> FloatArray:
    """Return the direct-current resistance of a round wire, ohm/m; diameter in m, resistivity in ohm m."""
    return np.asarray(resistivity / (np.pi * np.asarray(diameter, dtype=np.float64) ** 2 / 4))


def skin_depth(frequency: ArrayLike, resistivity: float = IACS) -> FloatArray:
    """Return the depth at which an alternating field has fallen to 1/e, m: ``sqrt(rho / (pi f mu_0))``; f in Hz."""
    return np.asarray(np.sqrt(resistivity / (np.pi * np.asarray(frequency, dtype=np.float64) * VACUUM)))


def ac_ratio(diameter: ArrayLike, frequency: ArrayLike, resistivity: float = IACS) -> FloatArray:
    """Return the resistance of a lone round wire at a frequency over that at direct current.

    ``Re[k a J_0(k a) / (2 J_1(k a))]`` with ``k = (1 - i) / depth``: exact. Neighbouring turns add to it (proximity),
    for every metal nearly alike.

    Parameters
    ----------
    diameter : array_like
        m.
    frequency : array_like
        Hz.
    resistivity : float
        ohm m.
    """
    return bessel_ratio(np.sqrt(2) * np.asarray(diameter) / 2 / skin_depth(frequency, resistivity))


def bessel_ratio(x: ArrayLike) -> FloatArray:
    """Return the same ratio for ``x = a sqrt(w mu sigma)``, ``a`` the radius."""
    argument = np.asarray(x, dtype=np.float64) * np.exp(-0.25j * np.pi)
    # Both scaled by the same exponential, so that thick wires do not overflow.
    return np.asarray(np.real(argument * special.jve(0, argument) / (2 * special.jve(1, argument))))


def plated_change(
    diameter: ArrayLike, plating: ArrayLike, core: float = RESISTIVITY["copper"], coat: float = RESISTIVITY["silver"]
) -> FloatArray:
    """Return by how much plating changes the resistance of a wire of the same finished diameter, relative.

    Core and coat conduct side by side. The same finished diameter is the honest comparison: it is what fits the slot,
    and any metal added on top would lower the resistance.

    Parameters
    ----------
    diameter, plating : array_like
        Finished diameter and thickness of the coat, m.
    core, coat : float
        Resistivities, ohm m.
    """
    outer = np.asarray(diameter, dtype=np.float64)
    inner = np.maximum(outer - 2 * np.asarray(plating, dtype=np.float64), 0.0)
    share = (inner / outer) ** 2
    return np.asarray(1 / (core * (share / core + (1 - share) / coat)) - 1)


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """How much of a measured difference a predicted one explains.

    Parameters
    ----------
    fraction : Quantity or None
        Predicted over measured; None where the measured difference may be nothing at all.
    verdict : str
        ``nothing_to_explain``, ``can``, ``cannot`` or ``undecided``.
    """

    fraction: Quantity | None
    verdict: str


def explained(predicted: Quantity, measured: Quantity, coverage: float) -> Explained:
    """Judge whether a predicted difference can be the cause of a measured one.

    Parameters
    ----------
    predicted, measured : Quantity
        Differences of the same kind (of resistance, relative; of efficiency), trials paired.
    coverage : float
        Of the intervals.

    Returns
    -------
    Explained
        ``cannot`` where the whole interval of the fraction lies below 1 (or on the wrong side of 0), ``can`` where the
        measured difference is no larger than predicted, ``undecided`` where the interval holds 1.
    """
    low, high = measured.interval(coverage)
    if low <= 0 <= high:
        return Explained(None, "nothing_to_explain")
    fraction = combine(np.divide, predicted, measured)
    least, most = fraction.interval(coverage)
    verdict = "cannot" if most < 1 else "can" if least >= 1 else "undecided"
    return Explained(fraction, verdict)


_VERDICTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "nothing_to_explain": "The measured difference may be nothing at all, so there is nothing to explain.",
        "can": "The conductor alone can make the whole measured difference.",
        "cannot": "The conductor cannot make the measured difference; most or all of it has other causes.",
        "undecided": "The conductor may or may not make the whole measured difference.",
    }
)


def explained_words(judged: Explained, coverage: float) -> str:
    """Return a judgement as sentences for a reader, with the explained fraction and its interval."""
    sentence = _VERDICTS[judged.verdict]
    if judged.fraction is None:
        return sentence
    low, high = judged.fraction.interval(coverage)
    share = f"{100 * judged.fraction.value:.0f} % of it ({100 * low:.0f} to {100 * high:.0f} %)"
    return f"{sentence} What is claimed would explain {share}."


def resistance_beside(resistance: Quantity, kv: Quantity, other: Quantity, other_kv: Quantity) -> Quantity:
    """Return how far a resistance differs from another's at equal turns, relative: ``R Kv^2`` over the other's, less 1.

    ``R Kv^2`` goes with ``1 / Km^2``: it does not change when a motor is rewound in the same copper, so what is left is
    metal, fill, magnets and iron.
    """
    return combine(lambda r, k, s, j: (r / s) * (k / j) ** 2 - 1, resistance, kv, other, other_kv)
