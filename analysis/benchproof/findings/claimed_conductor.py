"""What a campaign's design says of the conductor, and what it can do at the most.

Free attributes of ``specimen.design`` that are read, all optional:

    conductor: copper | silver | silver plated copper | aluminium      (words; anything else is left alone)
    plating: "2 um"       thickness of the coat
    strand: "0.2 mm"      finished diameter of one strand

Nobody states the grade of copper, so the plain wire it is held against lies anywhere from pure copper to the annealed
standard. A coat whose thickness is not stated lies anywhere from 0 to 5 um, a strand from 0.15 to 0.4 mm
(practitioner's judgement).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.campaign.units import UnitError, read_measured
from benchproof.errors import Remark
from benchproof.findings.conductor import IACS, RESISTIVITY, ac_ratio, plated_change
from benchproof.findings.counterfactual import Change, efficiency_change
from benchproof.findings.loss_views import POINT, anywhere, cells, with_width
from benchproof.methods.records import Column, Table
from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Quantity, combine

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from benchproof.findings.losses import LossBudget
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

LIKELY: Final = {"plating": (0.0, 5e-6), "strand": (0.15e-3, 0.4e-3)}
"""Where an unstated thickness or diameter lies, m."""

SWITCHING: Final = 48e3
"""Frequency at which skin effect is told, Hz: that of a fast drive, above all the motor's own."""


@dataclass(frozen=True, slots=True, eq=False)
class ClaimedConductor:
    """A conductor other than plain copper, as the campaign states it.

    Parameters
    ----------
    words : str
        As written.
    change : Quantity
        Resistance against plain copper of the same finished size, relative.
    bound : Quantity
        The same if it were solid metal of the better kind.
    skin : float
        Alternating over direct resistance of a strand of the largest likely size at `SWITCHING`, less 1.
    remarks : tuple of Remark
        Attributes that could not be read.
    """

    words: str
    change: Quantity
    bound: Quantity
    skin: float
    remarks: tuple[Remark, ...] = ()


def claimed_conductor(design: Mapping[str, object], campaign: str, trials: Trials) -> ClaimedConductor | None:
    """Return what a design claims of its conductor; None where it claims nothing but copper, or nothing known.

    Parameters
    ----------
    design : Mapping
        ``specimen.design``.
    campaign : str
        Names what is not known as a source of error.
    trials : Trials
        The laboratory's trials.
    """
    words = str(design.get("conductor", ""))
    metals = [metal for metal in RESISTIVITY if metal in words.lower()]
    plated = "plated" in words.lower() or "coated" in words.lower()
    if not metals or metals == ["copper"] or (plated and "copper" not in metals):
        return None
    metal = next(each for each in metals if each != "copper")
    grade = _between("grade of copper", RESISTIVITY["copper"], IACS, campaign, trials)
    bound = combine(lambda rho: RESISTIVITY[metal] / rho - 1, grade)
    remarks: list[Remark] = []
    strand = _length(design, "strand", campaign, trials, remarks)
    change = bound
    if plated:
        coat = _length(design, "plating", campaign, trials, remarks)
        change = combine(lambda d, t, rho: plated_change(d, t, rho, RESISTIVITY[metal]), strand, coat, grade)
    thickest = float(np.max(strand.trials))
    skin = float(ac_ratio(thickest, SWITCHING, RESISTIVITY[metal])) - 1
    return ClaimedConductor(words, change, bound, skin, tuple(remarks))


def _between(what: str, low: float, high: float, campaign: str, trials: Trials) -> Quantity:
    source = Source((campaign, "conductor", what), what, RECTANGULAR)
    return Quantity.of((low + high) / 2, (high - low) / 12**0.5, source, trials)


def _length(design: Mapping[str, object], key: str, campaign: str, trials: Trials, remarks: list[Remark]) -> Quantity:
    """Return a stated length, or where it lies if nobody says."""
    stated = design.get(key)
    if stated is not None:
        try:
            return Quantity.exact(read_measured(stated, "length").si, trials.count)
        except UnitError as error:
            sentence = f"design.{key} is not used: found {error.found}, expected {error.expected}"
            remarks.append(Remark("design_unreadable", f"design.{key}", sentence))
    return _between(key, *LIKELY[key], campaign, trials)


def conductor_table(
    claim: ClaimedConductor, budgets: Sequence[LossBudget], points: Sequence[tuple[str, float]], coverage: float
) -> Table:
    """Return what the claimed conductor and its solid bound can do for the efficiency.

    Parameters
    ----------
    claim : ClaimedConductor
        The claim.
    budgets : sequence of LossBudget
        One a sample.
    points : sequence of (str, float)
        Operating points, W.
    coverage : float
        Of the intervals.
    """
    texts, rows = anywhere(budgets, points), []
    for label, change in ((claim.words, claim.change), ("the better metal, solid", claim.bound)):
        percent = with_width(100 * np.concatenate([[change.value], change.trials]), coverage)
        for budget in budgets:
            moved = efficiency_of_conductor(budget, change) / POINT
            rows.append((label, percent, budget.sample, *cells(budget, moved, texts, points, coverage)))
    return Table(
        name="conductor",
        title="What the conductor can do",
        caption=(
            "Resistance against plain copper of the same finished size, and what that does for the efficiency. A gain "
            "beyond the last rows cannot come from the metal: look at fill, magnets, laminations, air gap, timing. "
            f"Skin effect takes {100 * claim.skin:.2g} % at {SWITCHING / 1e3:g} kHz, so no current crowds into a coat."
        ),
        columns=(
            Column("Conductor", align="left"),
            Column("Resistance", "%"),
            Column("Sample", align="left"),
            *(Column(f"Efficiency at {text}", "points") for text in texts),
        ),
        rows=tuple(rows),
    )


def efficiency_of_conductor(budget: LossBudget, change: Quantity) -> FloatArray:
    """Return what a relative change of resistance does for the efficiency at each state, shape (k, 1 + trials).

    The motor as measured has the claimed conductor; without it its resistance would be higher by the inverse.
    """
    row = np.concatenate([[change.value], change.trials])
    return -efficiency_change(budget, Change("plain copper", resistance=1 / (1 + row) - 1))
