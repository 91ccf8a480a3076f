"""Whether what claims, quotes and comparisons refer to is there: campaigns, samples, operating points."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from pydantic_core import PydanticCustomError

from benchproof.campaign.models.campaign import LABELLED
from benchproof.campaign.models.lab import POINT_DIMENSIONS
from benchproof.campaign.quoting import Quote, parse
from benchproof.campaign.references import absent
from benchproof.campaign.units import UnitError, quantity_dimension, read_measured
from benchproof.campaign.yaml import written
from benchproof.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchproof.campaign.checked import Checked
    from benchproof.campaign.models.campaign import Campaign
    from benchproof.campaign.yaml import Places, Step

_QUANTITY: Final = re.compile(r"[+-]?[.0-9]+([eE][+-]?[0-9]+)? *([^-0-9.]|$)")
"""What was meant as a value with its unit, and not as the name of a campaign."""


def claim_faults(
    campaign: Campaign, pieces: Sequence[str | Quote], places: Places, campaigns: Sequence[str]
) -> Iterator[Fault]:
    """Yield a fault for every claim and quote against something that is not there."""
    for piece in pieces:
        if isinstance(piece, Quote) and piece.than is not None and piece.than not in (*campaigns, "label"):
            yield absent(places, ("text",), piece.than, tuple(campaigns), "campaign")
    stated = _stated_on_label(campaign)
    for position, claim in enumerate(campaign.claims):
        path = ("claims", position, "than")
        if claim.than == "label" and LABELLED.get(claim.quantity) not in stated:
            found = f"label, which states no {LABELLED.get(claim.quantity, claim.quantity)}"
            expected = "a label that states it"
            remedy = "Add it to label: of the specimen, or compare with a campaign or a value."
            yield Fault(places.file, written(path), found, expected, remedy, places.line(path))
        if claim.than == "label" or claim.than in campaigns:
            continue
        try:
            read_measured(claim.than, quantity_dimension(claim.quantity))
        except UnitError as error:
            if _QUANTITY.match(claim.than):
                line = places.line(path)
                yield Fault(places.file, written(path), error.found, error.expected, error.remedy, line)
            else:
                known = ("label", *campaigns)
                yield absent(places, path, claim.than, known, "campaign, label, or a value with its unit")


def _stated_on_label(campaign: Campaign) -> frozenset[str]:
    """Return what the seller's label states."""
    label = campaign.specimen.label if campaign.specimen else None
    if label is None:
        return frozenset()
    return frozenset(name for name in type(label).model_fields if getattr(label, name) is not None)


def quote_faults(checked: Checked, pieces: Sequence[str | Quote], places: Places) -> Iterator[Fault]:
    """Yield a fault for every quote of a sample or operating point that is not there."""
    specimen = checked.campaign.specimen
    samples = tuple(sample.id for sample in specimen.samples) if specimen else ()
    for quote in (piece for piece in pieces if isinstance(piece, Quote)):
        if quote.of is not None:
            line = places.line(("text",))
            found, remedy = f'of="{quote.of}"', "Delete of=: the text quotes its own campaign."
            yield Fault(places.file, "text", found, "of= in a comparison alone", remedy, line)
        if quote.sample is not None and quote.sample not in samples:
            yield absent(places, ("text",), quote.sample, samples, "sample of the specimen")
        for key, text in quote.at.items():
            if key in POINT_DIMENSIONS:
                yield from _point_faults(checked, key, text, places)


def _point_faults(checked: Checked, key: str, text: str, places: Places) -> Iterator[Fault]:
    points = checked.lab.operating_points
    known = tuple(point.text for point in getattr(points, key))
    try:
        spelt = points.spelt(key, text)
    except PydanticCustomError as error:
        for problem in (error.context or {})["problems"]:
            yield Fault(places.file, "text", problem.found, problem.expected, problem.remedy, places.line(("text",)))
        return
    if spelt is not None and spelt != text:
        place = places.line(("text",))
        yield Fault(places.file, "text", f'"{text}"', f'"{spelt}", as the lab spells it', f"Write {spelt}.", place)
    if spelt is None:
        yield absent(places, ("text",), text, known, f"{key} that the lab quotes")


def comparison_faults(campaign: Campaign, places: Places, known: Sequence[str]) -> Iterator[Fault]:
    """Yield what is wrong with a comparison: campaigns that are not there or stand twice, and quotes of no campaign."""
    others = tuple(name for name in known if name != campaign.campaign)
    for position, name in enumerate(campaign.campaigns):
        path: tuple[Step, ...] = ("campaigns", position)
        if name not in others:
            yield absent(places, path, name, others, "campaign")
        elif name in campaign.campaigns[:position]:
            remedy = "Delete one of the two."
            yield Fault(places.file, written(path), f'"{name}" twice', "each once", remedy, places.line(path))
    try:
        pieces = parse(campaign.text or "", file=places.file, line=places.line(("text",)))
    except InputError as error:
        yield from error.faults
        return
    for quote in (piece for piece in pieces if isinstance(piece, Quote)):
        if quote.of not in campaign.campaigns:
            expected = f"of= one of {', '.join(campaign.campaigns)}"
            remedy = 'Say whose figure it is: quote("mass", of="…").'
            found = f'of="{quote.of}"' if quote.of else "a quote without of="
            yield Fault(places.file, "text", found, expected, remedy, places.line(("text",)))
        if quote.than is not None and quote.than not in (*campaign.campaigns, "label"):
            yield absent(places, ("text",), quote.than, campaign.campaigns, "campaign of the comparison")
