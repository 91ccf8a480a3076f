"""The table of what crosses over between the cells of a stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from benchproof.methods.records import Column, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchproof.methods.sweep.run import ReducedRun
    from benchproof.rig.cross_talk import CrossTalk


def cross_talk_tables(runs: Sequence[ReducedRun]) -> tuple[Table, ...]:
    """Return one table of all loadings that the runs were corrected with; none where there was no correction."""
    used = {run.run.cross_talk.key: run.run.cross_talk for run in runs if run.run.cross_talk is not None}
    if not used:
        return ()
    table = Table(
        name="cross_talk",
        title="Cross-talk of the stand",
        caption=(
            "What each cell shows per unit of thrust and of torque, fitted to known loads, with its standard "
            "uncertainty; thrust and torque of the sweeps are corrected with the inverse. The last columns say how far "
            "inverted readings lie off the loads."
        ),
        columns=(
            Column("Loading", align="left"),
            Column("Cell", align="left"),
            Column("Per newton of thrust"),
            Column("Per newton metre of torque"),
            Column("Unit", align="left"),
            Column("Residual, standard"),
            Column("Residual, largest"),
        ),
        rows=tuple(row for each in used.values() for row in _rows(each)),
    )
    return (table,)


def _rows(each: CrossTalk) -> Iterator[tuple[str, ...]]:
    residuals = each.residuals()
    for k, (cell, unit, scale) in enumerate((("thrust", "N", 1.0), ("torque", "mN*m", 1e3))):
        elements = zip(each.matrix[k], each.standard_uncertainties[k], strict=True)
        size = scale * residuals[:, k]
        yield (
            each.key,
            cell,
            *(f"{scale * value:.4g} ({scale * error:.1g})" for value, error in elements),
            unit,
            f"{float(np.sqrt(np.mean(size**2))):.2g}",
            f"{float(np.max(np.abs(size))):.2g}",
        )
