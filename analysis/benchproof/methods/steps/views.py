"""Charts and tables of throttle steps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.records import Axis, Chart, Column, Series, Table
from benchproof.methods.steps.fit import response
from benchproof.methods.steps.run import FEWEST_ROWS, ways
from benchproof.nomenclature import RPM, term
from benchproof.trials.rounding import rounded

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.records import Figure
    from benchproof.methods.steps.figures import ReducedSteps
    from benchproof.methods.steps.fit import StepFit

    FloatArray = NDArray[np.float64]

DRAWN: Final = 400
"""Points of one series; the attached log has them all."""

GRID: Final = 120

LEAD: Final = 1.0
"""Time constants before the command that are drawn."""

_AXIS: Final = Axis("time_since_command", "Time since the command", "ms")


def views(
    runs: Sequence[ReducedSteps], figures: Sequence[Figure], coverage: float
) -> tuple[tuple[Chart, ...], tuple[Table, ...]]:
    """Return the charts and tables of all runs."""
    charts = (*_response_charts(runs), _residual_chart(runs))
    return charts, (_means_table(runs, figures, coverage), _steps_table(runs))


def _groups(runs: Sequence[ReducedSteps]) -> Iterator[tuple[str, str, list[tuple[ReducedSteps, StepFit]]]]:
    """Yield sample, way and the fits of both, of all logs together."""
    keys = dict.fromkeys((each.run.sample, fit.step.way) for each in runs for fit in each.fits)
    for sample, way in keys:
        of_sample = [each for each in runs if each.run.sample == sample]
        yield sample, way, [(each, fit) for each in of_sample for fit in each.of(way)]


def _response_charts(runs: Sequence[ReducedSteps]) -> tuple[Chart, ...]:
    """Return one chart for the stated way and one for the way back."""
    charts = []
    for place, (name, title) in enumerate((("step_there", "Steps there"), ("step_back", "Steps back"))):
        stated = {ways(each.run)[place][0] for each in runs}
        series = [one for sample, way, pairs in _groups(runs) if way in stated for one in _overlaid(sample, way, pairs)]
        if series:
            charts.append(_response_chart(name, f"{title}: {', '.join(sorted(stated))}", series))
    return tuple(charts)


def _overlaid(sample: str, way: str, pairs: Sequence[tuple[ReducedSteps, StepFit]]) -> Iterator[Series]:
    """Yield the rows of all steps of a sample, from a little before the command, and the mean response."""
    fits = [fit for _, fit in pairs]
    time = _since(fits)
    share = np.concatenate([100 * (fit.speed - fit.start) / fit.change for fit in fits])
    dead, tau = (float(np.mean([getattr(f, name) for f in fits])) for name in ("dead_time", "time_constant"))
    shown = time > -LEAD * 1e3 * tau
    yield _points(f"{sample}, {way}, rows", sample, time[shown], share[shown])
    grid = np.linspace(-LEAD * 1e3 * tau, float(time.max()), GRID)
    run = pairs[0][0].run
    line = 100 * response(grid / 1e3, dead - run.frame / 2, tau, run.lag)
    yield Series(f"{sample}, {way}, fit", None, "line", tuple(map(float, grid)), tuple(map(float, line)))


def _response_chart(name: str, title: str, series: Sequence[Series]) -> Chart:
    return Chart(
        name=name,
        title=title,
        caption=(
            "Speed after every step, as a share of its change, all steps of a sample on top of each other; the line is "
            "the response with the mean dead time and time constant, as the tachometer shows it."
        ),
        x=_AXIS,
        y=Axis("share_of_step", "Share of the change", "%"),
        series=tuple(series),
    )


def _residual_chart(runs: Sequence[ReducedSteps]) -> Chart:
    series = []
    for sample, way, pairs in _groups(runs):
        fits = [fit for _, fit in pairs]
        left = np.concatenate([100 * fit.residuals / abs(fit.change) for fit in fits])
        series.append(_points(f"{sample}, {way}", sample, _since(fits), left))
    return Chart(
        name="step_residuals",
        title="Rows off the fitted response",
        caption=(
            "What each step's own fit leaves over. A wave after the command would mean that one time constant does not "
            "describe the motor: a limit of the current, or a drive that ramps the command."
        ),
        x=_AXIS,
        y=Axis("residual", "Row less fit, of the change", "%"),
        series=tuple(series),
    )


def _since(fits: Sequence[StepFit]) -> FloatArray:
    return 1e3 * np.concatenate([fit.time for fit in fits])


def _points(label: str, sample: str, x: FloatArray, y: FloatArray) -> Series:
    kept = np.unique(np.linspace(0, x.size - 1, min(DRAWN, x.size)).astype(int))
    return Series(label, sample, "points", tuple(map(float, x[kept])), tuple(map(float, y[kept])))


def _means_table(runs: Sequence[ReducedSteps], figures: Sequence[Figure], coverage: float) -> Table:
    rows = []
    for figure in figures:
        fits = [fit for each in runs if each.run.sample == figure.sample for fit in each.of(figure.at["step"])]
        if figure.quantity is None or not fits:
            continue
        low, high = figure.quantity.interval(coverage)
        value, half = rounded(figure.quantity.value * 1e3, (high - low) / 2 * 1e3)
        values = 1e3 * np.array([getattr(fit, figure.name) for fit in fits])
        quartiles = np.quantile(values, (0.25, 0.5, 0.75))
        where = " ".join(v for k, v in figure.at.items() if k != "step")
        rows.append(
            (
                figure.sample or "",
                f"{figure.at['step']} {where}".strip(),
                term(figure.name).title,
                str(len(fits)),
                f"{quartiles[1]:.1f}",
                f"{quartiles[2] - quartiles[0]:.1f}",
                value,
                half,
            )
        )
    return Table(
        name="step_means",
        title="Response",
        caption="Mean over the steps of each sample and way with its half-width, beside median and quartile distance.",
        columns=(
            Column("Sample", align="left"),
            Column("Throttle", align="left"),
            Column("Figure", align="left"),
            Column("Steps"),
            Column("Median", "ms"),
            Column("Quartile distance", "ms"),
            Column("Mean", "ms"),
            Column("Half-width", "ms"),
        ),
        rows=tuple(rows),
    )


def _steps_table(runs: Sequence[ReducedSteps]) -> Table:
    return Table(
        name="steps",
        title="Steps",
        caption="Every step that counts, with its own fit; the tachometer's lag is taken out of both times.",
        columns=(
            Column("Log", align="left"),
            Column("Throttle", align="left"),
            Column("At", "s"),
            Column("From", "rpm"),
            Column("Change", "rpm"),
            Column("Dead time", "ms"),
            Column("Time constant", "ms"),
            Column("10 % to 90 %", "ms"),
            Column("Overshoot", "%"),
            Column("Peak current", "A"),
            Column("Lowest voltage", "V"),
        ),
        rows=tuple(_row(each, fit) for each in runs for fit in each.fits),
    )


def _row(each: ReducedSteps, fit: StepFit) -> tuple[str, ...]:
    after = slice(fit.step.after, max(fit.step.rows.stop, fit.step.after + FEWEST_ROWS))
    others = each.run.others
    return (
        each.run.occasion.run,
        fit.step.way,
        f"{fit.step.command:.2f}",
        f"{fit.start / RPM:.0f}",
        f"{fit.change / RPM:+.0f}",
        f"{1e3 * fit.dead_time:.2f}",
        f"{1e3 * fit.time_constant:.2f}",
        f"{1e3 * fit.transition:.1f}",
        f"{100 * fit.overshoot:.1f}",
        f"{others['current'][after].max():.2f}" if "current" in others else "",
        f"{others['voltage'][after].min():.2f}" if "voltage" in others else "",
    )
