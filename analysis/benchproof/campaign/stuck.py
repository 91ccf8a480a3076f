"""Channels that stand still while the log moves on: stuck and saturated stretches, from the values alone.

A run is a stretch of samples with exactly the same value. Runs are normal: a coarse digital step, a slow
channel, a channel held between updates, a motor at rest, and, in computed logs, whole plateaus. So a long run
alone says nothing. It is called

stuck
    when it is far longer than this channel's usual run, *and* the channel was restless at the same level just
    before or after it. Noise of more than a digital step does not pause; a quiet plateau has quiet or ramping
    flanks and is left alone, also when all plateaus are perfectly constant.

saturated
    when it is that long and sits at the channel's largest magnitude, while the rest of the channel is restless
    and stands still nowhere else but at rest. A perfectly constant top plateau among constant plateaus is not.

The rule prefers a miss to a false alarm, because methods leave the samples it names out of their means. It
misses a channel whose noise stays below its digital step, one that froze in the middle of a fast ramp, and one
that saturates at the very end of a log.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IndexArray = NDArray[np.intp]

_SHORTEST: Final = 20
"""Updates: a quarter of repeats (the most a restless channel has) to the 19th power is 4e-12."""

_USUAL: Final = 0.95
"""Share of a channel's runs that are taken as usual."""

_TIMES_USUAL: Final = 6
"""Far longer than usual: this many times the length that the usual runs stay within."""

_FLANK: Final = 17
"""Updates looked at on either side of a run."""

_REPEATS: Final = 0.25
"""Restless: at most this share of a channel's updates repeat the value before."""

_DRIFT: Final = 0.5
"""Restless: the net change is at most this share of the way travelled; a ramp has 1."""

_SAME_LEVEL: Final = 6.0
"""Same level: within this many typical steps (median magnitude) of the flank's median."""

_REVERSALS: Final = 0.25
"""Restless as a whole: at least this share of moves turn back; white noise has 2/3, a ramp 0."""

_SAMPLE: Final = 1 << 20
_PIECES: Final = 64
_CHUNK: Final = 1 << 18


@dataclass(frozen=True, slots=True)
class Stretch:
    """Samples ``start`` to ``stop`` (exclusive) in which a channel stood still.

    Parameters
    ----------
    start, stop : int
        Sample numbers.
    saturated : bool
        At the channel's largest magnitude; else stuck.
    """

    start: int
    stop: int
    saturated: bool


@dataclass(frozen=True, slots=True)
class _Habit:
    """What is usual for a channel.

    Parameters
    ----------
    spacing : int
        Samples from one update to the next (more than 1 where a slow instrument is logged fast).
    long : int
        Samples from which a run counts as far longer than usual.
    restless : bool
        Whether the channel as a whole, long runs apart, moves at nearly every update and to and fro.
    """

    spacing: int
    long: int
    restless: bool


def stuck_mask(values: FloatArray) -> BoolArray:
    """Return which samples should stay out of a mean because the channel stood still.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One channel, in any unit. NaN never counts as standing still.

    Returns
    -------
    ndarray of bool, shape (n,)
        True in stuck stretches and wherever a saturated channel shows its limit.
    """
    mask = np.zeros(values.shape, np.bool_)
    for stretch in standing(values):
        mask[stretch.start : stretch.stop] = True
        if stretch.saturated:
            mask |= values == values[stretch.start]
    return mask


def standing(values: FloatArray) -> tuple[Stretch, ...]:
    """Return the stretches in which a channel was stuck or saturated, in order; see the module for the rule.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One channel, in any unit.
    """
    if values.size < 2 * _SHORTEST:
        return ()
    habit = _habit(values)
    starts, stops = _long_runs(values, habit.long)
    if not starts.size:
        return ()
    stuck = _restless_beside(values, starts, stops, habit.spacing)
    saturated = _at_limit(values, starts, stops, stuck=stuck) if habit.restless else np.zeros_like(stuck)
    return tuple(Stretch(int(starts[i]), int(stops[i]), bool(saturated[i])) for i in np.flatnonzero(stuck | saturated))


def _habit(values: FloatArray) -> _Habit:
    """Return what is usual, from the whole channel or, in a large one, from pieces spread evenly over it."""
    pieces = [values]
    if values.size > _SAMPLE:
        each = _SAMPLE // _PIECES
        firsts = np.linspace(0, values.size - each, _PIECES).astype(np.intp)
        pieces = [values[first : first + each] for first in firsts]
    runs = [_runs(piece) for piece in pieces]
    lengths = np.concatenate([length for _, length in runs])
    usual, spacing = (int(q) for q in np.quantile(lengths, (_USUAL, 0.5), method="lower"))
    long = max(_SHORTEST * spacing, _TIMES_USUAL * usual)
    repeats = np.mean(lengths[lengths < long] > 1.5 * spacing) if (lengths < long).any() else 1.0
    reversals = np.mean(np.concatenate([_turns_back(level) for level, _ in runs]) if runs else 0.0)
    return _Habit(spacing, long, bool(repeats <= _REPEATS and reversals >= _REVERSALS))


def _runs(values: FloatArray) -> tuple[FloatArray, IndexArray]:
    """Return level and length of every run."""
    edges = np.flatnonzero(values[1:] != values[:-1]) + 1
    starts = np.concatenate(([0], edges))
    return values[starts], np.diff(starts, append=values.size)


def _turns_back(levels: FloatArray) -> BoolArray:
    """Return, for every move but the first, whether it goes against the one before; one False without moves."""
    rises = np.diff(levels) > 0
    return rises[1:] != rises[:-1] if rises.size > 1 else np.zeros(1, np.bool_)


def _long_runs(values: FloatArray, long: int) -> tuple[IndexArray, IndexArray]:
    """Return start and stop of every run of at least `long` samples, holding a chunk at a time."""
    found: list[IndexArray] = []
    begun = 0
    for low in range(0, values.size - 1, _CHUNK):
        piece = values[low : low + _CHUNK + 1]
        edges = np.flatnonzero(piece[1:] != piece[:-1]) + (low + 1)
        if edges.size:
            starts = np.concatenate(([begun], edges))
            which = np.flatnonzero(np.diff(starts) >= long)
            found.append(np.stack((starts[which], starts[which + 1])))
            begun = int(edges[-1])
    if values.size - begun >= long:
        found.append(np.array([[begun], [values.size]]))
    starts, stops = np.concatenate(found, axis=1) if found else np.empty((2, 0), np.intp)
    return starts, stops


def _restless_beside(values: FloatArray, starts: IndexArray, stops: IndexArray, spacing: int) -> BoolArray:
    """Return, for each run, whether the channel was restless at the run's level before or after it."""
    reach = spacing * np.arange(_FLANK)
    levels = values[starts]
    before = _restless(values, starts[:, None] - 1 - reach, levels)
    return before | _restless(values, stops[:, None] + reach, levels)


def _restless(values: FloatArray, places: IndexArray, levels: FloatArray) -> BoolArray:
    """Return which flanks (rows of `places`) lie inside the log and are restless at the level of their run."""
    inside = (places[:, -1] >= 0) & (places[:, -1] < values.size)
    flanks = values[np.clip(places, 0, values.size - 1)]
    steps = np.diff(flanks, axis=1)
    sizes = np.abs(steps)
    moving = np.mean(steps == 0, axis=1) <= _REPEATS
    wandering = np.abs(flanks[:, -1] - flanks[:, 0]) <= _DRIFT * sizes.sum(axis=1)
    same_level = np.abs(np.median(flanks, axis=1) - levels) <= _SAME_LEVEL * np.median(sizes, axis=1)
    return np.asarray(inside & moving & wandering & same_level, dtype=np.bool_)


def _at_limit(values: FloatArray, starts: IndexArray, stops: IndexArray, *, stuck: BoolArray) -> BoolArray:
    """Return which long runs sit at the channel's limit, if it stands still nowhere else but at rest."""
    levels = values[starts]
    ends = values[[0, -1]]
    limits = [limit for limit in _limits(values) if limit not in ends]
    at_limit = np.isin(levels, limits)
    at_rest = (levels == 0) | np.isin(levels, ends) | (starts == 0) | (stops == values.size)
    return at_limit if np.all(at_limit | at_rest | stuck) else np.zeros_like(at_limit)


def _limits(values: FloatArray) -> list[float]:
    """Return the largest magnitude, with its sign, and the opposite limit of a channel that swings both ways."""
    low, high = float(values.min()), float(values.max())
    larger, smaller = (high, low) if abs(high) >= abs(low) else (low, high)
    return [larger, smaller] if -smaller * np.sign(larger) >= 0.5 * abs(larger) else [larger]
