"""Charts and tables of heat soaks."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.records import Axis, Chart, Column, Series, Table
from benchproof.nomenclature import RPM
from benchproof.trials.rounding import rounded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from benchproof.methods.soak.figures import ReducedSoak
    from benchproof.trials.quantity import Quantity

    FloatArray = NDArray[np.float64]

DRAWN: Final = 300
"""Points of one series; the attached log has every row."""

_TIME: Final = Axis("time", "Time since the load began", "s")
_RISE: Final = Axis("rise", "Winding over the air", "K")


def views(runs: Sequence[ReducedSoak], coverage: float) -> tuple[tuple[Chart, ...], tuple[Table, ...]]:
    """Return the charts and tables of all runs."""
    charts = [_heating(runs)]
    if any(each.nodes is not None for each in runs):
        charts.append(_residuals(runs))
    if any(each.losses is not None for each in runs):
        charts.append(_losses(runs))
    return tuple(charts), (_runs_table(runs), _nodes_table(runs, coverage))


def _heating(runs: Sequence[ReducedSoak]) -> Chart:
    series: list[Series] = []
    for each in runs:
        name = f"{each.run.sample}, {each.run.occasion.run}"
        series.append(_series(each, name, "points", _rise(each)))
        if each.nodes is not None:
            series.append(replace(_series(each, f"{name}, fit", "line", each.nodes.fitted), sample=None))
    return Chart(
        name="heating",
        title="Heating",
        caption="Winding less air, as means of equal stretches of the log, and the fitted thermal nodes.",
        x=_TIME,
        y=_RISE,
        series=tuple(series),
    )


def _residuals(runs: Sequence[ReducedSoak]) -> Chart:
    fitted = [(each, each.nodes) for each in runs if each.nodes is not None]
    return Chart(
        name="heating_residuals",
        title="Off the fitted heating",
        caption=(
            "Reading less fit. Noise scatters about zero; a wave would mean that the nodes do not describe the motor, "
            "or that load or air changed."
        ),
        x=_TIME,
        y=Axis("residual", "Reading less fit", "K"),
        series=tuple(
            _series(each, f"{each.run.sample}, {each.run.occasion.run}", "points", nodes.fit.residuals)
            for each, nodes in fitted
        ),
    )


def _losses(runs: Sequence[ReducedSoak]) -> Chart:
    series: list[Series] = []
    for each in runs:
        if each.losses is not None:
            name = f"{each.run.sample}, {each.run.occasion.run}"
            series.append(_series(each, f"{name}, copper", "line", each.losses.copper))
            series.append(_series(each, f"{name}, copper and drag", "line", each.losses.total))
    return Chart(
        name="soak_losses",
        title="What the motor loses",
        caption="Copper loss by the winding's current, rising as the copper warms, and drag on top.",
        x=_TIME,
        y=Axis("loss", "Loss", "W"),
        series=tuple(series),
    )


def _rise(each: ReducedSoak) -> FloatArray:
    channels = each.log.channels
    return np.asarray(channels["winding_temperature"] - channels["air_temperature"], dtype=np.float64)


def _series(each: ReducedSoak, label: str, role: str, values: FloatArray) -> Series:
    kept = np.unique(np.linspace(0, values.size - 1, min(DRAWN, values.size)).astype(int))
    x, y = tuple(map(float, each.log.time[kept])), tuple(map(float, values[kept]))
    return Series(label, each.run.sample, "points" if role == "points" else "line", x, y)


def _runs_table(runs: Sequence[ReducedSoak]) -> Table:
    return Table(
        name="soaks",
        title="Runs",
        caption=(
            "Means under load, and the rise at the end. The winding's current follows from the balance of power, and "
            "is larger than the supply's at part duty."
        ),
        columns=(
            Column("Log", align="left"),
            Column("Sample", align="left"),
            Column("Airflow", align="left"),
            Column("Load", "s"),
            Column("Speed", "rpm"),
            Column("Electrical power", "W"),
            Column("Supply current", "A"),
            Column("Winding current", "A"),
            Column("Copper loss", "W"),
            Column("Drag loss", "W"),
            Column("Air", "degC"),
            Column("Rise at the end", "K"),
        ),
        rows=tuple(_run_row(each) for each in runs),
    )


def _run_row(each: ReducedSoak) -> tuple[str, ...]:
    log, loaded = each.log, each.log.loaded
    own = ("", "", "")
    if each.losses is not None:
        values = (each.losses.current, each.losses.copper, each.losses.drag)
        current, copper, drag = (float(v[loaded].mean()) for v in values)
        own = (f"{current:.2f}", f"{copper:.2f}", f"{drag:.2f}")
    return (
        each.run.occasion.run,
        each.run.sample,
        each.run.airflow,
        f"{log.duration:.0f}",
        f"{log.channels['speed'][loaded].mean() / RPM:.0f}",
        f"{log.power[loaded].mean():.1f}",
        f"{log.channels['current'][loaded].mean():.2f}",
        *own,
        f"{log.channels['air_temperature'].mean() - 273.15:.1f}",
        f"{_rise(each)[-max(log.time.size // 40, 1) :].mean():.1f}",
    )


def _nodes_table(runs: Sequence[ReducedSoak], coverage: float) -> Table:
    return Table(
        name="thermal_nodes",
        title="Thermal nodes",
        caption=(
            "Fitted nodes: resistance and time constant of winding against body (fast) and body against air (slow), "
            "and what follows from them. Where a run gives no figure, the last column says why."
        ),
        columns=(
            Column("Log", align="left"),
            Column("Fast", "K/W"),
            Column("Fast", "s"),
            Column("Slow", "K/W"),
            Column("Slow", "s"),
            Column("Thermal resistance", "K/W"),
            Column("Half-width", "K/W"),
            Column("Limit", align="left"),
            Column("Continuous current", "A"),
            Column("Half-width", "A"),
            Column("Verdict", align="left"),
        ),
        rows=tuple(_nodes_row(each, coverage) for each in runs),
    )


def _nodes_row(each: ReducedSoak, coverage: float) -> tuple[str, ...]:
    nodes = each.nodes
    own = ("", "", "", "")
    if nodes is not None:
        pairs = list(zip(nodes.resistances, nodes.times, strict=True))
        fast, slow = pairs[0] if nodes.count > 1 else None, pairs[-1]
        own = (
            f"{fast[0]:.3f}" if fast else "",
            f"{fast[1]:.1f}" if fast else "",
            f"{slow[0]:.3f}",
            f"{slow[1]:.1f}",
        )
    codes = dict.fromkeys(found for found in each.figures.values() if isinstance(found, str))
    return (
        each.run.occasion.run,
        *own,
        *_printed(each.figures["thermal_resistance"], coverage),
        each.run.limit_words or "not stated",
        *_printed(each.figures["continuous_current"], coverage),
        ", ".join(code.replace("_", " ") for code in codes) or "figures given",
    )


def _printed(found: Quantity | str, coverage: float) -> tuple[str, str]:
    if isinstance(found, str):
        return "", ""
    low, high = found.interval(coverage)
    return rounded(found.value, (high - low) / 2)
