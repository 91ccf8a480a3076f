"""What was seen on opening the box and the motor: words and pictures, no figure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from benchproof.methods.method import Change, Method
from benchproof.methods.records import Column, Reduction, Table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.bench import Bench

METHOD: Final = Method(
    key="inspection",
    version="1.0",
    title="Inspection",
    order=5,
    summary="What was found by eye and hand before and after the runs. Opinions, not measurements.",
    sources=("ISO/IEC 17025:2017, 7.8.7 (opinions are marked as such) [clause from memory]",),
    history=(Change("1.0", "First version."),),
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was seen."""

    sample: str
    about: str
    finding: str
    photo: str


def gather(test: Any, bench: Bench) -> Finding:
    """Return a finding of the campaign."""
    return Finding(test.sample, test.about or "", test.finding, test.photo or "")


def reduce(inputs: Sequence[Finding], bench: Bench) -> Reduction:
    """Return the findings as a table."""
    columns = tuple(Column(label, align="left") for label in ("Sample", "About", "Finding", "Photo"))
    rows = tuple((each.sample, each.about, each.finding, each.photo) for each in inputs)
    table = Table("inspections", "Findings", "What was seen, and the picture of it where one was taken.", columns, rows)
    return Reduction(tables=(table,))
