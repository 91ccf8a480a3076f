"""Settled stretches of a log between throttle commands, and their means.

A plateau counts from the moment its speed and thrust have stopped changing: the slope after Theil and Sen
times the length of the window stays under a limit, or does not exceed it by more than the slope's own
95 % uncertainty, because a bare limit would throw away most plateaus at low thrust. How long settling takes
belongs to the bench, so the wait found on most plateaus is asked of all of them.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from scipy.special import stdtrit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
    BoolArray = NDArray[np.bool_]

COMMAND_STEP: Final = 0.005
"""Throttle changes larger than this (as a ratio) start a new segment."""

ZERO_THROTTLE: Final = 0.005
"""At or under this throttle the drive is told to stand still."""

SHORTEST: Final = 1.0
"""Shortest window that counts as a plateau, in seconds."""

FEWEST_ROWS: Final = 4
"""Fewest rows of a window; a slope and its uncertainty need them."""

SLOPE_LIMIT: Final = 0.003
"""Largest relative change over a settled window."""

BLOCKS: Final = 8
"""Block means a plateau's own noise is judged by."""

_SLOPE_POINTS: Final = 24
_STARTS: Final = 16
_MOST_TOGETHER: Final = 0.8
_WAIT_QUANTILE: Final = 0.75


@dataclass(frozen=True, slots=True)
class Plateau:
    """One settled stretch.

    Parameters
    ----------
    start, stop : float
        Its window, s.
    throttle : float
        Command, ratio.
    rising : bool
        True where the command before it was lower.
    means : Mapping of str to float
        Mean of each channel, SI.
    blocks : Mapping of str to FloatArray
        Block means of each channel, shape (BLOCKS,).
    rows : int
        Rows used.
    """

    start: float
    stop: float
    throttle: float
    rising: bool
    means: Mapping[str, float]
    blocks: Mapping[str, FloatArray]
    rows: int


@dataclass(frozen=True, slots=True)
class Segments:
    """A log cut at throttle commands.

    Parameters
    ----------
    plateaus : tuple of Plateau
        Settled stretches with the throttle open, in the order of the log.
    standstills : tuple of Plateau
        Stretches at zero throttle, in the order of the log.
    unsettled : tuple of tuple of float
        Start (s) and throttle (ratio) of stretches that never settled.
    wait : float
        Time left out after a command, s.
    """

    plateaus: tuple[Plateau, ...]
    standstills: tuple[Plateau, ...]
    unsettled: tuple[tuple[float, float], ...]
    wait: float


def cut(
    time: FloatArray,
    throttle: FloatArray,
    channels: Mapping[str, FloatArray],
    usable: BoolArray,
    *,
    judged: Sequence[str],
    least_wait: float,
) -> Segments:
    """Cut a log into settled plateaus.

    Parameters
    ----------
    time : FloatArray
        Time stamps, s, increasing, shape (n,).
    throttle : FloatArray
        Commanded throttle, ratio, shape (n,).
    channels : Mapping of str to FloatArray
        Channels to average, SI, each of shape (n,).
    usable : BoolArray
        False where a row must not enter a mean (a stuck sensor), shape (n,).
    judged : sequence of str
        Channels that must have settled.
    least_wait : float
        Time to leave out after every command, s, where the plateau is long enough.

    Returns
    -------
    Segments
        What was found.
    """
    pieces = _pieces(time, throttle)
    powered = [piece for piece in pieces if throttle[piece.start] > ZERO_THROTTLE]
    idle = [piece for piece in pieces if throttle[piece.start] <= ZERO_THROTTLE]
    starts = _settled_starts(time, channels, usable, powered, judged, least_wait)
    found = [start - time[piece.start] for piece, start in zip(powered, starts, strict=True) if start is not None]
    wait = float(np.quantile(found, _WAIT_QUANTILE)) if found else least_wait
    plateaus, unsettled = [], []
    for piece, start in zip(powered, _settled_starts(time, channels, usable, powered, judged, wait), strict=True):
        if start is None:
            unsettled.append((float(time[piece.start]), float(throttle[piece.start])))
            continue
        plateaus.append(_average(time, throttle, channels, usable, piece, start))
    standstills = [_average(time, throttle, channels, usable, piece, _at_rest(time, piece)) for piece in idle]
    return Segments(
        tuple(plateau for plateau in plateaus if plateau is not None),
        tuple(still for still in standstills if still is not None),
        tuple(unsettled),
        wait,
    )


def _pieces(time: FloatArray, throttle: FloatArray) -> list[slice]:
    """Return stretches of constant command that last long enough, as row ranges."""
    edges = np.flatnonzero(np.abs(np.diff(throttle)) > COMMAND_STEP) + 1
    bounds = [0, *edges.tolist(), time.size]
    spacing = float(np.median(np.diff(time))) if time.size > 1 else 0.0
    return [
        slice(first, last)
        for first, last in itertools.pairwise(bounds)
        if last - first >= FEWEST_ROWS and time[last - 1] - time[first] + spacing >= SHORTEST * (1 - 1e-9)
    ]


def _after(time: FloatArray, piece: slice, wait: float) -> float:
    """Return the start of a window ``wait`` after the command, sooner where the stretch is short."""
    spacing = (time[piece.stop - 1] - time[piece.start]) / max(piece.stop - piece.start - 1, 1)
    latest = time[piece.stop - 1] + spacing - SHORTEST
    return float(max(time[piece.start], min(time[piece.start] + wait, latest)))


def _at_rest(time: FloatArray, piece: slice) -> float:
    """Return the start of a standstill's window: a propeller that runs down takes up to half of it."""
    if piece.start == 0:
        return float(time[0])
    return _after(time, piece, (time[piece.stop - 1] - time[piece.start]) / 2)


def _settled_starts(
    time: FloatArray,
    channels: Mapping[str, FloatArray],
    usable: BoolArray,
    pieces: Sequence[slice],
    judged: Sequence[str],
    wait: float,
) -> list[float | None]:
    """Return, for each stretch, the earliest start from which every judged channel stays settled to its end."""
    rows = [np.arange(piece.start, piece.stop)[usable[piece]] for piece in pieces]
    values = np.array([channels[name] for name in judged])
    found: list[float | None] = [None] * len(pieces)
    starts = [_starts(_after(time, piece, wait), _after(time, piece, np.inf)) for piece in pieces]
    for k in range(_STARTS):
        pending = [i for i in range(len(pieces)) if found[i] is None and k < starts[i].size]
        windows = {i: rows[i][np.searchsorted(time[rows[i]], starts[i][k] - 1e-9) :] for i in pending}
        for size in {min(window.size, _SLOPE_POINTS) for window in windows.values()}:
            alike = [i for i in pending if min(windows[i].size, _SLOPE_POINTS) == size >= FEWEST_ROWS]
            stretches = [_Stretch.of(time[windows[i]], values[:, windows[i]], size) for i in alike]
            for i, still in zip(alike, _settled(stretches), strict=True):
                found[i] = float(starts[i][k]) if still else None
    return found


def _starts(first: float, last: float) -> FloatArray:
    return np.linspace(first, last, _STARTS) if last > first else np.array([first])


def settled(time: FloatArray, values: FloatArray) -> bool:
    """Say whether every channel of a stretch has stopped changing.

    Parameters
    ----------
    time : FloatArray
        Time stamps, s, shape (n,).
    values : FloatArray
        Readings, shape (channels, n).

    Returns
    -------
    bool
        False where the change of one of them over the window exceeds SLOPE_LIMIT of its mean by more than the
        slope's own 95 % uncertainty, or where its beginning lies off its end by that much. Slope after Theil and
        Sen (Sen 1968, JASA 63, 1379 [from memory]).
    """
    return bool(_settled([_Stretch.of(time, values, min(_SLOPE_POINTS, time.size))])[0])


class _Stretch(NamedTuple):
    """Means of equal parts of a stretch.

    Parameters
    ----------
    time : FloatArray
        s, shape (parts,).
    values : FloatArray
        Shape (channels, parts).
    window : float
        How long it lasts, s.
    """

    time: FloatArray
    values: FloatArray
    window: float

    @classmethod
    def of(cls, time: FloatArray, values: FloatArray, parts: int) -> _Stretch:
        return cls(_means(time, parts), _means(values, parts), float(time[-1] - time[0]))


def _settled(stretches: Sequence[_Stretch]) -> BoolArray:
    """Say which stretches, all of as many parts, have stopped changing; see :func:`settled`."""
    if not stretches:
        return np.zeros(0, dtype=np.bool_)
    t, y = np.array([each.time for each in stretches])[:, None], np.array([each.values for each in stretches])
    window, size = np.array([each.window for each in stretches])[:, None], y.shape[-1]
    left, right = _pairs(size)
    slope = _median((y[..., right] - y[..., left]) / (t[..., right] - t[..., left]))
    middle = y.mean(axis=-1)
    change, allowed = np.abs(slope) * window, SLOPE_LIMIT * np.abs(middle)
    if size < 2 * FEWEST_ROWS:
        return np.asarray((change <= allowed).all(axis=1))
    later = t - t.mean(axis=-1, keepdims=True)
    left_over = y - middle[..., None] - slope[..., None] * later
    k = float(stdtrit(size - 2, 0.975))
    error = np.sqrt((left_over**2).sum(axis=-1) / (size - 2) / (later**2).sum(axis=-1))
    drifting = change - k * error * window > allowed
    return np.asarray(~(drifting | _starts_apart(y, allowed, k)).any(axis=1))


@lru_cache(maxsize=32)
def _pairs(size: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    left, right = np.triu_indices(size, 1)
    return left, right


def _median(values: FloatArray) -> FloatArray:
    """Return the medians of rows; of few numbers, numpy's own takes longer to begin than to find."""
    ordered = np.sort(values, axis=-1)
    above = ordered.shape[-1] // 2
    below = above - 1 + ordered.shape[-1] % 2
    return np.asarray((ordered[..., below] + ordered[..., above]) / 2, dtype=np.float64)


def _starts_apart(y: FloatArray, allowed: FloatArray, k: float) -> BoolArray:
    """Say whether the first sixth lies off the last half: a lag that dies out early leaves the median slope alone."""
    size = y.shape[-1]
    first, last = y[..., : size // 6], y[..., size // 2 :]
    error = last.std(axis=-1, ddof=1) * (1 / first.shape[-1] + 1 / last.shape[-1]) ** 0.5
    return np.asarray(np.abs(first.mean(axis=-1) - last.mean(axis=-1)) - k * error > allowed)


def _means(values: FloatArray, parts: int) -> FloatArray:
    """Return the means of equal parts of a stretch along the last axis, shape (..., parts)."""
    edges = np.arange(parts + 1) * values.shape[-1] // parts
    sums = np.add.reduceat(values, edges[:-1], axis=-1, dtype=np.float64)
    return np.asarray(sums / (edges[1:] - edges[:-1]), dtype=np.float64)


def _average(
    time: FloatArray,
    throttle: FloatArray,
    channels: Mapping[str, FloatArray],
    usable: BoolArray,
    piece: slice,
    start: float,
) -> Plateau | None:
    rows = np.arange(piece.start, piece.stop)
    rows = rows[(time[rows] >= start - 1e-9) & usable[rows]]
    if rows.size < FEWEST_ROWS:
        return None
    blocks = min(BLOCKS, rows.size)
    before = throttle[piece.start - 1] if piece.start else -np.inf
    return Plateau(
        start=float(time[rows[0]]),
        stop=float(time[rows[-1]]),
        throttle=float(np.median(throttle[rows])),
        rising=bool(before <= throttle[piece.start]),
        means={name: float(values[rows].mean(dtype=np.float64)) for name, values in channels.items()},
        blocks={name: _means(values[rows], blocks) for name, values in channels.items()},
        rows=int(rows.size),
    )


def noise_of_mean(blocks: FloatArray) -> FloatArray:
    """Return the standard uncertainty of means from their block means.

    Parameters
    ----------
    blocks : FloatArray
        Block means, shape (..., b).

    Returns
    -------
    FloatArray
        s / sqrt(b), widened by the lag-1 autocorrelation of the blocks where that is positive:
        n_eff = n (1 - r) / (1 + r), a first-order autoregressive process [from memory]; shape (...).
    """
    count = blocks.shape[-1]
    if count < 2:
        return np.zeros(blocks.shape[:-1])
    apart = blocks - blocks.mean(axis=-1, keepdims=True)
    total = (apart * apart).sum(axis=-1)
    lagged = (apart[..., 1:] * apart[..., :-1]).sum(axis=-1)
    together = np.clip(lagged / np.where(total > 0, total, 1.0), 0.0, _MOST_TOGETHER)
    return np.asarray(np.sqrt(total / (count - 1) / count * (1.0 + together) / (1.0 - together)), dtype=np.float64)
