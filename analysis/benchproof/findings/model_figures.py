"""What a campaign's few samples tell of their model, with the spread of pieces that the whole archive shows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from benchproof.findings.archive import Traits, place_text
from benchproof.findings.designs import design_of
from benchproof.findings.samples import CORE
from benchproof.findings.scatter import Spread
from benchproof.findings.spread import own_scatter, place_of
from benchproof.methods.records import Figure
from benchproof.nomenclature import term
from benchproof.trials.quantity import mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from benchproof.campaign.models.campaign import Specimen
    from benchproof.findings.entrants import Entrant
    from benchproof.findings.spread import Place, Pool, Tested
    from benchproof.trials.quantity import Quantity

    Entry = Mapping[str, Any]


def pooled_models(
    entries: Sequence[Entry], entrant: Entrant, pool: Pool, coverage: float
) -> tuple[dict[str, Any], ...]:
    """Return what the samples tell of their model, for each figure that a pooled spread says more of.

    Parameters
    ----------
    entries : sequence of Mapping
        ``quantities`` of results.json as the campaign's notebook gave them.
    entrant : Entrant
        The campaign, its figures in the same order.
    pool : Pool
        Spread of the archive's pieces.
    coverage : float
        Of the interval.

    Returns
    -------
    tuple of dict
        ``pooled_models`` of results.json: the model's figure with the pooled spread in its uncertainty, how many
        samples it is from, and that spread.

    Notes
    -----
    The value stays. The standard uncertainty is that of the samples' mean and the spread's ``y s / sqrt(n)``, with the
    degrees of freedom of Welch and Satterthwaite (JCGM 100, G.4).
    """
    return tuple(_told(entries, entrant, pool, coverage))


def traits_of(specimen: Specimen, tested: Tested) -> Traits:
    """Return what a motor campaign tells the archive."""
    return Traits(design_of(specimen), {place_text(place): each for place, each in own_scatter(tested).items()})


def spreads_of(models: Iterable[Entry]) -> dict[Place, Spread]:
    """Return the spreads behind ``pooled_models`` by the figures they belong to."""
    return {
        place_of(Figure(each["name"], each["at"], None, None, "")): Spread(
            each["spread"]["standard"], each["spread"]["degrees_of_freedom"], each["spread"]["campaigns"]
        )
        for each in models
    }


def _told(entries: Sequence[Entry], entrant: Entrant, pool: Pool, coverage: float) -> Iterator[dict[str, Any]]:
    for entry, figure in zip(entries, entrant.figures, strict=True):
        spread = pool.spread(figure)
        if figure.sample is not None or spread is None:
            continue
        quantity = pool(entrant, figure)
        if quantity is not None and quantity is not figure.quantity:
            pieces = [piece.quantity for piece in entrant.pieces(figure) if piece.quantity is not None]
            yield _record(entry, figure, quantity, pieces, spread, coverage)


def _record(
    entry: Entry, figure: Figure, quantity: Quantity, pieces: Sequence[Quantity], spread: Spread, coverage: float
) -> dict[str, Any]:
    unit = term(figure.name)
    if len(pieces) == 1:
        own, degrees = float(entry["standard_uncertainty"]), entry["degrees_of_freedom"]
    else:
        own, degrees = unit.from_si(_core(mean(*pieces))), None
    apart = abs(float(entry["value"])) * spread.standard / math.sqrt(len(pieces))
    standard = math.hypot(own, apart)
    slack = apart**4 / spread.degrees + (own**4 / degrees if degrees else 0.0)
    return {
        "name": entry["name"],
        "at": dict(entry["at"]),
        "unit": entry["unit"],
        "samples": len(pieces),
        "value": entry["value"],
        "standard_uncertainty": standard,
        "degrees_of_freedom": standard**4 / slack,
        "interval": [unit.from_si(end) for end in quantity.interval(coverage)],
        "coverage": coverage,
        "spread": {
            "standard": spread.standard,
            "degrees_of_freedom": spread.degrees,
            "campaigns": spread.campaigns,
            "samples": spread.pieces,
        },
    }


def _core(quantity: Quantity) -> float:
    """Return half the width of the middle 68 % of trials, which no heavy tail of one piece's scatter reaches."""
    low, high = quantity.interval(CORE)
    return (high - low) / 2
