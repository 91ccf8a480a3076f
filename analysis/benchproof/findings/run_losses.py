"""The loss budget of a flywheel run, at the speeds its figures are read at.

A run lasts a second or so: the winding starts at a known temperature and takes up most of its own loss. How warm it was
at a speed is not known; a rise of 0 to 60 K counts with its width (practitioner's judgement: 45 A through 55 milliohm
for 0.8 s heat 5 g of copper by 46 K).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.findings.loss_inputs import MOST_SATURATION, drag_at, row_of, unknown
from benchproof.findings.losses import Loaded, LossBudget, Machine, loss_budget, winding_current
from benchproof.trials.quantity import merge_parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.findings.loss_inputs import Known
    from benchproof.trials.engine import Trials
    from benchproof.trials.quantity import Quantity

MOST_RISE: Final = 60.0
"""Largest rise of the winding during a run, K."""


def run_budget(
    sample: str,
    figures: Sequence[tuple[float, Quantity, Quantity]],
    known: Known,
    campaign: str,
    trials: Trials,
) -> LossBudget:
    """Return the loss budget of a sample's flywheel run.

    Parameters
    ----------
    sample : str
        The sample.
    figures : sequence of (float, Quantity, Quantity)
        Speed (rad/s) within reach of the drag's, shaft torque (N m) and efficiency of motor and drive there, from
        which electrical power follows; at least one.
    known : Known
        What other tests say; ``ambient`` is the temperature of the winding before the run.
    campaign : str
        Names what is not known as a source of error.
    trials : Trials
        The laboratory's trials.

    Returns
    -------
    LossBudget
        The torque constant is taken to fall by 0 to 5 % at the largest current.
    """
    speed = np.repeat(np.array([at for at, _, _ in figures])[:, None], 1 + trials.count, axis=1)
    torque = np.stack([row_of(one) for _, one, _ in figures])
    power = torque * speed / np.stack([row_of(one) for _, _, one in figures])
    states = Loaded(power, torque, speed, tuple(merge_parts((t.parts, eta.parts)) for _, t, eta in figures))
    drag = drag_at(known.drag, speed)
    rise, warm = unknown(MOST_RISE, (campaign, sample, "rise in a run"), "warmth of the winding in a run", trials)
    share, fall = unknown(
        MOST_SATURATION,
        (campaign, sample, "torque constant under load"),
        "fall of the torque constant under load",
        trials,
    )
    kt = row_of(known.kt)
    largest = float(np.max(winding_current(torque[:, 0] + drag[:, 0], kt[:1], np.zeros(1))))
    machine = Machine(
        resistance=row_of(known.resistance),
        kt=kt,
        saturation=share / largest,
        drag=drag,
        ambient=row_of(known.ambient) + rise,
        heating=np.zeros_like(rise),
        on_resistance=known.on_resistance,
        parts=merge_parts(
            (
                known.resistance.parts,
                known.kt.parts,
                known.ambient.parts,
                *(one.parts for _, one in known.drag),
                (warm, fall),
            )
        ),
    )
    return loss_budget(sample, states, machine)
