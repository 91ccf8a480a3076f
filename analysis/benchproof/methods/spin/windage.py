"""The air's drag on a flywheel: from its size, or from coast-downs with less without it.

What is added to the torque of acceleration is the drag of the flywheel alone. A coast-down with the flywheel measures
that drag together with the motor's own; adding all of it would count the motor's loss as output. So windage exists
here in two forms only: the disc's formula, and the difference of a coast-down with and one without the flywheel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.spin.discs import disc_windage
from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, merge_parts
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from benchproof.methods.spin.coasting import Deceleration
    from benchproof.trials.engine import Trials
    from benchproof.trials.quantity import Quantity

    FloatArray = NDArray[np.float64]

FACES_HALF_WIDTH: Final = 0.3
"""How far the faces' drag may lie from a free disc's: walls, roughness, where turbulence begins (judgement)."""

RIM_HALF_WIDTH: Final = 0.5
"""How far the rim's drag may lie from its formula (judgement)."""

_DENSITY_POWER: Final = 0.5


@dataclass(frozen=True, slots=True)
class Disc:
    """A flywheel as the method uses it.

    Parameters
    ----------
    name : str
        On this rig.
    inertia : Quantity
        kg m2.
    known_by : str
        How the inertia is known.
    diameter, bore, thickness : float
        m.
    material : str
        In words.
    rated_speed : float
        rad/s.
    """

    name: str
    inertia: Quantity
    known_by: str
    diameter: float
    bore: float
    thickness: float
    material: str
    rated_speed: float


@dataclass(frozen=True, slots=True)
class Windage:
    """Drag of the flywheel in air at some speeds.

    Parameters
    ----------
    value : FloatArray
        N m, shape (speeds,).
    rows, draws : FloatArray
        By trial it is ``rows @ draws``, shapes (speeds, k) and (k, trials).
    parts : tuple of Part
        Its sources.
    source : str
        ``formula`` or ``coast-downs``.
    """

    value: FloatArray
    rows: FloatArray
    draws: FloatArray
    parts: tuple[Part, ...]
    source: str

    @property
    @single_threaded()
    def trials(self) -> FloatArray:
        """Return it by trial, N m, shape (speeds, trials)."""
        return np.asarray(self.rows @ self.draws, dtype=np.float64)

    @property
    def spread(self) -> float:
        """Return the mean standard deviation over the speeds, N m."""
        return float(self.trials.std(axis=1).mean())


def by_formula(disc: Disc, speed: FloatArray, density: Quantity, viscosity: float, trials: Trials) -> Windage:
    """Return the windage of a free disc; how far it may be wrong is the method's own source, in all campaigns."""
    faces, rim = disc_windage(speed, disc.diameter, disc.thickness, density.value, viscosity)
    parts = [
        Part(source, trials.draw(source))
        for source in (
            Source(("method", "disc windage", "faces"), "windage of the disc's faces", RECTANGULAR),
            Source(("method", "disc windage", "rim"), "windage of the disc's rim", RECTANGULAR),
        )
    ]
    air = density.trials / density.value
    draws = np.stack(
        [
            air**_DENSITY_POWER * (1 + FACES_HALF_WIDTH / 3**0.5 * parts[0].draws),
            air * (1 + RIM_HALF_WIDTH / 3**0.5 * parts[1].draws),
        ]
    )
    lineage = merge_parts([tuple(parts), density.parts])
    return Windage(faces + rim, np.column_stack([faces, rim]), draws, lineage, "formula")


def by_difference(
    disc: Disc,
    rotor: Quantity,
    carrying: Sequence[Deceleration],
    bare: Sequence[Deceleration],
    formula: Windage,
    speed: FloatArray,
    trials: Trials,
) -> Windage:
    """Return the windage as the drag with the flywheel less the motor's own.

    Parameters
    ----------
    disc : Disc
        The flywheel.
    rotor : Quantity
        Inertia of the rotor, kg m2.
    carrying, bare : sequence of Deceleration
        Coast-downs of one sample with this flywheel, and of its rotor alone; at least one each.
    formula : Windage
        What the disc's formula gives at the same speeds: beyond the coast-downs' range the difference grows as it does.
    speed : FloatArray
        rad/s.
    trials : Trials
        The laboratory's trials.

    Notes
    -----
    ``T_wind = (J_fly + J_rot) |dw/dt| - J_rot |dw/dt|_bare`` at equal speed (methods of retardation).
    """
    low = max(each.range[0] for each in (*carrying, *bare))
    high = min(each.range[1] for each in (*carrying, *bare))
    inside = np.clip(speed, low, high)
    beyond = formula.value / np.interp(inside, speed, formula.value)
    with_disc = np.mean([each.at(inside) for each in carrying], axis=0)
    alone = np.mean([each.at(inside) for each in bare], axis=0)
    value = (disc.inertia.value + rotor.value) * with_disc - rotor.value * alone
    total, own = disc.inertia.trials + rotor.trials, -rotor.trials
    weighed = [(each, total / len(carrying)) for each in carrying] + [(each, own / len(bare)) for each in bare]
    rows = np.hstack([each.basis(inside) for each, _ in weighed])
    draws = np.vstack([weight * each.coefficients_by_trial(trials) for each, weight in weighed])
    lineage = [each.parts(trials) for each in (*carrying, *bare)]
    parts = merge_parts([disc.inertia.parts, rotor.parts, *lineage])
    return Windage(value * beyond, rows * beyond[:, None], draws, parts, "coast-downs")
