"""How pieces of one model scatter, in small numbers that can be added up over campaigns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable

POOLED: Final = "pooled_spread"
"""Flag of a model figure whose spread comes from several campaigns."""


@dataclass(frozen=True, slots=True)
class Spread:
    """The spread of pieces about their model.

    Parameters
    ----------
    standard : float
        Relative standard deviation: of the logarithm.
    degrees : int
        Degrees of freedom, ``sum(n_i - 1)``.
    campaigns : int
        How many campaigns with two pieces or more it comes from.
    """

    standard: float
    degrees: int
    campaigns: int

    @property
    def pieces(self) -> int:
        """How many pieces it comes from."""
        return self.degrees + self.campaigns


class Scatter(NamedTuple):
    """What one campaign's pieces tell of the spread of a figure.

    Parameters
    ----------
    squares : float
        Sum of the squares of the logarithms about their mean.
    degrees : int
        Its degrees of freedom, ``n - 1``; 0 where there is one piece.
    """

    squares: float
    degrees: int


def pooled(rows: Iterable[Scatter]) -> Spread | None:
    """Return the spread of several campaigns' pieces; None where none of them has two."""
    several = [row for row in rows if row.degrees]
    degrees = sum(row.degrees for row in several)
    return (
        Spread(math.sqrt(math.fsum(r.squares for r in several) / degrees), degrees, len(several)) if degrees else None
    )
