"""What moved between two states of a campaign's results: figures, verdicts, ranks.

A figure is an entry of ``quantities`` in results.json, a verdict an entry of ``claims``; both as plain data, so that a
published revision of long ago and a report of this evening are compared alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    Entry = Mapping[str, Any]
    Key = tuple[str, tuple[tuple[str, str], ...], str | None, str | None]

Kind = Literal["moved", "noise", "appeared", "gone"]

SURE: Final = 1.959963984540054
"""Two-sided 95 % point of the normal distribution: how many standard errors still count as noise."""

MACHINE: Final = 1e-9
"""Relative difference that two machines' arithmetic may make; no cause is looked for behind it."""


@dataclass(frozen=True, slots=True)
class Move:
    """One figure that is not what it was.

    Parameters
    ----------
    name : str
        Quantity.
    at : Mapping of str to str
        Operating point.
    sample : str or None
        The sample; None for the model.
    unit : str
        Unit of results.json.
    old, new : Mapping or None
        The entries; None where there is none.
    kind : {"moved", "noise", "appeared", "gone"}
        ``noise``: by less than other draws of the same trials would move it; ``appeared`` and ``gone``: there is a
        value on one side only.
    """

    name: str
    at: Mapping[str, str]
    sample: str | None
    unit: str
    old: Entry | None
    new: Entry | None
    kind: Kind

    @property
    def change(self) -> float | None:
        """New value less old, in the figure's unit; None where one of them is missing."""
        if self.kind in {"appeared", "gone"} or self.old is None or self.new is None:
            return None
        return float(self.new["value"] - self.old["value"])

    @property
    def in_uncertainties(self) -> float | None:
        """The change in published standard uncertainties.

        Both values share most of their errors, so this is a measure of how much it matters to a reader, not a test of
        whether the two agree.
        """
        change, unit = self.change, _uncertainty(self.old) or _uncertainty(self.new)
        return None if change is None or not unit else change / unit

    @property
    def percent(self) -> float | None:
        """The change in percent of the published value; None where that is zero or missing."""
        if self.change is None or self.old is None or not self.old["value"]:
            return None
        return 100 * self.change / abs(float(self.old["value"]))

    @property
    def ratio(self) -> float | None:
        """New value over old, for values of one sign."""
        if self.change is None or self.old is None or self.new is None:
            return None
        old, new = float(self.old["value"]), float(self.new["value"])
        return new / old if old * new > 0 else None

    @property
    def widened_percent(self) -> float | None:
        """By how much the interval is wider than it was, in percent; None where there is none to hold it against."""
        widths = [_width(self.old), _width(self.new)]
        return None if self.change is None or not widths[0] else 100 * (widths[1] / widths[0] - 1)

    @property
    def weight(self) -> float:
        """What moves are sorted by: the largest change of value or interval's end in published standard uncertainties.

        A value that came or went weighs most.
        """
        unit = _uncertainty(self.old) or _uncertainty(self.new)
        if self.change is None or self.old is None or self.new is None or not unit:
            return math.inf
        return max(abs(step) for step in _steps(self.old, self.new)) / unit


@dataclass(frozen=True, slots=True)
class Flip:
    """A sentence whose verdict is not what it was.

    Parameters
    ----------
    say : str
        The sentence.
    old, new : str
        Verdicts; empty where the sentence is new or gone.
    """

    say: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Swap:
    """Two campaigns that changed places in one figure.

    Parameters
    ----------
    name : str
        Quantity.
    at : Mapping of str to str
        Operating point.
    risen, fallen : str
        The campaign that now has more of it, and the one that had more before.
    """

    name: str
    at: Mapping[str, str]
    risen: str
    fallen: str


def moves(old: Iterable[Entry], new: Iterable[Entry], trials: int) -> tuple[Move, ...]:
    """Return the figures that differ, largest change first.

    Parameters
    ----------
    old, new : iterable of Mapping
        ``quantities`` of results.json before and now.
    trials : int
        The smaller number of trials of the two.
    """
    before, after = ({key_of(each): each for each in entries} for entries in (old, new))
    found = (move_of(key, before.get(key), after.get(key), trials) for key in dict.fromkeys((*before, *after)))
    return tuple(sorted((move for move in found if move is not None), key=lambda move: -move.weight))


def key_of(entry: Entry) -> Key:
    """Return what an entry is a figure of: name, operating point, sample, and the campaign in a comparison."""
    return entry["name"], tuple(entry["at"].items()), entry["sample"], entry.get("campaign")


def flips(old: Iterable[Entry], new: Iterable[Entry]) -> tuple[Flip, ...]:
    """Return the sentences whose verdict differs, in the order of the campaign file; those that are gone last."""
    before, after = ({each["say"]: each["verdict"] for each in claims} for claims in (old, new))
    both = {say: (before.get(say, ""), after.get(say, "")) for say in (*after, *before)}
    return tuple(Flip(say, was, now) for say, (was, now) in both.items() if was != now)


def swaps(name: str, at: Mapping[str, str], values: Mapping[str, tuple[float, float]]) -> tuple[Swap, ...]:
    """Return the pairs of campaigns whose order in one figure turned round.

    Parameters
    ----------
    name : str
        Quantity.
    at : Mapping
        Operating point.
    values : Mapping of str to (float, float)
        Value before and now of every campaign that may be compared in this figure.
    """
    if len(values) < 2:
        return ()
    campaigns = sorted(values)
    old, new = np.array([values[each] for each in campaigns], dtype=np.float64).T
    turned = (old[:, None] < old[None, :]) & (new[:, None] > new[None, :])
    return tuple(Swap(name, at, campaigns[int(i)], campaigns[int(j)]) for i, j in np.argwhere(turned))


def floor_of_value(entry: Entry, trials: int) -> float:
    """Return how far a value may move by other draws of as many trials.

    A value that is a mean over trials has the standard error ``u / sqrt(M)``; two of them differ by less than
    ``1.96 sqrt(2)`` of that in 95 of 100 cases. Stratified draws do better (Stein: Technometrics 29 (1987) 143 [from
    memory]), and a value that is a function of best estimates has no such noise at all, so this is an upper end.
    """
    return max(SURE * math.sqrt(2 / trials) * _uncertainty(entry), MACHINE * abs(float(entry["value"])))


def floor_of_end(entry: Entry, trials: int) -> float:
    """Return how far an end of an interval may move by other draws of as many trials.

    The standard error of a quantile is ``sqrt(p (1 - p) / M) / f``, f the density there (order statistics, textbook
    knowledge [from memory]). Stratifying every source takes away the part of ``p (1 - p)`` that is linear in the sum of
    them, which for a normal figure of many sources is ``f^2`` (Stein, as above); a figure with few degrees of freedom
    is left without that relief.
    """
    low, high = entry["interval"]
    half = abs(float(high) - float(low)) / 2
    error = relative_error_of_end(float(entry["coverage"]), entry["degrees_of_freedom"]) / math.sqrt(trials)
    return max(SURE * math.sqrt(2) * error * half, MACHINE * abs(float(entry["value"])))


@lru_cache(maxsize=256)
def relative_error_of_end(coverage: float, degrees: float | None) -> float:
    """Return the standard error of an interval's end, in half-widths, times the square root of the number of trials."""
    tail = (1 - coverage) / 2
    if degrees is None:
        end = -float(special.ndtri(tail))
        density = math.exp(-(end**2) / 2) / math.sqrt(2 * math.pi)
    else:
        nu = max(degrees, 1.0)
        end = -float(special.stdtrit(nu, tail))
        density = math.exp(math.lgamma((nu + 1) / 2) - math.lgamma(nu / 2)) / math.sqrt(nu * math.pi)
        density *= (1 + end**2 / nu) ** (-(nu + 1) / 2)
    relief = density**2 if degrees is None else 0.0
    return math.sqrt(tail * (1 - tail) - relief) / density / end


def move_of(key: Key, old: Entry | None, new: Entry | None, trials: int = 0) -> Move | None:
    """Return how one figure moved; None where it did not.

    Parameters
    ----------
    key : tuple
        What it is a figure of (:func:`key_of`).
    old, new : Mapping or None
        The entries.
    trials : int
        The smaller number of trials; 0 looks for no noise.
    """
    name, at, sample, _ = key
    entry = new or old
    unit = str(entry["unit"]) if entry is not None else ""
    had, has = (each is not None and each["value"] is not None for each in (old, new))
    if old is None or new is None or not (had and has):
        kind: Kind = "appeared" if has else "gone"
        return Move(name, dict(at), sample, unit, old, new, kind) if had != has else None
    if old["unit"] != new["unit"]:
        return Move(name, dict(at), sample, unit, old, new, "moved")
    steps = _steps(old, new)
    if all(abs(step) <= MACHINE * abs(float(old["value"])) for step in steps):
        return None
    noise = trials and _is_noise(steps, old, new, trials)
    return Move(name, dict(at), sample, unit, old, new, "noise" if noise else "moved")


def _steps(old: Entry, new: Entry) -> list[float]:
    """Return by how much the value and the ends of the interval differ."""
    ends = zip(old["interval"] or (), new["interval"] or (), strict=False)
    return [float(new["value"] - old["value"]), *(float(now - was) for was, now in ends)]


def _is_noise(steps: Sequence[float], old: Entry, new: Entry, trials: int) -> bool:
    if abs(steps[0]) > max(floor_of_value(old, trials), floor_of_value(new, trials)):
        return False
    if (old["interval"] is None) != (new["interval"] is None):
        return False
    if old["interval"] is None:
        return True
    floor = max(floor_of_end(old, trials), floor_of_end(new, trials))
    return all(abs(step) <= floor for step in steps[1:])


def _width(entry: Entry | None) -> float:
    """Return the width of an entry's interval; 0 where there is none."""
    if entry is None or entry["interval"] is None:
        return 0.0
    low, high = entry["interval"]
    return float(high) - float(low)


def _uncertainty(entry: Entry | None) -> float:
    return float(entry["standard_uncertainty"] or 0.0) if entry is not None else 0.0
