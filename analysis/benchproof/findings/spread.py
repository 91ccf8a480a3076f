"""Spread from piece to piece, pooled over campaigns on the logarithmic scale.

Two pieces of one model say next to nothing of their spread; the pieces of many models together say much, if models
scatter alike in proportion. Only pieces count: repeats of one piece were combined before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np
from scipy import special

from benchproof.findings.entrants import where
from benchproof.findings.samples import ONE_SAMPLE
from benchproof.findings.scatter import POOLED, Scatter, Spread, pooled
from benchproof.trials.distributions import Shape
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, mean

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Sequence

    from numpy.typing import NDArray

    from benchproof.findings.entrants import Entrant
    from benchproof.methods.records import Figure
    from benchproof.trials.engine import Trials

    Place = tuple[str, tuple[tuple[str, str], ...]]

_FARTHEST: Final = 3.0
"""A spread known from one pair alone has draws without bound; a factor of twenty is as good as any."""

_SURELY: Final = 0.01
"""Level of the test whether a model's own pieces scatter more than the pool."""


class Tested(Protocol):
    """What a spread is pooled from: a campaign's figures, and which of its pieces belong to an earlier batch."""

    @property
    def name(self) -> str:
        """The campaign."""

    @property
    def golden(self) -> frozenset[str]:
        """Pieces of an earlier batch."""

    @property
    def figures(self) -> tuple[Figure, ...]:
        """Its figures."""


def place_of(figure: Figure) -> Place:
    """Return what a figure is a figure of, whatever turned."""
    return figure.name, where(figure.at)


def pooled_spreads(entrants: Iterable[Tested]) -> dict[Place, Spread]:
    """Return the pooled spread of every figure that some campaign has two pieces of.

    ``s^2 = sum_i sum_j (ln y_ij - mean_i)^2 / sum_i (n_i - 1)``, j over the pieces of model i. Figures that are not
    positive have no logarithm and are left out.
    """
    found: dict[Place, list[Scatter]] = {}
    for entrant in entrants:
        for place, scatter in own_scatter(entrant).items():
            found.setdefault(place, []).append(scatter)
    pools = {place: pooled(rows) for place, rows in found.items()}
    return {place: spread for place, spread in pools.items() if spread is not None}


def own_scatter(entrant: Tested) -> dict[Place, Scatter]:
    """Return what one campaign's pieces tell of the spread of each of its figures that is positive."""
    logs = {
        place: np.log([f.quantity.value for f in figures if f.quantity is not None and f.quantity.value > 0])
        for place, figures in _by_place(entrant).items()
    }
    return {place: _scatter(each) for place, each in logs.items() if each.size}


def _scatter(logs: NDArray[np.float64]) -> Scatter:
    return Scatter(float(((logs - logs.mean()) ** 2).sum()) if logs.size > 1 else 0.0, logs.size - 1)


def _by_place(entrant: Tested) -> dict[Place, list[Figure]]:
    """Return the pieces' figures by what they are figures of; a piece counts once, and where it was first tested."""
    found: dict[Place, dict[str, Figure]] = {}
    for figure in entrant.figures:
        if figure.sample is not None and figure.sample not in entrant.golden and figure.quantity is not None:
            found.setdefault(place_of(figure), {}).setdefault(figure.sample, figure)
    return {place: list(group.values()) for place, group in found.items()}


@dataclass(frozen=True, slots=True)
class Pool:
    """Gives a model's figure with the spread of many models' pieces; a `Settle` of comparisons.

    Parameters
    ----------
    spreads : dict
        By figure.
    trials : Trials
        The laboratory's trials.
    """

    spreads: dict[Place, Spread]
    trials: Trials

    @classmethod
    def over(cls, entrants: Iterable[Tested], trials: Trials) -> Pool:
        """Return the pool of some campaigns."""
        return cls(pooled_spreads(entrants), trials)

    def spread(self, figure: Figure) -> Spread | None:
        """Return the pooled spread of a figure, None where no campaign has two pieces.

        At a place that no campaign quotes, that of the same figure where it is widest.
        """
        name, place = place_of(figure)
        if (name, place) in self.spreads:
            return self.spreads[name, place]
        keys = tuple(key for key, _ in place)
        alike = [
            spread
            for (other, at), spread in self.spreads.items()
            if other == name and tuple(key for key, _ in at) == keys and "part" not in keys
        ]
        return max(alike, key=lambda spread: spread.standard, default=None)

    def __call__(self, entrant: Entrant, figure: Figure) -> Quantity | None:
        """Return the model's mean with the pooled spread.

        The figure's own where there is none, where it comes from this campaign alone, and where these pieces surely
        scatter more than the others (F test at 0.01): then the others' spread is not theirs.
        """
        spread = self.spread(figure)
        if figure.sample is not None or figure.quantity is None or spread is None:
            return figure.quantity
        if _knows_better(entrant, figure, spread):
            return figure.quantity
        return self._spread_out(entrant, figure, spread, lambda n: 1 / n)

    def settled(self, entrant: Entrant, figure: Figure) -> Figure:
        """Return a model's figure with the pooled spread, and says so in its flags."""
        quantity = self(entrant, figure)
        if quantity is figure.quantity:
            return figure
        flags = tuple(flag for flag in figure.flags if flag != ONE_SAMPLE)
        return replace(figure, quantity=quantity, flags=(*flags, POOLED))

    def another_piece(self, entrant: Entrant, figure: Figure) -> Quantity | None:
        """Return what one more piece of the model would give; None where nothing is known of the spread."""
        spread = self.spread(figure)
        if figure.quantity is None or spread is None:
            return None
        return self._spread_out(entrant, figure, spread, lambda n: 1 + 1 / n)

    def _spread_out(self, entrant: Entrant, figure: Figure, spread: Spread, factor: Callable[[int], float]) -> Quantity:
        """Return the pieces' mean times ``exp(s sqrt(factor) t)``, t with the pooled degrees of freedom."""
        pieces = [each.quantity for each in entrant.pieces(figure) if each.quantity is not None]
        centre = shared_mean(pieces, entrant.name)
        identity = ("pooled spread", figure.name, *(word for pair in where(figure.at) for word in pair))
        draws = self.trials.scatter(identity, 1, spread.degrees, names=(entrant.name,))[0]
        shape = Shape("joint", spread.degrees)
        part = Part(Source((*identity, entrant.name), "spread of pieces, pooled", shape), draws)
        size = spread.standard * math.sqrt(factor(len(pieces)))
        apart = np.exp(np.clip(size * draws, -_FARTHEST, _FARTHEST))
        return Quantity(centre.value, centre.trials * apart, (*centre.parts, part))


def _knows_better(entrant: Entrant, figure: Figure, spread: Spread) -> bool:
    """Return whether a campaign's own pieces say more of their spread than the pool does."""
    values = [each.quantity.value for each in entrant.pieces(figure) if each.quantity is not None]
    own = _scatter(np.log([value for value in values if value > 0]))
    if own.degrees < 1:
        return False
    if own.degrees >= spread.degrees:
        return True
    ratio = own.squares / own.degrees / spread.standard**2 if spread.standard else math.inf
    return bool(ratio > special.fdtri(own.degrees, spread.degrees, 1 - _SURELY))


def shared_mean(pieces: Sequence[Quantity], campaign: str) -> Quantity:
    """Return the mean of some pieces without what was drawn for each alone, which their spread already holds.

    With one piece, what was drawn for this campaign's runs alone is taken for its own. Quantities that were stored
    without their sources keep all of it, which counts it a second time and errs on the wide side.
    """
    if len(pieces) == 1:
        return pieces[0].without({part.source.identity for part in pieces[0].parts if _owned(part, campaign)})
    owners: dict[tuple[str, ...], int] = {}
    for piece in pieces:
        for part in piece.parts:
            owners[part.source.identity] = owners.get(part.source.identity, 0) + 1
    alone: Collection[tuple[str, ...]] = {key for key, count in owners.items() if count == 1}
    return mean(*pieces).without(alone)


def _owned(part: Part, campaign: str) -> bool:
    return any(word == campaign or word.startswith(f"run:{campaign}/") for word in part.source.identity)
