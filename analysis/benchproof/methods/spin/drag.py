"""Drag of a sample from its coast-downs, and whose figure it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.records import Figure
from benchproof.methods.sanity import judged
from benchproof.methods.spin.coasting import deceleration_of
from benchproof.methods.spin.inertia import rotor_inertia
from benchproof.trials.quantity import Quantity, merge_parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from benchproof.methods.bench import Bench
    from benchproof.methods.spin.coasting import CoastRun, Deceleration
    from benchproof.trials.engine import Trials
    from benchproof.trials.quantity import Part

    FloatArray = NDArray[np.float64]

REPEATS_DIFFER: Final = 0.05
"""Coast-downs of one rotor further apart than this, relative, are remarked on: bearings and magnets warm up."""


@dataclass(frozen=True, slots=True)
class Coasts:
    """A sample's coast-downs with open windings.

    Parameters
    ----------
    sample : str
        The sample.
    bare : tuple of Deceleration
        Of the rotor alone.
    carrying : tuple of Deceleration
        With a flywheel.
    rotor : Quantity or None
        Inertia of the rotor, kg m2.
    shorted : bool
        Whether a coast-down with shorted windings was left out.
    """

    sample: str
    bare: tuple[Deceleration, ...]
    carrying: tuple[Deceleration, ...]
    rotor: Quantity | None
    shorted: bool

    @property
    def range(self) -> tuple[float, float]:
        """Return the speeds all bare coast-downs passed through, rad/s."""
        if not self.bare:
            return np.inf, -np.inf
        return max(each.range[0] for each in self.bare), min(each.range[1] for each in self.bare)

    def drag(self, speeds: FloatArray, trials: Trials) -> tuple[FloatArray, FloatArray, tuple[Part, ...]]:
        """Return the motor's own drag at some speeds, N m: ``J_rotor |dw/dt|``, mean of the bare coast-downs.

        Raises
        ------
        ValueError
            Without an inertia of the rotor, or a coast-down of it alone.
        """
        if self.rotor is None or not self.bare:
            message = "drag needs the rotor's inertia and a coast-down without flywheel"
            raise ValueError(message)
        value = self.rotor.value * np.mean([each.at(speeds) for each in self.bare], axis=0)
        by_trial = self.rotor.trials * np.mean([each.trials(speeds, trials) for each in self.bare], axis=0)
        parts = merge_parts([self.rotor.parts, *(each.parts(trials) for each in self.bare)])
        return np.asarray(value), np.asarray(by_trial), parts

    def drag_at(self, speed: float, trials: Trials) -> Quantity:
        """Return the drag at one speed (rad/s)."""
        value, by_trial, parts = self.drag(np.array([speed]), trials)
        return Quantity(float(value[0]), by_trial[0], parts)


def coasts_of(inputs: Sequence[CoastRun], bench: Bench) -> tuple[tuple[Coasts, ...], tuple[Remark, ...]]:
    """Return the coast-downs by sample, those with shorted windings left out, and remarks."""
    found, remarks = [], []
    for sample in dict.fromkeys(run.sample for run in inputs):
        own = [run for run in inputs if run.sample == sample]
        remarks += [_shorted(run) for run in own if run.shorted]
        laws = [deceleration_of(run) for run in own if not run.shorted]
        rotor = rotor_inertia(sample, bench)
        if rotor is None:
            remarks.append(_without_rotor(sample))
        bare = tuple(law for law in laws if law.run.flywheel is None)
        remarks += _repeats(bare)
        found.append(
            Coasts(
                sample=sample,
                bare=bare,
                carrying=tuple(law for law in laws if law.run.flywheel is not None),
                rotor=rotor[0] if rotor else None,
                shorted=any(run.shorted for run in own),
            )
        )
    return tuple(found), tuple(remarks)


def _shorted(run: CoastRun) -> Remark:
    sentence = (
        "the windings were shorted, so the motor braked itself: this coast-down says nothing of drag and is left out "
        "of every figure; repeat it with the motor unplugged from its drive"
    )
    return Remark("shorted_windings", run.occasion.run, sentence)


def _without_rotor(sample: str) -> Remark:
    sentence = (
        f"no test of sample {sample} states its rotor_inertia, and drag is inertia times deceleration: it is "
        "withheld. Swing the stripped bell on two wires, or state its inertia with an uncertainty"
    )
    return Remark("no_rotor_inertia", f"sample {sample}", sentence)


def _repeats(bare: Sequence[Deceleration]) -> list[Remark]:
    """Remark on coast-downs of one rotor that differ."""
    if len(bare) < 2:
        return []
    low, high = max(each.range[0] for each in bare), min(each.range[1] for each in bare)
    middle = np.array([each.at(np.array([(low + high) / 2]))[0] for each in bare])
    spread = float(np.ptp(middle) / middle.mean())
    if spread <= REPEATS_DIFFER:
        return []
    sentence = (
        f"coast-downs of sample {bare[0].run.sample} differ by {spread:.1%}; bearings and magnets may have warmed up"
    )
    return [Remark("repeats_disagree", f"sample {bare[0].run.sample}", sentence)]


def drag_figures(coasts: Sequence[Coasts], bench: Bench, method: str) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return ``drag_torque`` at the lab's speeds for samples without a run without load, which owns that figure."""
    owned = {test.sample for test in bench.tests("no_load")}
    figures = [
        _figure(each, written, bench, method)
        for each in coasts
        if each.sample not in owned and (each.bare or (each.shorted and not each.carrying))
        for written in bench.lab.operating_points.speed
    ]
    return judged(figures)


def _figure(coasts: Coasts, written: Any, bench: Bench, method: str) -> Figure:
    figure = Figure("drag_torque", {"speed": written.text}, coasts.sample, None, method)
    if not coasts.bare:
        return figure.withheld("shorted_windings")
    if coasts.rotor is None:
        return figure.withheld("no_rotor_inertia")
    low, high = coasts.range
    if not low <= written.si <= high:
        return figure.flagged("not_reached")
    return replace(figure, quantity=coasts.drag_at(written.si, bench.trials))
