"""Weighing of a motor or one of its parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.method import Change, Method
from benchproof.methods.records import NO_POINT, Column, Figure, Reduction, Table
from benchproof.methods.sanity import judged
from benchproof.trials.quantity import Quantity, combine, mean
from benchproof.trials.rounding import rounded

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.methods.bench import Bench

METHOD: Final = Method(
    key="weighing",
    version="1.0",
    title="Weighing",
    order=10,
    summary=(
        "The motor, or one of its parts, is put on the balance several times. The mean counts; its uncertainty is "
        "what the rig file states of the balance. Readings that scatter more than the stated repeatability are "
        "remarked on. Buoyancy is left out: for metals it is some 3 mg on 30 g and nearly the same for every motor."
    ),
    equations=(
        "m = mean of readings",
        "u^2 = u_scale^2 + u_offset^2 + (u_resolution^2 + u_repeatability^2) / n",
    ),
    sources=("JCGM 100:2008, 4.2 and 4.3 (readings and stated limits)",),
    history=(Change("1.0", "First version."),),
)

WHOLE: Final = "motor"
"""The part that is the whole motor."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """One set of readings of one part of one sample, reduced to its mean (kg)."""

    sample: str
    part: str
    readings: tuple[str, ...]
    mass: Quantity
    remarks: tuple[Remark, ...]


def gather(test: Any, bench: Bench) -> Weighing:
    """Return a weighing of the campaign.

    Raises
    ------
    InputError
        If the rig has no balance.
    MethodError
        If two or three readings were made without a stated repeatability.
    """
    reading = bench.instrument("mass", test).reading(
        [each.si for each in test.readings], bench.occasion(test), f"mass.{test.part}", bench.trials
    )
    return Weighing(test.sample, test.part, tuple(r.text for r in test.readings), reading.quantity, reading.remarks)


def reduce(inputs: Sequence[Weighing], bench: Bench) -> Reduction:
    """Return the mass of each sample and part, repeated weighings combined.

    Parameters
    ----------
    inputs : sequence of Weighing
        The weighings that count.
    bench : Bench
        For coverage.

    Returns
    -------
    Reduction
        ``mass`` with no operating point for the whole motor, ``part`` for a part; a table of readings.
    """
    kept, found = figures_of(inputs, bench)
    remarks = (*(r for each in inputs for r in each.remarks), *found, *_parts_exceed_whole(_by_part(inputs)))
    return Reduction(kept, tables=(_table(inputs, bench.lab.coverage),), remarks=remarks)


def figures_of(inputs: Sequence[Weighing], _: Bench) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return the figures alone, and remarks on them; see :func:`reduce`."""
    return judged(
        [
            Figure("mass", NO_POINT if part == WHOLE else {"part": part}, sample, mean(*masses), METHOD.label)
            for (sample, part), masses in _by_part(inputs).items()
        ]
    )


def _by_part(inputs: Sequence[Weighing]) -> dict[tuple[str, str], list[Quantity]]:
    groups: dict[tuple[str, str], list[Quantity]] = {}
    for each in inputs:
        groups.setdefault((each.sample, each.part), []).append(each.mass)
    return groups


def _parts_exceed_whole(groups: Mapping[tuple[str, str], Sequence[Quantity]]) -> Iterator[Remark]:
    for sample in dict.fromkeys(sample for sample, _ in groups):
        parts = [mean(*masses) for (owner, part), masses in groups.items() if owner == sample and part != WHOLE]
        whole = groups.get((sample, WHOLE))
        if not parts or whole is None:
            continue
        excess = combine(lambda all_of_it, *some: np.sum(some, axis=0) - all_of_it, mean(*whole), *parts)
        if excess.value > 2 * excess.standard_uncertainty:
            sentence = f"the parts weigh {excess.value * 1e3:.2f} g more than the motor; is a part listed twice?"
            yield Remark("parts_exceed_whole", f"sample {sample}", sentence)


def _table(inputs: Sequence[Weighing], coverage: float) -> Table:
    return Table(
        name="weighings",
        title="Readings",
        caption="Readings of the balance as written down, and their mean with its interval.",
        columns=(
            Column("Sample", align="left"),
            Column("Part", align="left"),
            Column("Readings", align="left"),
            Column("Mean", "g"),
            Column("Half-width", "g"),
        ),
        rows=tuple(_row(each, coverage) for each in inputs),
    )


def _row(each: Weighing, coverage: float) -> tuple[str, ...]:
    low, high = each.mass.interval(coverage)
    value, half_width = rounded(each.mass.value * 1e3, (high - low) / 2 * 1e3)
    return each.sample, each.part, ", ".join(each.readings), value, half_width
