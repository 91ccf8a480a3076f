"""Charts and tables of a campaign's sweeps: what the curves look like and what they rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.records import Axis, Chart, Column, Series, Table
from benchproof.methods.sweep.cross_talk import cross_talk_tables
from benchproof.methods.sweep.figures import grouped
from benchproof.nomenclature import term
from benchproof.trials.quantity import DRAWN, coverage_interval

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.bench import Bench
    from benchproof.methods.sweep.figures import Group
    from benchproof.methods.sweep.run import ReducedRun

    FloatArray = NDArray[np.float64]

GRID: Final = 32
"""Places along an axis at which a curve and its interval are drawn."""

LOG_POINTS: Final = 500
"""Points a log is thinned to for its chart; the attached log has them all."""

CURVES: Final = (
    ("thrust", "electrical_power", "More thrust for the same electrical power is better."),
    (
        "thrust_per_power",
        "thrust",
        "Read across at equal thrust: thrust per power falls with thrust for every motor.",
    ),
    ("speed", "electrical_power", "Speed of the shaft."),
    ("electrical_power", "throttle", "What a throttle command costs at the supply voltage of the day."),
    ("motor_efficiency", "electrical_power", "Shaft power over electrical power, motor and drive together."),
    ("figure_of_merit", "speed", "Quality of the propeller as a lifting disc; the motor has no part in it."),
    ("thrust_coefficient", "speed", "Thrust with speed, size and air taken out."),
    ("power_coefficient", "speed", "Shaft power with speed, size and air taken out."),
)
"""Figure, axis and a word of reading, in page order."""


def views(runs: Sequence[ReducedRun], bench: Bench) -> tuple[tuple[Chart, ...], tuple[Table, ...]]:
    """Return the charts and tables of all runs."""
    groups = grouped(runs)
    charts = [chart for chart in (_curve_chart(*what, groups, bench) for what in CURVES) if chart.series]
    charts += [_log_chart(runs), _residual_chart(groups)]
    return tuple(charts), (_runs_table(runs), _plateau_table(runs), *cross_talk_tables(runs))


def _curve_chart(name: str, axis: str, words: str, groups: dict[Group, list[ReducedRun]], bench: Bench) -> Chart:
    series: list[Series] = []
    for (sample, where), repeats in groups.items():
        able = [run for run in repeats if _drawable(run, name, axis)]
        if able:
            label = " ".join([f"Sample {sample}", *(f"({value})" for _, value in where)])
            series.append(_band(name, axis, label, sample, able, bench))
            series.append(_points(name, axis, label, sample, able))
    coverage = f"{bench.lab.coverage:.0%}".replace("%", " %")
    return Chart(
        name=f"{name}_vs_{axis}",
        title=f"{term(name).title} against {term(axis).spoken}",
        caption=f"{words} Band: {coverage} coverage interval of the sample's mean curve; points: settled steps.",
        x=Axis.of(axis),
        y=Axis.of(name),
        series=tuple(series),
    )


def _drawable(each: ReducedRun, name: str, axis: str) -> bool:
    if name in each.withheld or axis in each.withheld:
        return False
    if not (each.curves.available(name) and each.curves.axis_available(axis)):
        return False
    try:
        each.curves.fit(name, axis)
    except ValueError:  # too few plateaus for a curve
        return False
    return True


def _band(name: str, axis: str, label: str, sample: str, runs: Sequence[ReducedRun], bench: Bench) -> Series:
    """Return the mean curve of a sample's repeats over the range all of them reached, with its interval."""
    low = max(run.curves.range(axis)[0] for run in runs)
    high = min(run.curves.range(axis)[1] for run in runs)
    places = np.linspace(low, high, GRID)
    total, below, above = _drawn(name, axis, places, runs, bench.lab.coverage)
    return Series(
        label,
        sample,
        "band",
        x=_in_unit(axis, np.exp(places)),
        y=_in_unit(name, total),
        low=_in_unit(name, below),
        high=_in_unit(name, above),
        curve=True,
    )


def _drawn(name: str, axis: str, places: FloatArray, runs: Sequence[ReducedRun], coverage: float) -> FloatArray:
    """Return the repeats' mean at some places and both ends of its interval, shape (3, places)."""
    total, trials = np.zeros(places.size), None
    for each in runs:
        values, by_trial, _ = each.curves.along(name, axis, places, DRAWN)
        total += values / len(runs)
        by_trial /= len(runs)
        trials = by_trial if trials is None else np.add(trials, by_trial, out=trials)
    return np.vstack([total, *coverage_interval(np.asarray(trials), coverage)])


def _points(name: str, axis: str, label: str, sample: str, runs: Sequence[ReducedRun]) -> Series:
    fits = [each.curves.fit(name, axis) for each in runs]
    return Series(
        f"{label}, steps",
        sample,
        "points",
        x=_in_unit(axis, np.exp(np.concatenate([fit.x for fit in fits]))),
        y=_in_unit(name, np.exp(np.concatenate([fit.y for fit in fits]))),
    )


def _in_unit(name: str, si: FloatArray) -> tuple[float, ...]:
    return tuple(float(value) for value in si / term(name).si_per_unit)


def _log_chart(runs: Sequence[ReducedRun]) -> Chart:
    series = []
    for each in runs:
        run = each.run
        rows = np.unique(np.linspace(0, run.time.size - 1, min(LOG_POINTS, run.time.size)).astype(int))
        seconds = run.time[rows] - run.time[0]
        thrust = run.channels["thrust"][rows]
        series.append(
            Series(
                run.occasion.run,
                run.sample,
                "line",
                x=tuple(float(v) for v in seconds),
                y=_in_unit("thrust", thrust),
            )
        )
    return Chart(
        name="thrust_log",
        title="The logs",
        caption="Thrust as logged, before tare and correction, thinned for drawing. The attached logs hold every row.",
        x=Axis("time", "Time since the log began", "s"),
        y=Axis.of("thrust"),
        series=tuple(series),
    )


def _residual_chart(groups: dict[Group, list[ReducedRun]]) -> Chart:
    """Return how far each step lies off its run's thrust curve."""
    series = []
    for each in (run for repeats in groups.values() for run in repeats if _drawable(run, "thrust", "electrical_power")):
        fit = each.curves.fit("thrust", "electrical_power")
        series.append(
            Series(
                each.run.occasion.run,
                each.run.sample,
                "points",
                x=_in_unit("electrical_power", np.exp(fit.x)),
                y=tuple(float(v) for v in 100 * np.expm1(fit.residuals())),
            )
        )
    return Chart(
        name="thrust_residuals",
        title="Steps off the curve",
        caption="How far each settled step lies off its run's smooth curve. A pattern would mean too stiff a curve.",
        x=Axis.of("electrical_power"),
        y=Axis("residual", "Step less curve", "%"),
        series=tuple(series),
    )


def _runs_table(runs: Sequence[ReducedRun]) -> Table:
    return Table(
        name="runs",
        title="Runs",
        caption="Each log, what was kept of it, and how its steps scatter about its thrust curve.",
        columns=(
            Column("Log", align="left"),
            Column("Sample", align="left"),
            Column("Propeller", align="left"),
            Column("Settled steps"),
            Column("Wait after a command", "s"),
            Column("Scatter of steps", "%"),
            Column("Down less up", "%"),
        ),
        rows=tuple(_run_row(each) for each in runs),
    )


def _run_row(each: ReducedRun) -> tuple[str, ...]:
    scatter = difference = "not fitted"
    if _drawable(each, "thrust", "electrical_power"):
        fit = each.curves.fit("thrust", "electrical_power")
        scatter = f"{100 * float(np.sqrt(fit.variance.mean())):.2f}"
        difference = f"{100 * fit.branch_difference[0]:+.2f}" if fit.branch_difference[1] else "one branch"
    run = each.run
    kept = str(len(each.points.plateaus))
    return (
        run.occasion.run,
        run.sample,
        run.propeller,
        kept,
        f"{each.segments.wait:.2f}",
        scatter,
        difference,
    )


def _plateau_table(runs: Sequence[ReducedRun]) -> Table:
    return Table(
        name="plateaus",
        title="Settled steps",
        caption="Means of each settled step, corrected and tared, as tested (not referred to other air).",
        columns=(
            Column("Log", align="left"),
            Column("From", "s"),
            Column("To", "s"),
            Column("Branch", align="left"),
            Column("Throttle", "%"),
            Column("Voltage", "V"),
            Column("Current", "A"),
            Column("Electrical power", "W"),
            Column("Thrust", "N"),
            Column("Speed", "rpm"),
            Column("Torque", "mN*m"),
        ),
        rows=tuple(row for each in runs for row in _plateau_rows(each)),
    )


def _plateau_rows(each: ReducedRun) -> Iterator[tuple[str, ...]]:
    roots = {name: np.exp(values) for name, values in each.points.roots.items()}
    for k, plateau in enumerate(each.points.plateaus):
        speed = f"{roots['speed'][k] / term('speed').si_per_unit:.0f}" if "speed" in roots else ""
        torque = f"{roots['torque'][k] * 1e3:.2f}" if "torque" in roots else ""
        power, current = roots["electrical_power"][k], roots["current"][k]
        yield (
            each.run.occasion.run,
            f"{plateau.start:.1f}",
            f"{plateau.stop:.1f}",
            "up" if plateau.rising else "down",
            f"{100 * plateau.throttle:.0f}",
            f"{power / current:.3f}",
            f"{current:.3f}",
            f"{power:.2f}",
            f"{roots['thrust'][k]:.4f}",
            speed,
            torque,
        )
