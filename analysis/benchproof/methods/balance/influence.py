"""Residual unbalance by influence coefficients: what trial masses of known unbalance change, in one plane.

The response per squared speed is linear in the unbalance: ``v_i = W + H U_i`` with the trial unbalance ``U_i`` (0 for
the bare rotor), so that ``U_0 = W / H``, complex with its angle from the mark. One trial run gives
``U_0 = U_t V_0 / (V_1 - V_0)``; more are fitted by least squares, and what they leave over is the repeatability of a
vector.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.trials.quantity import Quantity, joint_parts, merge_parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from benchproof.methods.balance.run import Orders
    from benchproof.trials.engine import Trials
    from benchproof.trials.quantity import Part

    FloatArray = NDArray[np.float64]
    ComplexArray = NDArray[np.complex128]

LEAST_DEGREES: Final = 2
"""Degrees of freedom from which what a fit leaves over speaks for the scatter."""

REPEATS: Final = 0.01
"""Share of a response by which runs differ at the least, from mounting a mass and finding the speed again
(practitioner's judgement). It weighs the runs; two or more trial runs show the true share."""

DETECTED: Final = 0.95
"""Probability with which a perfectly balanced rotor would seem to have less than the least unbalance detected."""


@dataclass(frozen=True, slots=True, eq=False)
class Influence:
    """A residual unbalance.

    Parameters
    ----------
    unbalance : Quantity
        Its size, kg m.
    vector : complex
        With its angle from the mark, kg m.
    influence : complex
        Acceleration per force, 1/kg.
    residuals : array, shape (runs,)
        Response per squared speed, measured less fitted, m.
    detectable : float
        Least unbalance that stands out of the scatter, kg m.
    df : int
        Degrees of freedom of the fit.
    repeated : bool
        Whether the scatter is that of runs, and not only of turns inside a run.
    """

    unbalance: Quantity
    vector: complex
    influence: complex
    residuals: ComplexArray
    detectable: float
    df: int
    repeated: bool


def influence_of(runs: Sequence[Orders], trials: Trials) -> Influence:
    """Return the residual unbalance from a run of the bare rotor and runs with trial masses.

    Parameters
    ----------
    runs : sequence of Orders
        The bare rotor's first; two or more.
    trials : Trials
        The laboratory's trials.

    Raises
    ------
    ValueError
        If the trial masses change nothing.
    """
    squares = np.array([run.turns.speed**2 for run in runs])
    response = np.array([run.amplitude[0] for run in runs]) / squares
    inside = np.array([run.error[0] for run in runs]) / squares
    added, parts = _added(runs, trials.count)
    least = np.array([max(run.turns.locked, REPEATS) for run in runs])
    sizes = np.hypot(inside, least * np.abs(response))
    offset, slope = _line(added[:, 0], response, sizes)
    if not slope:
        message = "the trial masses change nothing"
        raise ValueError(message)
    residuals = np.asarray(response - offset - slope * added[:, 0], dtype=np.complex128)
    df = 2 * len(runs) - 4
    repeated = df >= LEAST_DEGREES
    share = _share(added[:, 0], residuals, sizes, inside, np.abs(response)) if repeated else least
    noise, scatter = _noise(runs, inside, share * np.abs(response), df if repeated else None, trials)
    offsets, slopes = _line(added[:, 1:], response[:, None] + noise, sizes)
    vector = complex(offset / slope)
    balanced = np.hypot(inside, share * np.abs(response) * (added[:, 0] != 0))
    return Influence(
        unbalance=Quantity(abs(vector), np.abs(offsets / slopes), merge_parts((*parts, scatter))),
        vector=vector,
        influence=complex(slope),
        residuals=residuals,
        detectable=_detectable(added[:, 0], balanced, abs(complex(slope))),
        df=df,
        repeated=repeated,
    )


def _share(
    added: ComplexArray, residuals: ComplexArray, sizes: FloatArray, inside: FloatArray, response: FloatArray
) -> float:
    """Return the share of a response by which runs differ: what the fit leaves over beyond the scatter inside runs.

    By moments: the residuals' weighted sum of squares is what both kinds of scatter should make of it.
    """
    weights = _weights(sizes)
    apart = np.abs(added - (weights * added).sum()) ** 2
    free = 2 * (1 - weights * (1 + apart / (weights * apart).sum())) / sizes**2
    beyond = float((np.abs(residuals / sizes) ** 2).sum() - (free * inside**2).sum())
    return math.sqrt(max(beyond / float((free * response**2).sum()), 0.0))


def _noise(
    runs: Sequence[Orders], inside: FloatArray, between: FloatArray, df: float | None, trials: Trials
) -> tuple[ComplexArray, tuple[Part, ...]]:
    """Return by trial what the responses may be off, shape (runs, count), and its sources."""
    first = runs[0].log.occasion
    total = np.zeros((len(runs), trials.count), dtype=np.complex128)
    parts: tuple[Part, ...] = ()
    for what, sizes, degrees in (
        ("inside runs", inside, float(sum(2 * (run.blocks.size - 1) for run in runs))),
        ("from run to run", between, df),
    ):
        identity = (first.campaign, first.run, "vectors", what)
        own = joint_parts(trials, identity, f"scatter of vectors {what}, {first.run}", 2 * len(runs), degrees)
        draws = np.stack([part.draws for part in own])
        total += sizes[:, None] * (draws[: len(runs)] + 1j * draws[len(runs) :])
        parts = (*parts, *own)
    return total, parts


def _added(runs: Sequence[Orders], count: int) -> tuple[ComplexArray, tuple[tuple[Part, ...], ...]]:
    """Return the trial unbalance of each run, kg m: best estimate first, then by trial, shape (runs, 1 + count)."""
    rows = np.zeros((len(runs), 1 + count), dtype=np.complex128)
    parts = []
    for k, run in enumerate(runs):
        trial = run.log.trial
        if trial is not None:
            sizes = np.concatenate([[trial.unbalance.value], trial.unbalance.trials])
            rows[k] = sizes * np.exp(1j * trial.angle)
            parts.append(trial.unbalance.parts)
    return rows, tuple(parts)


def _line(added: ComplexArray, response: ComplexArray, sizes: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """Return offset and slope of ``response = offset + slope added`` by weighted complex least squares over runs."""
    weights = _weights(sizes)
    weights = weights if added.ndim == 1 else weights[:, None]
    middle_added, middle = (weights * added).sum(axis=0), (weights * response).sum(axis=0)
    apart = added - middle_added
    slope = (weights * apart.conj() * (response - middle)).sum(axis=0) / (weights * np.abs(apart) ** 2).sum(axis=0)
    return middle - slope * middle_added, slope


def _weights(sizes: FloatArray) -> FloatArray:
    weights = 1 / sizes**2
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def _detectable(added: ComplexArray, sizes: FloatArray, influence: float) -> float:
    """Return the unbalance that scatter alone would seem to show in one case of twenty.

    The size of a vector whose two parts scatter alike by ``u``, that of the offset of the line, is beyond
    ``u sqrt(-2 ln 0.05)`` that often (Rayleigh).
    """
    weights = _weights(sizes)
    middle = (weights * added).sum()
    spread = float((weights * np.abs(added - middle) ** 2).sum())
    offset = (1 + abs(complex(middle)) ** 2 / spread) / float((1 / sizes**2).sum())
    return math.sqrt(-2 * math.log(1 - DETECTED) * offset) / influence
