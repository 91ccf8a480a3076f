"""Once-per-turn marks: which rows are marks, and how many turns lie between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

LOOK_BACK: Final = 4
"""Marks over which the rate of turning is taken; more would not follow it, fewer follow the marks' own scatter."""

OFF_TURN: Final = 0.25
"""A mark that lies further than this from a whole turn, in turns, is none."""


@dataclass(frozen=True, slots=True)
class Turns:
    """Marks with the turns counted.

    Parameters
    ----------
    rows : NDArray of int
        Rows of the log that are marks and are kept, shape (n,).
    angle : FloatArray
        Angle at each, rad, from the first on, shape (n,).
    missing, extra : int
        Marks that were missed and bridged, and marks left out because they lie inside a turn.
    """

    rows: NDArray[np.intp]
    angle: FloatArray
    missing: int
    extra: int


def mark_rows(channel: FloatArray) -> NDArray[np.intp]:
    """Return the rows of a log at which the mark passes.

    A log that writes one row a turn has the mark in every row; one sampled at its own rate shows it as a rise.
    """
    up = channel > 0.5
    if up.all():
        return np.arange(channel.size)
    return np.flatnonzero(up[1:] & ~up[:-1]) + 1


def count_turns(time: FloatArray, rows: NDArray[np.intp]) -> Turns:
    """Count the turns between marks, over marks that were missed and without those that were counted twice.

    Parameters
    ----------
    time : FloatArray
        Stamps of the log, s.
    rows : NDArray of int
        Its rows that are marks, at least three.

    Notes
    -----
    Counting starts at the fast end, where the time of a turn changes least from one to the next, and foretells each
    turn from the speed and acceleration of those before.
    """
    stamps = time[rows]
    fast_end = np.median(np.diff(stamps[-4:])) < np.median(np.diff(stamps[:4]))
    walked = stamps[::-1] if fast_end else stamps
    kept, turns, missing, extra = _walk(np.abs(walked - walked[0]))
    chosen = rows[::-1][kept] if fast_end else rows[kept]
    angle = 2 * np.pi * np.array(turns, dtype=np.float64)
    if fast_end:
        chosen, angle = chosen[::-1], angle[-1] - angle[::-1]
    return Turns(chosen, angle, missing, extra)


def _walk(elapsed: FloatArray) -> tuple[list[int], list[int], int, int]:
    """Return kept marks and their turn counts, walking away from the fast end."""
    usual = 1.0 / float(np.median(np.diff(elapsed[: LOOK_BACK + 1])))
    kept, turns, missing, extra = [0], [0], 0, 0
    for k in range(1, elapsed.size):
        since = float(elapsed[k] - elapsed[kept[-1]])
        passed = since * max(_rate(elapsed, kept, turns, usual, since), 0.25 * usual)
        whole = round(passed)
        if whole < 1 or (passed < 1 and whole - passed > OFF_TURN):
            extra += 1
            continue
        missing += whole - 1
        kept.append(k)
        turns.append(turns[-1] + whole)
        usual = whole / since
    return kept, turns, missing, extra


def _rate(elapsed: FloatArray, kept: list[int], turns: list[int], usual: float, since: float) -> float:
    """Foretell the turns a second half-way through the next turn from those before it and how their rate changed."""
    if len(kept) <= LOOK_BACK:
        return usual
    ends = [kept[-1], kept[-1 - LOOK_BACK], kept[max(-1 - 2 * LOOK_BACK, -len(kept))]]
    counted = [turns[-1], turns[-1 - LOOK_BACK], turns[max(-1 - 2 * LOOK_BACK, -len(turns))]]
    latest, between, first = (float(elapsed[end]) for end in ends)
    recent = (counted[0] - counted[1]) / (latest - between)
    if between == first:
        return recent
    before = (counted[1] - counted[2]) / (between - first)
    change = (recent - before) / ((latest - first) / 2)
    return recent + change * (since + latest - between) / 2
