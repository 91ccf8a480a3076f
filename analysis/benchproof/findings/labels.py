"""What the seller states against what was measured, with the decision rule of JCGM 106.

A tolerance is the seller's to state. Without one the difference is reported, and no fail is invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from benchproof.campaign.models.campaign import LABELLED
from benchproof.findings.differences import ratio
from benchproof.findings.wording import figure_words, percent_words, shown_unit, title_words
from benchproof.methods.records import Column, Table
from benchproof.trials.conformity import conformity_probability
from benchproof.trials.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.campaign.models.campaign import Specimen
    from benchproof.findings.entrants import Entrant
    from benchproof.methods.records import Figure

_NOT_JUDGED: Final = frozenset({"kv_back_emf"})
"""A label's Kv is that of a drive: it is judged at no load and at the drive's timing."""

_AT_FULL_THROTTLE: Final = frozenset({"thrust", "current"})
"""A label states these at full throttle."""

Decision = Literal["conforms", "conforms, conditionally", "fails, conditionally", "fails", "no tolerance stated"]

SURE: Final = 0.95
"""Conformity probability from which a decision has no condition: a guard band of 1.645 u on each side."""


@dataclass(frozen=True, slots=True)
class Check:
    """One statement of the label against its figure.

    Parameters
    ----------
    figure : Figure
        The figure.
    stated : float
        What the label says, SI.
    tolerance : float or None
        Relative; None where none is stated.
    probability : float or None
        That the true value lies within the tolerance.
    decision : str
        In words.
    """

    figure: Figure
    stated: float
    tolerance: float | None
    probability: float | None
    decision: Decision


def label_value(specimen: Specimen, name: str) -> float | None:
    """Return what the label states of a figure, SI; None where it says nothing."""
    stated = getattr(specimen.label, LABELLED[name], None) if specimen.label and name in LABELLED else None
    if stated is None:
        return None
    return float(stated.value.si if hasattr(stated, "tolerance") else stated.si)


def label_checks(entrant: Entrant) -> tuple[Check, ...]:
    """Return every statement of the label that was measured."""
    return tuple(_checks(entrant))


def _checks(entrant: Entrant) -> Iterator[Check]:
    for name, key in LABELLED.items():
        if name in _NOT_JUDGED:
            continue
        stated = label_value(entrant.specimen, name)
        figure = next((f for f in entrant.figures if f.name == name and _judged_by(f)), None)
        if stated is None or figure is None or figure.quantity is None:
            continue
        tolerance = getattr(getattr(entrant.specimen.label, key), "tolerance", None)
        if tolerance is None:
            yield Check(figure, stated, None, None, "no tolerance stated")
            continue
        low, high = stated * (1 - tolerance.si), stated * (1 + tolerance.si)
        probability = conformity_probability(figure.quantity.value, figure.quantity.standard_uncertainty, low, high)
        yield Check(figure, stated, float(tolerance.si), probability, decision(probability))


def decision(probability: float) -> Decision:
    """Return the decision: four ways, as ILAC-G8:09/2019 has them [from memory]."""
    if probability >= 0.5:
        return "conforms" if probability >= SURE else "conforms, conditionally"
    return "fails" if probability <= 1 - SURE else "fails, conditionally"


def _judged_by(figure: Figure) -> bool:
    if figure.sample is not None or "part" in figure.at:
        return False
    return figure.name not in _AT_FULL_THROTTLE or figure.at.get("throttle") == "100 %"


def label_table(entrant: Entrant, coverage: float) -> Table | None:
    """Return the label checks as a table, None where nothing stated was measured."""
    checks = label_checks(entrant)
    if not checks:
        return None
    rule = (
        "Where the seller states a tolerance, the probability that the true value lies within it decides (JCGM 106): "
        "from 95 % it conforms, from 50 % conditionally. Without a stated tolerance the difference is reported, and "
        "nothing fails."
    )
    timing = " Kv is judged at no load; it rises with the drive's timing: " + entrant.drive_words + "."
    beside = timing if any(check.figure.name == "kv_no_load" for check in checks) else ""
    return Table(
        name="label",
        title="What the seller states, and what we found",
        caption=rule + beside,
        columns=(
            Column("Figure", align="left"),
            Column("Stated"),
            Column("Found"),
            Column("Found against stated"),
            Column("Within tolerance"),
            Column("Decision", align="left"),
        ),
        rows=tuple(_row(check, coverage) for check in checks),
    )


def _row(check: Check, coverage: float) -> tuple[str, ...]:
    name, quantity = check.figure.name, check.figure.quantity
    if quantity is None:
        message = "a label check without a value"
        raise ValueError(message)
    unit, per_unit = shown_unit(name)
    against = ratio(quantity, Quantity.exact(check.stated, quantity.trials.size))
    tolerance = f" ± {100 * check.tolerance:g} %" if check.tolerance is not None else ""
    return (
        title_words(name, check.figure.at),
        f"{check.stated / per_unit:.6g} {unit}{tolerance}",
        figure_words(quantity, name, coverage),
        percent_words(against, coverage) if against is not None else "",
        "" if check.probability is None else f"{100 * check.probability:.0f} %",
        check.decision,
    )
