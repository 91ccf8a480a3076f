"""Draws of named error sources: stratified, and the same for the same name whatever else is drawn.

A source's draws depend on the laboratory's seed, the source's identity, its shape and the number of trials,
and on nothing else: not on order, process, place in a list, or library release. Two campaigns that share a
source share its draws trial by trial, so what is common to both cancels in a comparison.

The random bits are those of Philox 4x64, 10 rounds (Salmon et al., SC'11 [from memory]), keyed by a digest of
the seed. They make a stock of permutations; a digest of seed and identity picks two of them and where each begins,
and they order the trials one after the other. The values come from the score tables of
:mod:`benchproof.trials.distributions`.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.trials.distributions import Shape, frozen, score_table, spread_table, student, tabulated_degrees

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

FEWEST_TRIALS: Final = 1000
MOST_TRIALS: Final = 1_000_000

STOCK: Final = 16
"""Permutations of either kind that orders of the trials are put together from."""

REMEMBERED: Final = 8
"""Joint draws of at most so many estimates, such as a calibration's, are asked for again and again, and remembered."""


@dataclass(frozen=True, slots=True)
class Source:
    """One source of error.

    Parameters
    ----------
    identity : tuple of str
        What makes it this source and no other: rig, instrument, kind, scope.
    label : str
        Words for the budget.
    shape : Shape
        Distribution of its standardised draws.
    """

    identity: tuple[str, ...]
    label: str
    shape: Shape


class Trials:
    """The trials of a laboratory: a seed and a number of trials.

    Parameters
    ----------
    seed : int
        The laboratory's seed.
    count : int
        Number of trials, 1000 to 1 000 000.

    Raises
    ------
    ValueError
        If the count is out of range.
    """

    __slots__ = ("_drawn", "_scattered", "count", "seed")

    def __init__(self, seed: int, count: int) -> None:
        if not FEWEST_TRIALS <= count <= MOST_TRIALS:
            message = f"{count} trials: the number of trials is from {FEWEST_TRIALS} to {MOST_TRIALS}"
            raise ValueError(message)
        self.seed = seed
        self.count = count
        self._drawn: dict[tuple[str, ...], tuple[Shape, FloatArray]] = {}
        self._scattered: dict[tuple[tuple[str, ...], int, float | None], FloatArray] = {}

    def __repr__(self) -> str:
        return f"Trials(seed={self.seed}, count={self.count})"

    def draw(self, source: Source) -> FloatArray:
        """Return the standardised draws of a source, remembered under its identity.

        Returns
        -------
        array, shape (count,)
            Read-only; the stated standard uncertainty is 1.

        Raises
        ------
        ValueError
            If the identity was drawn before with another shape, or the shape is ``joint``.
        """
        known = self._drawn.get(source.identity)
        if known is None:
            known = (source.shape, self._scores(source))
            self._drawn[source.identity] = known
        shape, draws = known
        if shape != source.shape:
            message = f"source {'/'.join(source.identity)} is both {shape} and {source.shape}"
            raise ValueError(message)
        return draws

    def estimate(self, identity: tuple[str, ...], df: float) -> FloatArray:
        """Return Student draws of an estimate from scatter, not remembered: its degrees of freedom come from data.

        Returns
        -------
        array, shape (count,)
            Read-only; the stated standard uncertainty is 1.
        """
        return self._scores(Source(identity, "", student(df)))

    def scatter(self, identity: tuple[str, ...], dim: int, df: float | None, names: tuple[str, ...] = ()) -> FloatArray:
        """Return jointly Student draws: normal ones times one common ``sqrt(df / chi-square)``.

        Parameters
        ----------
        identity : tuple of str
            Identity of the set of estimates.
        dim : int
            Number of estimates that share one residual standard deviation.
        df : float or None
            Its degrees of freedom; None for a known standard deviation (normal draws).
        names : tuple of str
            Tells the estimates apart, where their place in the set does not.

        Returns
        -------
        array, shape (dim, count)
            Read-only; the stated standard uncertainty of each row is 1, and rows are uncorrelated.
        """
        if names or dim > REMEMBERED:
            return self._scatter(identity, df, names or tuple(map(str, range(dim))))
        key = (identity, dim, df)
        if key not in self._scattered:
            self._scattered[key] = self._scatter(identity, df, tuple(map(str, range(dim))))
        return self._scattered[key]

    def noise(self, identity: tuple[str, ...], dim: int) -> NDArray[np.float32]:
        """Return the normal draws of many estimates in single precision, which is enough for what is summed up.

        Returns
        -------
        array, shape (dim, count)
            Read-only; otherwise as :meth:`scatter` returns them.
        """
        return frozen(self._normal(identity, tuple(map(str, range(dim))), np.dtype(np.float32)))

    def _normal(self, identity: tuple[str, ...], names: tuple[str, ...], kind: np.dtype[Any]) -> NDArray[Any]:
        scores = score_table("normal", None, self.count).astype(kind)
        rows = np.empty((len(names), self.count), dtype=kind)
        for row, name in zip(rows, names, strict=True):
            np.take(scores, self._order((*identity, name)), out=row, mode="clip")  # other modes copy the row first
        return rows

    def _scatter(self, identity: tuple[str, ...], df: float | None, names: tuple[str, ...]) -> FloatArray:
        rows = self._normal(identity, names, np.dtype(np.float64))
        if df is not None:
            spread = spread_table(tabulated_degrees(df), self.count)
            rows *= spread[self._order((*identity, "spread"))]
        return frozen(rows)

    def some(self, rows: slice) -> SomeTrials:
        """Return some of the trials."""
        return SomeTrials(self, rows, {})

    def in_pieces(self, size: int) -> Iterator[SomeTrials]:
        """Yield all trials, at most ``size`` at a time: what is large by trial is then small enough for a cache."""
        joint: dict[tuple[str, ...], FloatArray] = {}
        for first in range(0, self.count, size):
            yield SomeTrials(self, slice(first, first + size), joint)

    def _scores(self, source: Source) -> FloatArray:
        shape = source.shape
        degrees = None if shape.degrees_drawn is None else tabulated_degrees(shape.degrees_drawn)
        return frozen(score_table(shape.kind, degrees, self.count).take(self._order(source.identity)))

    def _order(self, identity: tuple[str, ...]) -> NDArray[np.intp]:
        """Return a random permutation of the trials: two of a stock's, each begun somewhere, one after the other.

        Which two, and where they begin, the identity says. Any two sources' orders are then related as two independent
        permutations are, and making one costs a fifth of drawing it anew.
        """
        first, second = stock(self.seed, self.count)
        rest, i = divmod(_key(self.seed, identity), STOCK)
        rest, j = divmod(rest, STOCK)
        rest, begun = divmod(rest, self.count)
        turned = rest % self.count
        inner = second[j, turned : turned + self.count]
        return np.take(first[i, begun : begun + self.count], inner, mode="clip")


class SomeTrials(Trials):
    """Some of a laboratory's trials: whatever is drawn are these trials of the whole's draws.

    Parameters
    ----------
    whole : Trials
        All trials.
    rows : slice
        Which of them.
    joint : dict
        Joint draws of all trials, remembered by pieces of the same whole.
    """

    __slots__ = ("_joint", "_rows", "_whole")

    def __init__(self, whole: Trials, rows: slice, joint: dict[tuple[str, ...], FloatArray]) -> None:
        self._whole, self._rows, self._joint = whole, rows, joint
        self.seed, self.count = whole.seed, len(range(*rows.indices(whole.count)))
        self._drawn = {}

    def draw(self, source: Source) -> FloatArray:
        """Return draws of a source; see :meth:`Trials.draw`."""
        return self._whole.draw(source)[self._rows]

    def estimate(self, identity: tuple[str, ...], df: float) -> FloatArray:
        """Return draws of an estimate; see :meth:`Trials.estimate`."""
        return self._whole.estimate(identity, df)[self._rows]

    def scatter(self, identity: tuple[str, ...], dim: int, df: float | None, names: tuple[str, ...] = ()) -> FloatArray:
        """Return joint draws; see :meth:`Trials.scatter`."""
        key = (*identity, str(dim), str(df), *names)
        if key not in self._joint:
            self._joint[key] = self._whole.scatter(identity, dim, df, names)
        return self._joint[key][:, self._rows]


@lru_cache(maxsize=2)
def stock(seed: int, count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return two stocks of random permutations of the trials, each written twice in a row, shape (STOCK, 2 count)."""
    drawn = [_permutation(_key(seed, ("permutation", str(k))), count) for k in range(2 * STOCK)]
    twice = np.tile(np.stack(drawn), 2)
    twice.setflags(write=False)
    return twice[:STOCK], twice[STOCK:]


def _permutation(key: int, count: int) -> NDArray[np.intp]:
    """Return a random permutation: the trial numbers ordered by the random bits above them."""
    mask = np.uint64((1 << (count - 1).bit_length()) - 1)
    raw = np.random.Philox(key=key).random_raw(count)
    raw &= ~mask
    raw |= np.arange(count, dtype=np.uint64)
    raw.sort()
    raw &= mask
    return raw.astype(np.intp)


def _key(seed: int, identity: tuple[str, ...]) -> int:
    """Return 128 bits of seed and identity; each part goes in with its length, so no names run together."""
    digest = hashlib.blake2b(digest_size=16)
    for part in (str(seed), *identity):
        encoded = part.encode()
        digest.update(len(encoded).to_bytes(8, "little") + encoded)
    return int.from_bytes(digest.digest(), "little")
