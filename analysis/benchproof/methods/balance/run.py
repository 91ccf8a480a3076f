"""Logs of acceleration with a mark once a turn, and their amplitudes by orders."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError
from benchproof.methods.balance.turns import turns_of
from benchproof.trials.regression import fit_linear

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.methods.balance.turns import Turns
    from benchproof.rig.instrument import Occasion
    from benchproof.trials.quantity import Quantity

    FloatArray = NDArray[np.float64]
    ComplexArray = NDArray[np.complex128]

ROWS_A_PERIOD: Final = 2.56
"""Rows a period that an order must have to be shown: below it what is faster folds over it (common practice)."""

MOST_ORDERS: Final = 32
BLOCKS: Final = 16
TURNS_A_BLOCK: Final = 8

CLIPPED: Final = 3
"""Rows in a row at the very same extreme that a converter at its end stop gives."""

CLIPPED_SHARE: Final = 1e-3
"""Share of rows at an extreme from which a log counts as clipped."""


@dataclass(frozen=True, slots=True)
class TrialMass:
    """A mass on the rotor.

    Parameters
    ----------
    unbalance : Quantity
        Mass times radius, kg m.
    angle : float
        From the mark, with the rotation, rad.
    words : str
        As the lab wrote it.
    """

    unbalance: Quantity
    angle: float
    words: str


@dataclass(frozen=True, slots=True)
class ShakeLog:
    """One log.

    Parameters
    ----------
    time, marks, acceleration : array, shape (n,)
        s, ratio, m/s2.
    trial : TrialMass or None
        The mass on the rotor; None for the rotor as it is.
    occasion : Occasion
        Rig, campaign, log, date.
    """

    time: FloatArray
    marks: FloatArray
    acceleration: FloatArray
    trial: TrialMass | None
    occasion: Occasion


@dataclass(frozen=True, slots=True)
class VibrationRun:
    """One vibration test: the rotor as it is, and with trial masses.

    Parameters
    ----------
    sample : str
        The sample.
    logs : tuple of ShakeLog
        The bare rotor's first.
    rotor_mass : Quantity or None
        Of bell and magnets where they were weighed, kg.
    named_orders : tuple
        Orders that have a name, each with it: once a turn, pole pairs, slots.
    """

    sample: str
    logs: tuple[ShakeLog, ...]
    rotor_mass: Quantity | None
    named_orders: tuple[tuple[int, str], ...]

    @property
    def where(self) -> str:
        """The bare rotor's log."""
        return self.logs[0].occasion.run


@dataclass(frozen=True, slots=True, eq=False)
class Orders:
    """A log's amplitudes by orders.

    Parameters
    ----------
    log : ShakeLog
        The log.
    turns : Turns
        Its whole turns.
    amplitude : array, shape (orders,)
        Complex, m/s2: order k is ``Re(amplitude[k-1] exp(i k angle))``.
    error : array, shape (orders,)
        Standard uncertainty of the real and of the imaginary part, by the scatter of blocks of turns, m/s2.
    blocks : array, shape (blocks,)
        Amplitude of order 1 of each block, m/s2.
    clipped : bool
        Whether the converter stood at an end stop.
    """

    log: ShakeLog
    turns: Turns
    amplitude: ComplexArray
    error: FloatArray
    blocks: ComplexArray
    clipped: bool

    @property
    def drift(self) -> float:
        """How far the phase of order 1 moves between the first and the last quarter of the log, rad."""
        quarter = max(self.blocks.size // 4, 1)
        first, last = self.blocks[:quarter].mean(), self.blocks[-quarter:].mean()
        return abs(float(np.angle(last / first))) if first else 0.0


def orders_of(log: ShakeLog) -> Orders:
    """Return a log's amplitudes by orders, coherently averaged over whole turns.

    Every block of whole turns is fitted with all orders at once, so that rows which do not divide a turn evenly leak
    nothing from one order into another.

    Raises
    ------
    MethodError
        If there are too few marks, or too few rows a turn.
    """
    turns = turns_of(log.time, log.marks, log.occasion.run)
    acceleration = log.acceleration[turns.rows].astype(np.float64)
    highest = highest_order(log, turns)
    count = int(np.clip(turns.count // TURNS_A_BLOCK, 2, BLOCKS))
    whole = turns.count // count
    found = []
    for k in range(count):
        rows = (turns.angle >= 2 * np.pi * k * whole) & (turns.angle < 2 * np.pi * (k + 1) * whole)
        found.append(_amplitudes(turns.angle[rows], acceleration[rows], highest))
    blocks = np.array(found)
    middle = blocks.mean(axis=0)
    apart = np.sqrt((np.abs(blocks - middle) ** 2).sum(axis=0) / (2 * (count - 1)) / count)
    return Orders(log, turns, middle, apart, blocks[:, 0], _clipped(log.acceleration))


def highest_order(log: ShakeLog, turns: Turns) -> int:
    """Return the highest order that the rows can show.

    Raises
    ------
    MethodError
        If they do not even show the first.
    """
    rows_a_turn = 2 * np.pi / turns.speed / float(np.median(np.diff(log.time)))
    if rows_a_turn < ROWS_A_PERIOD:
        message = f"{rows_a_turn:.1f} rows a turn do not show the vibration once a turn; log faster, or turn slower"
        raise MethodError(log.occasion.run, message)
    return int(min(rows_a_turn / ROWS_A_PERIOD, MOST_ORDERS))


def _amplitudes(angle: FloatArray, acceleration: FloatArray, highest: int) -> ComplexArray:
    phase = angle[:, None] * np.arange(1, highest + 1)
    design = np.column_stack([np.ones(angle.size), np.cos(phase), np.sin(phase)])
    c = fit_linear(design, acceleration).coefficients
    return np.asarray(c[1 : highest + 1] - 1j * c[highest + 1 :], dtype=np.complex128)


def _clipped(values: FloatArray) -> bool:
    for extreme in (values.max(), values.min()):
        at = values == extreme
        runs = at[2:] & at[1:-1] & at[:-2]
        if at.mean() > CLIPPED_SHARE and runs.any() and np.ptp(values):
            return True
    return False
