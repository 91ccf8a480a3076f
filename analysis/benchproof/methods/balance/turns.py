"""The angle of the rotor at every row of a log, by a mark once a turn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.interpolate import make_lsq_spline

from benchproof.errors import MethodError

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy.interpolate import BSpline

    FloatArray = NDArray[np.float64]

FEWEST_TURNS: Final = 32
"""Turns a spectrum by orders needs."""

TURNS_A_KNOT: Final = 16
"""Fewest turns over which the angle may bend."""

LEFT_OVER: Final = 1.15
"""A curve is bent no further once marks lie off it by no more than a row makes them, times this."""

_CUBIC: Final = 3


@dataclass(frozen=True, slots=True, eq=False)
class Turns:
    """Whole turns of a log.

    Parameters
    ----------
    rows : slice
        From the first mark to the last.
    angle : array, shape (n,)
        Of the rotor at these rows, rad; 0 at the first mark.
    count : int
        Whole turns.
    speed : float
        Mean, rad/s.
    wander : float
        Half of how far the smoothed speed ranges, relative to its mean.
    locked : float
        Standard uncertainty of the angle as a whole, rad. A mark shows in the first row after it. Where speed and rows
        keep no time with each other, marks fall everywhere between two rows, which shows as scatter and averages out.
        What their scatter lacks of a row's width may be common to all of them.
    """

    rows: slice
    angle: FloatArray
    count: int
    speed: float
    wander: float
    locked: float


def turns_of(time: FloatArray, marks: FloatArray, where: str) -> Turns:
    """Return the whole turns of a log.

    Parameters
    ----------
    time : array, shape (n,)
        s.
    marks : array, shape (n,)
        The once-per-turn channel: low, and high for one or more rows once a turn.
    where : str
        The log, for errors.

    Raises
    ------
    MethodError
        If there are too few marks.
    """
    rising = _rising(marks)
    if rising.size <= FEWEST_TURNS:
        message = f"{rising.size} marks in once_per_turn, {FEWEST_TURNS + 1} or more are needed; look at its column"
        raise MethodError(where, message)
    frame = float(np.median(np.diff(time)))
    # The rotor passed its mark between the row before and this one.
    passed = time[rising] - frame / 2
    gaps = np.diff(passed)
    turns = np.concatenate([[0.0], np.cumsum(np.maximum(np.round(gaps / np.median(gaps)), 1.0))])
    spline, off = _smooth(passed, 2 * np.pi * turns, frame)
    rows = slice(int(rising[0]), int(rising[-1]))
    speed = np.asarray(spline.derivative()(passed), dtype=np.float64)
    inner = speed[2:-2]
    mean = float(2 * np.pi * turns[-1] / (passed[-1] - passed[0]))
    return Turns(
        rows=rows,
        angle=np.asarray(spline(time[rows]), dtype=np.float64),
        count=int(turns[-1]),
        speed=mean,
        wander=float(np.ptp(inner) / 2 / np.mean(inner)),
        locked=mean * max(frame**2 / 12 - off**2, 0.0) ** 0.5,
    )


def _rising(marks: FloatArray) -> NDArray[np.intp]:
    """Return the first row of every mark."""
    middle = (float(marks.min()) + float(marks.max())) / 2
    high = marks > middle
    return np.flatnonzero(high[1:] & ~high[:-1]) + 1


def _smooth(x: FloatArray, y: FloatArray, frame: float) -> tuple[BSpline, float]:
    """Return the stiffest cubic spline off which marks lie by no more than a row makes them, and by how much, s."""
    pieces, allowed = 1, LEFT_OVER * frame / 12**0.5
    while True:
        spline = _spline(x, y, pieces)
        off = float(np.std((spline(x) - y) / spline.derivative()(x)))
        if off <= allowed or 2 * pieces > x.size // TURNS_A_KNOT:
            return spline, off
        pieces *= 2


def _spline(x: FloatArray, y: FloatArray, pieces: int) -> BSpline:
    knots = np.interp(np.linspace(0, x.size - 1, pieces + 1)[1:-1], np.arange(x.size), x)
    ends = _CUBIC + 1
    return make_lsq_spline(x, y, np.r_[(x[0],) * ends, knots, (x[-1],) * ends], k=_CUBIC)
