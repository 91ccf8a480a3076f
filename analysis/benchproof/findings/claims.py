"""Sentences held against the figures: probability and verdict.

A verdict holds given the method and the stated error sources. ``supported`` asks for a probability of at least 0.95
(for *equal*: both one-sided tests at 0.05, Schuirmann 1987 [from memory]), ``contradicted`` for as much of the
opposite; anything between is ``not shown``, which is not the same as wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from benchproof.campaign.models.campaign import LABELLED
from benchproof.campaign.units import quantity_dimension, read_measured, spellings
from benchproof.findings.comparable import DRIVE_DIFFERS, drive_differences, flags_between
from benchproof.findings.differences import compare
from benchproof.findings.labels import label_value
from benchproof.findings.ranking import holm
from benchproof.findings.wording import figure_words, percent_words, shown_unit
from benchproof.trials.quantity import Quantity, mean

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from numpy.typing import NDArray

    from benchproof.campaign.models.campaign import Claim
    from benchproof.findings.entrants import Entrant, Settle
    from benchproof.methods.records import Figure

    FloatArray = NDArray[np.float64]

Verdict = Literal["supported", "not shown", "contradicted"]

ENOUGH: Final = 0.95
"""Probability from which a sentence is supported, or its opposite."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A sentence with its verdict.

    Parameters
    ----------
    say : str
        The sentence.
    verdict : str
        supported, not shown, contradicted.
    probability : float or None
        Of the sentence; for *equal* the smaller of the two one-sided ones. None where there is nothing to hold it
        against.
    detail : str
        What was compared, in words; where the probability is None, why.
    together : bool or None
        Whether it holds with all sentences of the campaign judged together (Holm); None where it is not supported.
    """

    say: str
    verdict: Verdict
    probability: float | None
    detail: str
    together: bool | None = None


@dataclass(frozen=True, slots=True)
class _Sides:
    """Trials of the figure and of what it is held against, with words; or why there are none."""

    one: Quantity | None = None
    other: Quantity | None = None
    words: str = ""


def judge_all(
    subject: Entrant,
    others: Mapping[str, Entrant],
    settle: Settle,
    coverage: float,
    *,
    absent: Collection[str] = (),
) -> tuple[Judged, ...]:
    """Return every claim of a campaign, judged alone and together.

    Parameters
    ----------
    subject : Entrant
        The campaign that makes the claims.
    others : Mapping of str to Entrant
        Campaigns by name.
    settle : callable
        Gives the model's quantity, with a pooled spread where there is one.
    coverage : float
        Of the intervals in the words.
    absent : collection of str
        Campaigns that could not be built.
    """
    judged = [
        Judged(claim.say, "not shown", None, f"{claim.than} has no figures yet")
        if claim.than in absent
        else judge(claim, subject, others, settle, coverage)
        for claim in subject.campaign.claims
    ]
    chances = [1 - each.probability if each.probability is not None else 1.0 for each in judged]
    held = holm(chances)
    return tuple(
        Judged(j.say, j.verdict, j.probability, j.detail, together if j.verdict == "supported" else None)
        for j, together in zip(judged, held, strict=True)
    )


def judge(claim: Claim, subject: Entrant, others: Mapping[str, Entrant], settle: Settle, coverage: float) -> Judged:
    """Return one claim with its verdict."""
    sides = _sides(claim, subject, others, settle, coverage)
    if sides.one is None or sides.other is None:
        return Judged(claim.say, "not shown", None, sides.words)
    probability, opposite = _probabilities(claim, sides.one, sides.other)
    return Judged(claim.say, _verdict(probability, opposite), probability, sides.words)


def _verdict(probability: float, opposite: float) -> Verdict:
    if probability >= ENOUGH:
        return "supported"
    return "contradicted" if opposite >= ENOUGH else "not shown"


def _probabilities(claim: Claim, one: Quantity, other: Quantity) -> tuple[float, float]:
    """Return the probability of the sentence and that of its opposite."""
    apart = one.trials - other.trials
    if claim.relation in ("at_least", "at_most"):
        holds = apart >= 0 if claim.relation == "at_least" else apart <= 0
        return float(np.mean(holds)), float(np.mean(~holds))
    margin = _margin(claim.within or claim.by, claim.quantity, other.trials)
    if claim.relation == "equal":
        both = (float(np.mean(apart > -margin)), float(np.mean(apart < margin)))
        return min(both), float(np.mean(np.abs(apart) > margin))
    holds = apart > margin if claim.relation == "more" else apart < -margin
    return float(np.mean(holds)), float(np.mean(~holds))


def _margin(text: str | None, quantity: str, other: FloatArray) -> FloatArray:
    """Return a margin by trial: relative to what is compared with, or absolute, SI."""
    if text is None:
        return np.zeros(1)
    unit = text.strip().lstrip("+-.0123456789eE ")
    if unit in spellings("ratio"):
        return np.asarray(read_measured(text, "ratio").si * np.abs(other), dtype=np.float64)
    return np.array([read_measured(text, quantity_dimension(quantity), difference=True).si])


def _sides(claim: Claim, subject: Entrant, others: Mapping[str, Entrant], settle: Settle, coverage: float) -> _Sides:
    figure = wanted(claim, subject)
    if isinstance(figure, str):
        return _Sides(words=figure)
    if figure.quantity is None:
        return _Sides(words=_why(figure))
    scoped = _scoped(claim, settle)
    if claim.than in others:
        return _against_campaign(claim, subject, figure, others[claim.than], scoped, coverage)
    one = scoped(subject, figure)
    if one is None:
        return _Sides(words=f"{claim.quantity} has no value")
    if claim.than == "label":
        value = label_value(subject.specimen, claim.quantity)
        if value is None:
            listed = ", ".join(LABELLED)
            return _Sides(words=f"the label states no {claim.quantity} (it may state {listed})")
        beside = f"; {subject.drive_words}" if claim.quantity == "kv_no_load" else ""
        unit, per_unit = shown_unit(claim.quantity)
        said = f"{value / per_unit:.6g} {unit} on the label"
        words = f"{figure_words(one, claim.quantity, coverage)} against {said}{beside}"
        return _Sides(one, Quantity.exact(value, one.trials.size), words)
    stated = read_measured(claim.than, quantity_dimension(claim.quantity)).si
    return _Sides(one, Quantity.exact(stated, one.trials.size), figure_words(one, claim.quantity, coverage))


def _against_campaign(
    claim: Claim, subject: Entrant, figure: Figure, other: Entrant, settle: Settle, coverage: float
) -> _Sides:
    found = compare(subject, figure, other, settle)
    if found.first is None or found.second is None:
        return _Sides(words=found.reason)
    words = percent_words(found.ratio, coverage) if found.ratio is not None else "difference about zero"
    if DRIVE_DIFFERS in flags_between(figure, subject, other):
        words += f"; the drive differs: {', '.join(drive_differences(subject, other))}"
    return _Sides(found.first, found.second, words)


def _scoped(claim: Claim, settle: Settle) -> Settle:
    """Return what a claim's scope compares: the model with the spread of its pieces, or the pieces as tested."""
    if claim.sample is not None:
        return lambda entrant, figure: figure.quantity if figure.sample else settle(entrant, figure)
    return settle if claim.scope == "model" else pieces_mean


def pieces_mean(entrant: Entrant, figure: Figure) -> Quantity | None:
    """Return the mean of the pieces as tested, without the spread that other pieces would add."""
    known = [each.quantity for each in entrant.pieces(figure) if each.quantity is not None]
    return mean(*known) if known else figure.quantity


def wanted(claim: Claim, subject: Entrant) -> Figure | str:
    """Return the figure a claim is about, or why there is none."""
    at = dict(claim.at)
    if claim.part not in (None, "motor"):
        at["part"] = str(claim.part)
    found = [f for f in subject.figures if f.name == claim.quantity and f.sample == claim.sample]
    exact = [f for f in found if dict(f.at) == at]
    if exact:
        return exact[0]
    near = subject.of(claim.quantity, at, claim.sample)
    if len(near) == 1:
        return near[0]
    place = ", ".join(at.values())
    return f"{claim.quantity}{f' at {place}' if place else ''} was not tested" if not near else "name the propeller"


def _why(figure: Figure) -> str:
    flag = next((f for f in figure.flags if f == "not_reached" or f.startswith("withheld:")), "no value")
    return flag.replace("withheld:", "withheld: ").replace("_", " ")
