"""Which rows of a spin-up's log say how the shaft moved: speeds that are live, or marks with their turns counted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError, Remark
from benchproof.methods.spin.local import Signal
from benchproof.methods.spin.marks import count_turns, mark_rows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.methods.spin.motion import SpinRun

    FloatArray = NDArray[np.float64]

FULL_COMMAND: Final = 0.95
"""Rows at this share of the largest command or more belong to the spin-up."""

FEWEST_ROWS: Final = 15
"""Fewer rows of a spin-up carry no acceleration and no noise of it."""

SPEED_DEGREE: Final = 3
"""Local polynomials of speed are cubics, of angle quartics: on smooth stretches the bias then grows as H^4."""

FROZEN: Final = 3.0
"""A speed that stands still and then jumps by this many of its usual steps was stuck."""


def at_full_command(run: SpinRun) -> NDArray[np.intp]:
    """Return the rows of the longest stretch at full command; all rows where no command was logged."""
    throttle = run.channels.get("throttle")
    if throttle is None:
        return np.arange(run.time.size)
    full = throttle >= FULL_COMMAND * float(throttle.max())
    edges = np.flatnonzero(np.diff(np.concatenate([[False], full, [False]]).astype(np.int8)))
    starts, stops = edges[::2], edges[1::2]
    longest = int(np.argmax(stops - starts))
    return np.arange(starts[longest], stops[longest])


def signal_of(run: SpinRun, rows: NDArray[np.intp]) -> tuple[Signal, list[Remark], str]:
    """Return the motion's signal: the marks where each row is one, else the speed, else the marks of a sampled log."""
    marks = run.channels.get("once_per_turn")
    speed = run.channels.get("speed")
    if marks is not None and (speed is None or bool((marks[rows] > 0.5).all())):
        return _marks_signal(run, rows, marks)
    if speed is None:
        message = "the log has neither speed nor once_per_turn; map one of them in its layout"
        raise MethodError(run.occasion.run, message)
    return _speed_signal(run, rows, speed)


def _marks_signal(run: SpinRun, rows: NDArray[np.intp], marks: FloatArray) -> tuple[Signal, list[Remark], str]:
    found = rows[mark_rows(marks[rows])]
    if found.size < FEWEST_ROWS:
        message = f"{found.size} marks of the shaft in the spin-up; log at least {FEWEST_ROWS}, or exclude the run"
        raise MethodError(run.occasion.run, message)
    turns = count_turns(run.time, found)
    remarks = []
    if turns.missing or turns.extra:
        sentence = (
            f"{turns.missing} marks of the shaft were missed and bridged, {turns.extra} inside a turn were left out"
        )
        remarks.append(Remark("marks_repaired", run.occasion.run, sentence))
    return Signal(run.time[turns.rows], turns.angle, SPEED_DEGREE + 1, 2), remarks, ""


def _speed_signal(run: SpinRun, rows: NDArray[np.intp], speed: FloatArray) -> tuple[Signal, list[Remark], str]:
    time = run.time[rows] - run.lags.get("speed", 0.0)
    values = run.instruments["speed"].corrected(speed[rows])
    kept, frozen = _live(time, values)
    remarks = []
    if frozen:
        sentence = (
            f"the speed stood still for up to {frozen:.3g} s while the shaft gained speed; these rows are left out"
        )
        remarks.append(Remark("stuck_speed", run.occasion.run, sentence))
    after = kept & (time >= run.time[rows[0]])
    return Signal(time[after], values[after], SPEED_DEGREE, 1), remarks, ""


def _live(time: FloatArray, values: FloatArray) -> tuple[NDArray[np.bool_], float]:
    """Return the rows that bring a new speed, and the longest time a speed was stuck, s.

    A telemetry slower than the log repeats each of its values; the first of each run is kept. A run far longer than the
    usual one that ends with a jump was stuck and is left out whole.
    """
    edges = np.concatenate([[0], np.flatnonzero(np.diff(values)) + 1, [values.size]])
    lengths = np.diff(edges)
    usual = int(np.median(lengths))
    fresh = np.zeros(values.size, dtype=np.bool_)
    fresh[edges[:-1] if usual > 1 else np.arange(values.size)] = True
    levels = values[edges[:-1]]
    step = float(np.median(np.abs(np.diff(levels)))) if levels.size > 1 else 0.0
    longest = 0.0
    for k in np.flatnonzero(lengths[:-1] > max(3 * usual, 3)):
        first, last = int(edges[k]), int(edges[k + 1])
        if abs(levels[k + 1] - levels[k]) > FROZEN * step and levels[k] > levels.min():
            fresh[first:last] = False
            longest = max(longest, float(time[last - 1] - time[first]))
    return fresh, longest
