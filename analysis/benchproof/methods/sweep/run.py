"""One log of a thrust sweep, reduced: plateaus, points, curves, checks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchproof.campaign.stuck import stuck_mask
from benchproof.methods.plateaus import cut
from benchproof.methods.sweep.checks import beyond_calibration, checked
from benchproof.methods.sweep.curves import SweepCurves
from benchproof.methods.sweep.points import points_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from benchproof.errors import Remark
    from benchproof.methods.plateaus import Segments
    from benchproof.methods.sweep.points import Points, SweepRun
    from benchproof.trials.engine import Trials


@dataclass(frozen=True, slots=True)
class ReducedRun:
    """A run with its plateaus and curves.

    Parameters
    ----------
    run : SweepRun
        What went in.
    segments : Segments
        The log cut at throttle commands.
    points : Points
        Plateaus in logarithms.
    curves : SweepCurves
        Reads any figure along any axis.
    remarks : tuple of Remark
        Warnings.
    withheld : Mapping of str to str
        Figures that must not be printed, and the code of the reason.
    beyond : NDArray of bool
        Steps beyond an instrument's calibrated range, shape (n,).
    """

    run: SweepRun
    segments: Segments
    points: Points
    curves: SweepCurves
    remarks: tuple[Remark, ...]
    withheld: Mapping[str, str]
    beyond: NDArray[np.bool_]


def reduce_run(run: SweepRun, trials: Trials) -> ReducedRun:
    """Cut one log into plateaus and make its curves ready.

    Raises
    ------
    MethodError
        If no plateau settled, or thrust is never positive.
    """
    sampled = {**run.channels, "electrical_power": run.channels["voltage"] * run.channels["current"]}
    stuck = np.logical_or.reduce([stuck_mask(values) for values in run.channels.values()])
    judged = [name for name in ("speed", "thrust") if name in run.channels]
    segments = cut(run.time, run.throttle, sampled, ~stuck, judged=judged, least_wait=run.settle)
    points, tare, remarks = points_of(run, segments, trials)
    withheld, found = checked(run, points, tare)
    beyond = beyond_calibration(run, points)
    return ReducedRun(run, segments, points, SweepCurves(points, trials), (*remarks, *found), withheld, beyond)
