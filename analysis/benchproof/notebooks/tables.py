"""Tables that belong to a campaign as a whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.methods.records import Column, Table
from benchproof.nomenclature import term
from benchproof.trials.rounding import rounded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.records import Figure


def figures_table(figures: Sequence[Figure], coverage: float) -> Table:
    """Return every figure with the ends of its coverage interval, rounded after the GUM."""
    percent = f"{100 * coverage:g} %"
    return Table(
        name="figures",
        title="Figures",
        caption=f"Every figure with its {percent} coverage interval; 'model' is the mean over samples.",
        columns=(
            Column("Figure", align="left"),
            Column("At", align="left"),
            Column("Of", align="left"),
            Column("Value"),
            Column("Half-width"),
            Column("Unit", align="left"),
            Column("Flags", align="left"),
        ),
        rows=tuple(_row(figure, coverage) for figure in figures),
    )


def _row(figure: Figure, coverage: float) -> tuple[str, ...]:
    of = term(figure.name)
    whom = "model" if figure.sample is None else f"sample {figure.sample}"
    value = half_width = ""
    if figure.quantity is not None:
        low, high = figure.quantity.interval(coverage)
        value, half_width = rounded(of.from_si(figure.quantity.value), of.from_si((high - low) / 2))
    where = ", ".join(figure.at.values())
    return of.title, where, whom, value, half_width, of.unit, ", ".join(figure.flags)
