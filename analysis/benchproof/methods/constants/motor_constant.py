"""Torque constant and motor constant: figures made of several tests of one sample.

All of them are made trial by trial, so what the tests share (a meter's scale, a thermometer's offset) stays
correlated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods import weighing, winding_resistance
from benchproof.methods.constants.repeats import figure_of
from benchproof.methods.records import NO_POINT, Figure
from benchproof.trials.quantity import combine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.bench import Bench
    from benchproof.trials.quantity import Quantity

NO_RESISTANCE: Final = "no_resistance"
NO_MASS: Final = "no_mass"

KT_DEFINITION: Final = "60 / (2 pi Kv at no load): torque per supply ampere at full duty"
KM_DEFINITION: Final = "kt over the square root of the resistance between two phases at 20 degC"
KM_PER_MASS_DEFINITION: Final = "motor constant over the mass of the whole motor as weighed"


@dataclass(frozen=True, slots=True)
class Others:
    """What other tests of a sample came to; None where there is none that counts.

    Parameters
    ----------
    resistance : Quantity or None
        Between two phases at 20 degC, ohm.
    mass : Quantity or None
        Of the whole motor, kg.
    """

    resistance: Quantity | None
    mass: Quantity | None


def others_of(sample: str, bench: Bench) -> Others:
    """Return what winding resistance and weighing of a sample came to."""
    resistance = figure_of(winding_resistance, "winding_resistance_20c", sample, bench)
    mass = figure_of(weighing, "mass", sample, bench)
    return Others(
        resistance.quantity if resistance is not None else None,
        mass.quantity if mass is not None else None,
    )


def motor_constants(
    sample: str,
    kt: Quantity | None,
    others: Others,
    method: str,
    flags: Sequence[str] = (),
    without_kt: str = NO_RESISTANCE,
) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return torque constant, motor constant and motor constant per mass of a sample.

    Parameters
    ----------
    sample : str
        The sample.
    kt : Quantity or None
        Torque constant, N m/A; None where it could not be had.
    others : Others
        What other tests of the sample came to.
    method : str
        ``key/version``.
    flags : sequence of str
        What a reader must know of the torque constant.
    without_kt : str
        Code of the reason where the torque constant could not be had.

    Returns
    -------
    tuple
        The figures, withheld where a test is missing, and remarks that say what to add.
    """
    resistance, mass = others.resistance, others.mass
    km = combine(lambda k, r: k / np.sqrt(r), kt, resistance) if kt is not None and resistance is not None else None
    per_mass = combine(np.divide, km, mass) if km is not None and mass is not None else None
    names = {"kt": kt, "km": km, "km_per_mass": per_mass}
    code = without_kt if kt is None else NO_RESISTANCE if km is None else NO_MASS
    figures = []
    for name, quantity in names.items():
        figure = Figure(name, NO_POINT, sample, quantity, method, tuple(flags))
        figures.append(figure if quantity is not None else figure.withheld(code))
    return tuple(figures), tuple(_missing(sample, others))


def _missing(sample: str, others: Others) -> Sequence[Remark]:
    """Return what to add for the figures that are withheld."""
    missing = []
    if others.resistance is None:
        sentence = (
            "there is no winding resistance of this sample: the voltage behind the resistive drop and the motor "
            "constant cannot be had; add a winding_resistance test of it"
        )
        missing.append(Remark(NO_RESISTANCE, f"sample {sample}", sentence))
    if others.mass is None:
        sentence = "the whole motor was not weighed: no motor constant per mass; add a weighing with part: motor"
        missing.append(Remark(NO_MASS, f"sample {sample}", sentence))
    return missing
