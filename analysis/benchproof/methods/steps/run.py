"""One log of throttle steps, and the steps that stand in it."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.plateaus import COMMAND_STEP

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from benchproof.rig.instrument import Occasion

    FloatArray = NDArray[np.float64]

SAME_LEVEL: Final = 0.015
"""A logged throttle this near to a stated one, as a ratio, is that throttle."""

SQUARE: Final = 1
"""Rows a command may take from one level to the other and still be a step."""

FEWEST_ROWS: Final = 8
"""Rows after a command below which nothing can be fitted."""

BEFORE: Final = 0.25
"""Share of the stretch before a command that the step starts from; the earlier part may not have settled."""


@dataclass(frozen=True, slots=True)
class StepRun:
    """One log of throttle steps.

    Parameters
    ----------
    sample : str
        The sample.
    propeller : str
        Name of the propeller on this rig; empty where none is stated.
    start, stop : float
        Throttle before and after the step, ratio.
    words : tuple of str
        The same as the lab wrote them.
    time, throttle, speed : array, shape (n,)
        s, ratio, rad/s.
    others : Mapping of str to array
        current (A) and voltage (V) where they are logged, shape (n,).
    lag : float
        First-order lag of the speed's instrument, s.
    occasion : Occasion
        Rig, campaign, run, date.
    """

    sample: str
    propeller: str
    start: float
    stop: float
    words: tuple[str, str]
    time: FloatArray
    throttle: FloatArray
    speed: FloatArray
    others: Mapping[str, FloatArray]
    lag: float
    occasion: Occasion

    @property
    def frame(self) -> float:
        """Time from row to row, s."""
        return float(np.median(np.diff(self.time)))


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the throttle in a log.

    Parameters
    ----------
    way : str
        From where to where, as results write it.
    command : float
        Stamp of the first row with the new command, s.
    rows : slice
        What belongs to the step: the end of the stretch before the command and all of the stretch after it.
    after : int
        First row with the new command, counted in the log.
    ramp : int
        Rows between the two levels; more than one is no step.
    """

    way: str
    command: float
    rows: slice
    after: int
    ramp: int

    @property
    def square(self) -> bool:
        """Whether the command jumped."""
        return self.ramp <= SQUARE


def ways(run: StepRun) -> tuple[tuple[str, float, float], ...]:
    """Return the stated step and the way back: words, throttle before, throttle after."""
    one, other = run.words
    return (f"{one} to {other}", run.start, run.stop), (f"{other} to {one}", run.stop, run.start)


def steps_of(run: StepRun) -> tuple[Step, ...]:
    """Return the steps of a log between the stated throttles, there and back, in the order of the log."""
    return tuple(_steps(run))


def _steps(run: StepRun) -> Iterator[Step]:
    stretches = _stretches(run.throttle)
    for (first, last), (begin, end) in itertools.pairwise(stretches):
        before, after = float(np.median(run.throttle[first:last])), float(np.median(run.throttle[begin:end]))
        for words, start, stop in ways(run):
            if abs(before - start) < SAME_LEVEL and abs(after - stop) < SAME_LEVEL:
                # The first row of a ramp is where the command was given.
                lead = max(FEWEST_ROWS // 2, round(BEFORE * (last - first)))
                rows = slice(max(first, last - lead), end)
                yield Step(words, float(run.time[last]), rows, last, begin - last)


def _stretches(throttle: FloatArray) -> list[tuple[int, int]]:
    """Return first and last row of each stretch of constant command that can carry a fit."""
    edges = np.flatnonzero(np.abs(np.diff(throttle)) > COMMAND_STEP) + 1
    bounds = [0, *edges.tolist(), throttle.size]
    return [(first, last) for first, last in itertools.pairwise(bounds) if last - first >= FEWEST_ROWS]
