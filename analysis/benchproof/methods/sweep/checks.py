"""Plausibility of a sweep as a whole: mistaken units, mistaken speed, more thrust than physics allows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.sanity import bands
from benchproof.methods.sweep.propeller import FIGURES, thrust_ceiling
from benchproof.nomenclature import GRAM_FORCE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from benchproof.methods.sweep.points import Points, SweepRun, Tare

    FloatArray = NDArray[np.float64]

STANDARD_DENSITY: Final = 1.225
"""kg/m3, for ceilings where the air was not measured."""

POWER_FIGURES: Final = tuple(name for name, figure in FIGURES.items() if "electrical_power" in figure.powers)
"""Figures that fall when electrical power or thrust is wrong."""

LEAST_HOVER_EFFICIENCY: Final = 0.03
"""Ideal over electrical power below which no step of a sweep with a propeller can lie throughout."""

USUAL_HOVER_EFFICIENCY: Final = 0.45
_MISTAKEN_UNITS: Final = (
    (1 / GRAM_FORCE, "the column holds gram-force but the layout says newton"),
    (GRAM_FORCE, "the column holds newton but the layout says gram-force"),
    (
        9.80665,
        "thrust is 9.8 times too large: kilogram and newton are mixed up in the log or the calibration",
    ),
    (
        1 / 9.80665,
        "thrust is 9.8 times too small: kilogram and newton are mixed up in the log or the calibration",
    ),
)
_SAME_FACTOR: Final = 1.6
_SPEED_FIGURES: Final = tuple(name for name, product in FIGURES.items() if "speed" in product.needs)
"""Figures that a mistaken speed spoils; ``speed`` among them stands for the axis too."""
_SHARE_ABOVE: Final = 0.2


def checked(run: SweepRun, points: Points, tare: Tare) -> tuple[Mapping[str, str], tuple[Remark, ...]]:
    """Hold a run against physics.

    Returns
    -------
    tuple
        Figures to withhold with the code of the reason, and remarks.
    """
    thrust, power = np.exp(points.roots["thrust"]), np.exp(points.roots["electrical_power"])
    density = run.density.value if run.density is not None else STANDARD_DENSITY
    where = run.occasion.run
    mistaken = _speed_remarks(run, points, density)
    remarks = [*mistaken, *_beyond_remarks(run, points)]
    withheld = dict.fromkeys(_SPEED_FIGURES, "speed_unit") if mistaken else {}
    ceiling = np.array([thrust_ceiling(p, density, run.diameter) for p in power])
    efficiency = thrust**1.5 / np.sqrt(np.pi / 2 * density) / run.diameter / power
    if np.mean(thrust > ceiling) > _SHARE_ABOVE:
        withheld |= dict.fromkeys(("thrust", *POWER_FIGURES), "thrust_above_ceiling")
        sentence = "thrust is larger than momentum theory allows for the electrical power; " + _mistaken_unit(
            efficiency
        )
        remarks.append(Remark("thrust_above_ceiling", where, sentence))
    elif efficiency.max() < LEAST_HOVER_EFFICIENCY:
        withheld |= dict.fromkeys(("thrust", *POWER_FIGURES), "thrust_implausible")
        sentence = "thrust is far too small for the electrical power; " + _mistaken_unit(efficiency)
        remarks.append(Remark("thrust_implausible", where, sentence))
    return withheld, tuple(remarks)


def _mistaken_unit(efficiency: FloatArray) -> str:
    """Return the mistake of units that would explain an efficiency, or where to look."""
    factor = float(np.median(efficiency) / USUAL_HOVER_EFFICIENCY) ** (2 / 3)
    for mistaken, sentence in _MISTAKEN_UNITS:
        if 1 / _SAME_FACTOR < factor / mistaken < _SAME_FACTOR:
            return sentence
    return "look at the units of thrust, voltage and current, at the tare, and at the propeller's diameter"


def _speed_remarks(run: SweepRun, points: Points, density: float) -> list[Remark]:
    """Name a speed that is electrical where shaft speed is meant, or the other way round."""
    if "speed" not in points.roots:
        return []
    turns = np.exp(points.roots["speed"]) / (2 * np.pi)
    coefficient = float(np.median(np.exp(points.roots["thrust"]) / (density * turns**2 * run.diameter**4)))
    low, high = bands()["thrust_coefficient"].usual
    if low <= coefficient <= high or run.pole_pairs < 2:
        return []
    for factor, sentence in (
        (run.pole_pairs**2, "speed looks electrical: give its channel `divide_by: pole_pairs`"),
        (
            run.pole_pairs**-2,
            "speed looks divided by the pole pairs twice: take `divide_by` out of its channel",
        ),
    ):
        if low <= coefficient * factor <= high:
            return [Remark("speed_unit", run.occasion.run, f"thrust coefficient {coefficient:.3g}; {sentence}")]
    return []


def beyond_calibration(run: SweepRun, points: Points) -> NDArray[np.bool_]:
    """Say which steps lie beyond the range that one of their instruments was calibrated over, shape (n,)."""
    outside = np.zeros(len(points.plateaus), dtype=bool)
    for name, instrument in run.instruments.items():
        outside |= instrument.outside(np.array([p.means[name] for p in points.plateaus]))
    return outside


def _beyond_remarks(run: SweepRun, points: Points) -> list[Remark]:
    count = int(beyond_calibration(run, points).sum())
    sentence = f"{count} steps lie beyond the calibrated range of an instrument; figures read there are flagged"
    return [Remark("beyond_calibration", run.occasion.run, sentence)] if count else []
