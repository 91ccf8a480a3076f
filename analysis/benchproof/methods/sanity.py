"""Plausibility: bands and ceilings, kept as data in ``sanity.json``.

A band never drops data: a figure outside its usual range is remarked on, a physical impossibility is withheld.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from benchproof.errors import Remark

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from benchproof.methods.records import Figure


@dataclass(frozen=True, slots=True)
class Band:
    """Usual and possible range of a figure, SI.

    Parameters
    ----------
    usual : tuple of float
        Outside it a remark is made.
    possible : tuple of float
        Outside it the figure is withheld.
    basis : str
        Where the numbers come from.
    look : str
        Where to look for a mistake.
    """

    usual: tuple[float, float]
    possible: tuple[float, float]
    basis: str
    look: str = "look at units, tare, pole pairs and the power reading"


_LIMITS: Final = ("usual", "possible")


@cache
def bands() -> Mapping[str, Band]:
    """Return the bands by figure name."""
    raw = json.loads(files("benchproof.methods").joinpath("sanity.json").read_text(encoding="utf-8"))
    return {name: Band(**entry | {key: tuple(entry[key]) for key in _LIMITS}) for name, entry in raw.items()}


def judged(figures: Iterable[Figure]) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Hold figures against their bands.

    Returns
    -------
    tuple
        The figures, impossible ones withheld, and the remarks.
    """
    kept: list[Figure] = []
    remarks: list[Remark] = []
    for figure in figures:
        band = bands().get(figure.name)
        if band is None or figure.quantity is None:
            kept.append(figure)
            continue
        value = figure.quantity.value
        where = f"{figure.name} of sample {figure.sample}" + "".join(f", {v}" for v in figure.at.values())
        if not band.possible[0] <= value <= band.possible[1]:
            kept.append(figure.withheld("impossible"))
            remarks.append(Remark("impossible", where, _sentence(value, band, band.possible, "possible")))
            continue
        kept.append(figure)
        if not band.usual[0] <= value <= band.usual[1]:
            remarks.append(Remark("unusual", where, _sentence(value, band, band.usual, "usual")))
    return tuple(kept), tuple(remarks)


def _sentence(value: float, band: Band, limits: tuple[float, float], word: str) -> str:
    return f"{value:.4g} is outside the {word} range {limits[0]:g} to {limits[1]:g} (SI; {band.basis}); {band.look}"
