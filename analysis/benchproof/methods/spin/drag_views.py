"""Charts and tables of coast-downs: the logs, the fit, drag against speed, drag beside that of runs without load."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.records import Axis, Chart, Column, Series, Table
from benchproof.methods.spin.logs import air_of, disc_of, winding_resistance
from benchproof.methods.spin.windage import by_difference, by_formula
from benchproof.nomenclature import RPM, term
from benchproof.trials.quantity import DRAWN, coverage_interval

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.bench import Bench
    from benchproof.methods.spin.coasting import Deceleration
    from benchproof.methods.spin.drag import Coasts
    from benchproof.methods.spin.windage import Windage

    FloatArray = NDArray[np.float64]

GRID: Final = 40
"""Speeds at which curves are drawn."""

LOG_POINTS: Final = 400
"""Points a log is thinned to for its chart."""

APART: Final = 3.0
"""Drag from runs without load further off than this many standard uncertainties of the coast-down's is remarked on."""

READING: Final = 0.05
"""Relative standard uncertainty allowed for drag from runs without load, which hold the drive's loss (judgement)."""


def drag_views(
    coasts: Sequence[Coasts], bench: Bench
) -> tuple[tuple[Chart, ...], tuple[Table, ...], tuple[Remark, ...]]:
    """Return charts, tables and remarks of all coast-downs."""
    laws = [law for each in coasts for law in (*each.bare, *each.carrying)]
    charts = [_log_chart(laws), _drag_chart(coasts, bench), _windage_chart(coasts, bench)]
    beside, remarks = _beside_no_load(coasts, bench)
    tables = [_table(laws), *([beside] if beside.rows else [])]
    return tuple(chart for chart in charts if chart.series), tuple(tables), remarks


def _log_chart(laws: Sequence[Deceleration]) -> Chart:
    series: list[Series] = []
    for law in laws:
        rows = np.unique(np.linspace(0, law.time.size - 1, min(LOG_POINTS, law.time.size)).astype(int))
        seconds = law.time - law.time[0]
        label = law.run.occasion.run
        series.append(
            Series(label, law.run.sample, "points", _plain(seconds[rows]), _in_unit("speed", law.speed[rows]))
        )
        fitted = _run_out(law, seconds[rows])
        series.append(Series(f"{label}, fit", law.run.sample, "line", _plain(seconds[rows]), _in_unit("speed", fitted)))
    return Chart(
        name="coast_log",
        title="Coast-downs",
        caption="Speed after the drive let go, thinned for drawing, and the fitted law run out from the first speed.",
        x=Axis("time", "Time since the fastest row", "s"),
        y=Axis.of("speed"),
        series=tuple(series),
    )


def _run_out(law: Deceleration, seconds: FloatArray) -> FloatArray:
    """Return the speed the fitted law gives over time: time is the integral of dw over the deceleration."""
    low, high = law.range
    speeds = np.linspace(high, low, 400)
    slow = 1.0 / law.at(speeds)
    elapsed = np.concatenate([[0.0], np.cumsum(-np.diff(speeds) * (slow[1:] + slow[:-1]) / 2)])
    return np.interp(seconds, elapsed, speeds)


def _drag_chart(coasts: Sequence[Coasts], bench: Bench) -> Chart:
    series = []
    for each in coasts:
        if each.bare and each.rotor is not None:
            speeds = np.linspace(*each.range, GRID)
            value, by_trial, _ = each.drag(speeds, bench.trials)
            series.append(_band(f"Sample {each.sample}", each.sample, "drag_torque", speeds, value, by_trial, bench))
    coverage = f"{bench.lab.coverage:.0%}".replace("%", " %")
    return Chart(
        name="coast_down_torque_vs_speed",
        title="Drag torque against speed",
        caption=f"The motor's own drag, iron, bearings and air together, of the bare rotor. Band: {coverage} interval.",
        x=Axis.of("speed"),
        y=Axis.of("drag_torque"),
        series=tuple(series),
    )


def _windage_chart(coasts: Sequence[Coasts], bench: Bench) -> Chart:
    series: list[Series] = []
    for each in coasts:
        for name in dict.fromkeys(law.run.flywheel for law in each.carrying):
            if name is not None:
                series += _windage_series(each, name, bench)
    return Chart(
        name="windage_vs_speed",
        title="What slows the shaft with a flywheel on",
        caption=(
            "Windage of the flywheel alone, from coast-downs with it less without it, beside the formula of a free "
            "disc. Only this is added to the torque of a flywheel run; the motor's own drag is not."
        ),
        x=Axis.of("speed"),
        y=Axis.of("drag_torque"),
        series=tuple(series),
    )


def _windage_series(coasts: Coasts, name: str, bench: Bench) -> Iterator[Series]:
    carrying = [law for law in coasts.carrying if law.run.flywheel == name]
    laws = [*carrying, *coasts.bare]
    low, high = max(law.range[0] for law in laws), min(law.range[1] for law in laws)
    if high <= low:
        return
    speeds = np.linspace(low, high, GRID)
    test = next(t for t in bench.tests("coast_down") if t.sample == coasts.sample and t.flywheel == name)
    disc = disc_of(name, bench)
    formula = by_formula(disc, speeds, *air_of(test, bench), bench.trials)
    label = f"Sample {coasts.sample} ({name})"
    yield _windage_band(f"{label}, disc formula", coasts.sample, speeds, formula, bench)
    if coasts.bare and coasts.rotor is not None:
        found = by_difference(disc, coasts.rotor, carrying, coasts.bare, formula, speeds, bench.trials)
        yield _windage_band(f"{label}, with less without", coasts.sample, speeds, found, bench)


def _windage_band(label: str, sample: str, speeds: FloatArray, windage: Windage, bench: Bench) -> Series:
    return _band(label, sample, "drag_torque", speeds, windage.value, windage.trials, bench)


def _band(
    label: str, sample: str, name: str, speeds: FloatArray, value: FloatArray, by_trial: FloatArray, bench: Bench
) -> Series:
    low, high = coverage_interval(by_trial[:, DRAWN], bench.lab.coverage)
    return Series(
        label,
        sample,
        "band",
        x=_in_unit("speed", speeds),
        y=_in_unit(name, value),
        low=_in_unit(name, low),
        high=_in_unit(name, high),
        curve=True,
    )


def _table(laws: Sequence[Deceleration]) -> Table:
    return Table(
        name="coasts",
        title="Coast-downs",
        caption="Each log with open windings, and the law of its deceleration, a0 + a1 w + a2 w^2 with w in rad/s.",
        columns=(
            Column("Log", align="left"),
            Column("Sample", align="left"),
            Column("Flywheel", align="left"),
            Column("Rows"),
            Column("From", "rpm"),
            Column("To", "rpm"),
            Column("Duration", "s"),
            Column("a0", "rad/s**2"),
            Column("a1", "1/s"),
            Column("a2", "1/rad"),
        ),
        rows=tuple(_row(law) for law in laws),
    )


def _row(law: Deceleration) -> tuple[str, ...]:
    a0, a1, a2 = law.coefficients / law.scale ** np.arange(3)
    low, high = law.range
    return (
        law.run.occasion.run,
        law.run.sample,
        law.run.flywheel or "none",
        str(law.time.size),
        f"{high / RPM:.0f}",
        f"{low / RPM:.0f}",
        f"{law.time[-1] - law.time[0]:.2f}",
        f"{a0:.4g}",
        f"{a1:.4g}",
        f"{a2:.4g}",
    )


def _beside_no_load(coasts: Sequence[Coasts], bench: Bench) -> tuple[Table, tuple[Remark, ...]]:
    """Return drag by both ways at the speeds of the runs without load, and remarks where they disagree."""
    rows, remarks = [], []
    for each in coasts:
        if not each.bare or each.rotor is None:
            continue
        found = list(_pairs(each, bench))
        rows += [_pair_row(each.sample, speed, own, other) for speed, own, other in found]
        off = [speed for speed, own, other in found if _disagree(own.value, own.standard_uncertainty, other)]
        if off:
            sentence = (
                f"drag from the coast-down and from runs without load differ at {len(off)} of {len(found)} speeds; the "
                "latter holds the drive's loss and a warmer motor, and the former goes with the rotor's inertia"
            )
            remarks.append(Remark("drag_differs", f"sample {each.sample}", sentence))
    table = Table(
        name="drag_two_ways",
        title="Drag two ways",
        caption=(
            "Drag from the coast-down beside that from runs without load at the same speeds, electrical power less the "
            "winding's loss over speed. The drive's own loss is in the latter."
        ),
        columns=(
            Column("Sample", align="left"),
            Column("Speed", "rpm"),
            Column("Coast-down", "mN*m"),
            Column("Standard uncertainty", "mN*m"),
            Column("Without load", "mN*m"),
        ),
        rows=tuple(rows),
    )
    return table, tuple(remarks)


def _pairs(coasts: Coasts, bench: Bench) -> Iterator[tuple[float, Any, float]]:
    low, high = coasts.range
    ohms = winding_resistance(coasts.sample, bench) or 0.0
    for test in bench.tests("no_load"):
        if test.sample != coasts.sample:
            continue
        for point in test.points:
            speed, volts, amperes = (_si(getattr(point, name)) for name in ("speed", "voltage", "current"))
            if low <= speed <= high:
                yield speed, coasts.drag_at(speed, bench.trials), (volts * amperes - amperes**2 * ohms) / speed


def _disagree(value: float, standard: float, other: float) -> bool:
    return abs(other - value) > APART * float(np.hypot(standard, READING * other))


def _pair_row(sample: str, speed: float, own: Any, other: float) -> tuple[str, ...]:
    return (
        sample,
        f"{speed / RPM:.0f}",
        f"{1e3 * own.value:.3f}",
        f"{1e3 * own.standard_uncertainty:.3f}",
        f"{1e3 * other:.3f}",
    )


def _si(written: Any) -> float:
    return float(written.value.si if hasattr(written, "standard") else written.si)


def _plain(values: FloatArray) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _in_unit(name: str, si: FloatArray) -> tuple[float, ...]:
    return tuple(float(value) for value in si / term(name).si_per_unit)
