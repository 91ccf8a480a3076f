"""The uncertainty budget of figures, as a table: which source carries which share of the variance."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from benchproof.methods.records import Column, Table
from benchproof.nomenclature import term

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.records import Figure


def budget_table(figure: Figure) -> Table:
    """Return the whole budget of one figure; nothing is trimmed, sources of one label stand in one row.

    Raises
    ------
    ValueError
        If the figure has no value.
    """
    if figure.quantity is None:
        message = f"{figure.name} has no value, so it has no budget"
        raise ValueError(message)
    shares: dict[str, float] = {}
    for row in figure.quantity.budget():
        shares[row.label] = shares.get(row.label, 0.0) + row.share
    of = term(figure.name)
    unit = of.shown[0].unit if of.shown else of.unit
    per_unit = of.si_per_unit * (of.shown[0].per_unit if of.shown else 1.0)
    total = figure.quantity.standard_uncertainty / per_unit
    rows = [(label, f"{total * share**0.5:.2g}", f"{100 * share:.1f}") for label, share in shares.items()]
    where = ", ".join(figure.at.values())
    whom = "the model" if figure.sample is None else f"sample {figure.sample}"
    return Table(
        name="-".join(["budget", figure.name, *(_plain(words) for words in figure.at.values())]),
        title=f"Uncertainty of {term(figure.name).spoken}" + (f" at {where}" if where else ""),
        caption=f"What makes up the standard uncertainty for {whom}: each source's own and its share of the variance.",
        columns=(Column("Source", align="left"), Column("Standard uncertainty", unit), Column("Share", "%")),
        rows=(*rows, ("All together", f"{total:.2g}", "100.0")),
    )


def _plain(words: str) -> str:
    """Return words as part of a name: letters, digits, dots and dashes."""
    return re.sub(r"[^A-Za-z0-9.]+", "-", words.replace("%", "percent")).strip("-")


def worth_a_budget(figures: Sequence[Figure]) -> tuple[Figure, ...]:
    """Return the model's first reached figure of each name: one budget a name is what a reader can take in."""
    chosen: dict[str, Figure] = {}
    for figure in figures:
        if figure.sample is None and figure.quantity is not None and "part" not in figure.at:
            chosen.setdefault(figure.name, figure)
    return tuple(chosen.values())
