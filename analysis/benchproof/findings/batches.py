"""A later batch against the earlier one, with retained golden samples where there are any.

``effect = (new / old) / (golden now / golden then)``: what a golden sample seems to have changed by is the bench's
doing and is taken off. Where the rest lies within its interval, no drift is shown and the batches are merged.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from benchproof.campaign.models.base import required
from benchproof.findings.differences import compare
from benchproof.findings.small_samples import welch
from benchproof.findings.wording import figure_words, percent_words, probability_words, title_words
from benchproof.methods.records import Column, Table
from benchproof.trials.quantity import Quantity, combine, mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.findings.entrants import Entrant, Settle
    from benchproof.methods.records import Figure


@dataclass(frozen=True, slots=True)
class Drift:
    """One figure of a later batch against the earlier one.

    Parameters
    ----------
    name, at
        The figure.
    effect : Quantity
        New over old, the bench's own change taken off where golden samples tell it.
    golden : tuple of str
        The golden samples that told it.
    shown : bool
        Whether 1 lies outside its interval.
    merged : Quantity
        The figure over all pieces of both batches, SI; for use where no drift is shown.
    welch : float or None
        Two-sided p of Welch's test of the pieces' values alone, where each batch has two pieces.
    """

    name: str
    at: Mapping[str, str]
    effect: Quantity
    golden: tuple[str, ...]
    shown: bool
    merged: Quantity
    welch: float | None


def retests(entrants: Sequence[Entrant]) -> tuple[tuple[Entrant, Entrant], ...]:
    """Return every two campaigns of one model, the earlier first."""
    dated = sorted(entrants, key=lambda e: (required(e.campaign.dates).tested, e.name))
    return tuple(
        (old, new)
        for old, new in combinations(dated, 2)
        if (old.specimen.maker, old.specimen.model) == (new.specimen.maker, new.specimen.model)
    )


def drifts(old: Entrant, new: Entrant, settle: Settle, coverage: float) -> Iterator[Drift]:
    """Yield the drift of every figure that both batches have."""
    for figure in (f for f in new.figures if f.sample is None):
        found = compare(new, figure, old, settle)
        if found.ratio is None or found.first is None or found.second is None:
            continue
        bench, golden = _of_the_bench(old, new, figure)
        effect = found.ratio if bench is None else combine(np.divide, found.ratio, bench)
        low, high = effect.interval(coverage)
        before = old.of(figure.name, figure.at)[0]
        merged = _merged(found.second, len(old.pieces(before)), found.first, len(new.pieces(figure)))
        yield Drift(
            figure.name,
            figure.at,
            effect,
            golden,
            not low <= 1 <= high,
            merged,
            _welch(new.pieces(figure), old.pieces(before)),
        )


def _of_the_bench(old: Entrant, new: Entrant, figure: Figure) -> tuple[Quantity | None, tuple[str, ...]]:
    """Return what the golden samples seem to have changed by, and which they were."""
    ratios: dict[str, Quantity] = {}
    for sample in sorted(new.golden):
        now = next(iter(new.of(figure.name, figure.at, sample)), None)
        then = next(iter(old.of(figure.name, figure.at, sample)), None)
        if now is not None and then is not None and now.quantity is not None and then.quantity is not None:
            ratios[sample] = combine(np.divide, now.quantity, then.quantity)
    return (mean(*ratios.values()) if ratios else None), tuple(ratios)


def _merged(old: Quantity, of_old: int, new: Quantity, of_new: int) -> Quantity:
    """Return the mean over all pieces of two batches."""
    count = of_old + of_new
    return combine(lambda o, n: (of_old * o + of_new * n) / count, old, new)


def _welch(one: Sequence[Figure], other: Sequence[Figure]) -> float | None:
    values = [[f.quantity.value for f in group if f.quantity is not None] for group in (one, other)]
    try:
        return welch(*values).p
    except ValueError:  # fewer than two pieces in a batch
        return None


def batch_table(old: Entrant, new: Entrant, found: Sequence[Drift], coverage: float) -> Table:
    """Return the table of a retest."""
    golden = sorted({sample for drift in found for sample in drift.golden})
    told = (
        f"Golden sample{'s' if len(golden) > 1 else ''} {', '.join(golden)} stood on the bench both times; what "
        "it seems to have changed by is taken off."
        if golden
        else "No golden sample stood on the bench both times, so a change of the bench in between would show here too."
    )
    return Table(
        name=f"batch-{old.name}-{new.name}",
        title=f"{new.specimen.model}: batch {new.batches} against batch {old.batches}",
        caption=f"{new.name} against {old.name}. {told} Where no drift is shown, the batches are merged.",
        columns=(
            Column("Figure", align="left"),
            Column("New against old"),
            Column("Drift", align="left"),
            Column("Both batches"),
            Column("Welch's p"),
        ),
        rows=tuple(_row(drift, coverage) for drift in found),
    )


def _row(drift: Drift, coverage: float) -> tuple[str, ...]:
    return (
        title_words(drift.name, drift.at),
        percent_words(drift.effect, coverage),
        "shown" if drift.shown else "not shown, merged",
        "" if drift.shown else figure_words(drift.merged, drift.name, coverage),
        "" if drift.welch is None else probability_words(drift.welch),
    )
