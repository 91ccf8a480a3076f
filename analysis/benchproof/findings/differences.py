"""Differences and ratios of figures, trial by trial, so that what two campaigns share cancels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchproof.findings.comparable import flags_between, refusal
from benchproof.trials.quantity import Quantity, combine

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.findings.entrants import Entrant, Settle
    from benchproof.methods.records import Figure


@dataclass(frozen=True, slots=True)
class Difference:
    """One figure of a campaign against the same figure of another.

    Parameters
    ----------
    name, at : str, Mapping
        What is compared, and where.
    campaign, than : str
        The two campaigns.
    first, second : Quantity or None
        Their quantities, SI; None where there is none.
    difference, ratio : Quantity or None
        First less second; first over second. None where refused, or where the second may be zero.
    reason : str
        Why there is no difference; empty where there is one.
    flags : tuple of str
        ``drive_differs``, and the flags of both figures.
    """

    name: str
    at: Mapping[str, str]
    campaign: str
    than: str
    first: Quantity | None = None
    second: Quantity | None = None
    difference: Quantity | None = None
    ratio: Quantity | None = None
    reason: str = ""
    flags: tuple[str, ...] = ()


def difference(one: Quantity, other: Quantity) -> Quantity:
    """Return one less other, trial by trial."""
    return combine(np.subtract, one, other)


def ratio(one: Quantity, other: Quantity) -> Quantity | None:
    """Return one over other, trial by trial; None where the other's trials do not all have its sign."""
    if not other.value or bool(np.any(np.sign(other.trials) != np.sign(other.value))):
        return None
    return combine(np.divide, one, other)


def as_figured(entrant: Entrant, figure: Figure) -> Quantity | None:
    """Return a figure's own quantity."""
    return figure.quantity


def compare(first: Entrant, figure: Figure, second: Entrant, settle: Settle = as_figured) -> Difference:
    """Return a figure of one campaign against that of another.

    Parameters
    ----------
    first, second : Entrant
        The campaigns.
    figure : Figure
        Of the first; its sample's counterpart is the second's model.
    settle : callable
        Gives the quantities to compare.

    Returns
    -------
    Difference
        With the reason where it is refused: not tested, not reached, withheld, another propeller, other cooling.
    """
    candidates = second.of(figure.name, figure.at)
    other, reason = _counterpart(first, figure, second, candidates)
    blank = Difference(figure.name, figure.at, first.name, second.name)
    if other is None:
        return _refused(blank, reason)
    one, two = settle(first, figure), settle(second, other)
    missing = _absence(figure, first) or _absence(other, second)
    if missing or one is None or two is None:
        return _refused(blank, missing)
    flags = tuple(dict.fromkeys((*flags_between(figure, first, second), *figure.flags, *other.flags)))
    return Difference(
        figure.name, figure.at, first.name, second.name, one, two, difference(one, two), ratio(one, two), "", flags
    )


def differences(entrants: Sequence[Entrant], settle: Settle = as_figured) -> Iterator[Difference]:
    """Yield every model figure of every campaign against that of the first, the reference."""
    reference = entrants[0]
    for entrant in entrants[1:]:
        for figure in entrant.figures:
            if figure.sample is None and reference.of(figure.name, figure.at):
                yield compare(entrant, figure, reference, settle)


def _refused(blank: Difference, reason: str) -> Difference:
    return Difference(blank.name, blank.at, blank.campaign, blank.than, reason=reason)


def _counterpart(
    first: Entrant, figure: Figure, second: Entrant, candidates: Sequence[Figure]
) -> tuple[Figure | None, str]:
    """Return the figure to compare with, or why there is none."""
    if not candidates:
        return None, f"not tested in {second.name}"
    reasons = [refusal(figure, first, candidate, second) for candidate in candidates]
    fitting = [candidate for candidate, reason in zip(candidates, reasons, strict=True) if not reason]
    if not fitting:
        return None, reasons[0]
    same = [candidate for candidate in fitting if dict(candidate.at) == dict(figure.at)]
    return (same or fitting)[0], ""


def _absence(figure: Figure, entrant: Entrant) -> str:
    if figure.quantity is not None:
        return ""
    flag = next((f for f in figure.flags if f == "not_reached" or f.startswith("withheld:")), "no value")
    code = flag.partition(":")[2]
    said = f"withheld ({code.replace('_', ' ')})" if code else flag.replace("_", " ")
    return f"{said} in {entrant.name}"
