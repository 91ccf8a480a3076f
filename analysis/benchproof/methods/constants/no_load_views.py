"""Charts and tables of the runs without load."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.constants.copper import ZERO_CELSIUS
from benchproof.methods.constants.motor_constant import KM_DEFINITION, KM_PER_MASS_DEFINITION, KT_DEFINITION
from benchproof.methods.records import Axis, Chart, Column, Series, Table
from benchproof.nomenclature import RPM, term
from benchproof.trials.quantity import DRAWN, coverage_interval
from benchproof.trials.rounding import rounded
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from benchproof.campaign.models.rig import Drive
    from benchproof.methods.bench import Bench
    from benchproof.methods.constants.free_run import ReducedRun
    from benchproof.methods.constants.lines import Curve
    from benchproof.methods.records import Figure
    from benchproof.trials.quantity import Quantity

    FloatArray = NDArray[np.float64]

GRID: Final = 40
"""Places along an axis at which a curve and its interval are drawn."""


def views(
    runs: Sequence[ReducedRun], figures: Sequence[Figure], bench: Bench
) -> tuple[tuple[Chart, ...], tuple[Table, ...]]:
    """Return the charts and tables of all runs."""
    kt = {figure.sample: figure.quantity for figure in figures if figure.name == "kt"}
    charts = [_fit_chart(runs), _residual_chart(runs), _current_chart(runs, bench), _drag_chart(runs, kt, bench)]
    drive = runs[0].run.drive
    tables = (_constants_table(runs, figures, drive, bench), _points_table(runs))
    return tuple(chart for chart in charts if chart.series), tables


def _fit_chart(runs: Sequence[ReducedRun]) -> Chart:
    series = []
    for each in runs:
        if each.line is None or each.behind is None:
            continue
        label, sample = f"Sample {each.run.sample}", each.run.sample
        ends = np.array([0.0, each.run.speed.values.max()])
        line = tuple(float(v) for v in each.line.slope.value * ends)
        series.append(Series(label, sample, "line", _numbers(ends / RPM), line))
        points = _numbers(each.run.speed.values / RPM), _numbers(each.behind.values)
        series.append(Series(f"{label}, points", sample, "points", *points))
    return Chart(
        name="no_load_volts_vs_speed",
        title="Volts behind the resistive drop against speed",
        caption="Supply voltage less current times resistance, and the line through the origin. Its slope is 1 / Kv.",
        x=Axis.of("speed"),
        y=Axis("volts_behind", "Voltage behind the resistive drop", "V"),
        series=tuple(series),
    )


def _residual_chart(runs: Sequence[ReducedRun]) -> Chart:
    series = [
        Series(
            f"Sample {each.run.sample}",
            each.run.sample,
            "points",
            _numbers(each.run.speed.values / RPM),
            _numbers(100 * each.line.residuals / (each.behind.values - each.line.residuals)),
        )
        for each in runs
        if each.line is not None and each.behind is not None
    ]
    return Chart(
        name="no_load_residuals",
        title="Volts off the line",
        caption="How far each point lies off its line. A bend would mean a resistance or an offset that is wrong.",
        x=Axis.of("speed"),
        y=Axis("residual", "Point less line", "%"),
        series=tuple(series),
    )


def _current_chart(runs: Sequence[ReducedRun], bench: Bench) -> Chart:
    series = [one for group in _groups(runs, "voltage") for one in _band(group, "voltage", None, bench)]
    return Chart(
        name="no_load_current_vs_voltage",
        title="No-load current against supply voltage",
        caption=f"Supply current without load. {_band_words(bench)}",
        x=Axis.of("voltage"),
        y=Axis.of("no_load_current"),
        series=tuple(series),
    )


def _drag_chart(runs: Sequence[ReducedRun], kt: Mapping[str | None, Quantity | None], bench: Bench) -> Chart:
    series = [
        one
        for group in _groups(runs, "speed")
        if (constant := kt.get(group[0].run.sample)) is not None
        for one in _band(group, "speed", constant, bench)
    ]
    return Chart(
        name="drag_torque_vs_speed",
        title="Drag torque against speed",
        caption=(
            "All of the motor's own torque loss: friction, hysteresis, eddy currents and the air about the bell, not "
            f"split. {_band_words(bench)}"
        ),
        x=Axis.of("speed"),
        y=Axis.of("drag_torque"),
        series=tuple(series),
    )


def _band_words(bench: Bench) -> str:
    return f"Band: {100 * bench.lab.coverage:g} % coverage interval of the sample's curve; points: as measured."


def _groups(runs: Sequence[ReducedRun], axis: str) -> Iterator[list[ReducedRun]]:
    """Yield the runs that have a curve, by sample."""
    for sample in dict.fromkeys(each.run.sample for each in runs):
        own = [each for each in runs if each.run.sample == sample and each.curve(axis) is not None]
        if own:
            yield own


def _band(group: Sequence[ReducedRun], axis: str, kt: Quantity | None, bench: Bench) -> Iterator[Series]:
    """Yield a sample's mean curve over the range all its repeats reached, with its interval, and the points."""
    curves = [curve for each in group if (curve := each.curve(axis)) is not None]
    low, high = max(curve.range[0] for curve in curves), min(curve.range[1] for curve in curves)
    sample = group[0].run.sample
    name = "no_load_current" if kt is None else "drag_torque"
    if low < high:
        places = np.linspace(low, high, GRID)
        values = np.mean([curve.fit(places) for curve in curves], axis=0)
        factor = 1.0 if kt is None else kt.value
        below, above = _interval(curves, places, kt, bench.lab.coverage)
        x = _numbers(places / term(axis).si_per_unit)
        y, lower, upper = (_numbers(v / term(name).si_per_unit) for v in (values * factor, below, above))
        yield Series(f"Sample {sample}", sample, "band", x, y, lower, upper, curve=True)
    at = np.concatenate([curve.x.values for curve in curves]) / term(axis).si_per_unit
    current = np.concatenate([curve.y.values for curve in curves])
    shown = current * (1.0 if kt is None else kt.value) / term(name).si_per_unit
    yield Series(f"Sample {sample}, points", sample, "points", _numbers(at), _numbers(shown))


@single_threaded()
def _interval(
    curves: Sequence[Curve], places: FloatArray, kt: Quantity | None, coverage: float
) -> tuple[FloatArray, FloatArray]:
    """Return both ends of the interval of the curves' mean, times the torque constant where there is one."""
    rows = np.hstack([curve.fit.basis(places) for curve in curves]) / len(curves)
    coefficients = np.vstack([curve.coefficients[:, DRAWN] for curve in curves])
    if kt is not None:
        coefficients *= kt.trials[DRAWN]
    return coverage_interval(rows @ coefficients, coverage)


def _numbers(values: FloatArray) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def timing_words(drive: Drive | None) -> str:
    """Return what is known of the drive's timing."""
    if drive is None:
        return "drive not stated"
    return drive.timing.text if drive.timing is not None else "timing not stated"


def _constants_table(runs: Sequence[ReducedRun], figures: Sequence[Figure], drive: Drive | None, bench: Bench) -> Table:
    switches = drive is not None and drive.on_resistance is not None
    path = "resistance + 2 on-resistances" if switches else "resistance; on-resistance of the drive not stated"
    definitions = {
        "kv_back_emf": "speed per peak volt between two lines, driven from outside",
        "kv_no_load": f"speed / (voltage - current x ({path})), full duty",
        "kt": KT_DEFINITION,
        "km": KM_DEFINITION,
        "km_per_mass": KM_PER_MASS_DEFINITION,
    }
    timing = timing_words(drive)
    samples = tuple(dict.fromkeys(each.run.sample for each in runs))
    known: dict[tuple[str, str | None], Quantity | None] = {(f.name, f.sample): f.quantity for f in figures}
    known |= {("kv_back_emf", each.run.sample): each.run.kv_back_emf for each in runs}
    return Table(
        name="constants",
        title="Constants by definition",
        caption=(
            "Two numbers called Kv differ by definition and by the drive's timing, so both stand beside each. "
            "Resistance is that between two phases."
        ),
        columns=(
            Column("Constant", align="left"),
            *(Column(f"Sample {sample}") for sample in samples),
            Column("Unit", align="left"),
            Column("Definition", align="left"),
            Column("Timing of the drive", align="left"),
        ),
        rows=tuple(
            (
                term(name).title,
                *(_printed(name, known.get((name, sample)), bench.lab.coverage) for sample in samples),
                _unit(name)[0],
                definition,
                "no drive in it" if name == "kv_back_emf" else timing,
            )
            for name, definition in definitions.items()
        ),
    )


def _unit(name: str) -> tuple[str, float]:
    """Return the unit a constant is shown in, as print has it, and its size in SI."""
    of = term(name)
    unit, per_unit = (of.shown[0].unit, of.shown[0].per_unit) if of.shown else (of.unit, 1.0)
    return unit.replace("W**0.5", "√W").replace("*", "·"), of.si_per_unit * per_unit


def _printed(name: str, quantity: Quantity | None, coverage: float) -> str:
    if quantity is None:
        return "not measured" if name == "kv_back_emf" else "withheld"
    size = _unit(name)[1]
    low, high = quantity.interval(coverage)
    return " ± ".join(rounded(quantity.value / size, (high - low) / 2 / size))


def _points_table(runs: Sequence[ReducedRun]) -> Table:
    return Table(
        name="no_load_points",
        title="Points without load",
        caption="Each point, corrected by its instruments' calibrations, and what is left behind the resistive drop.",
        columns=(
            Column("Sample", align="left"),
            Column("Winding", "degC"),
            Column("Voltage", "V"),
            Column("Current", "A"),
            Column("Speed", "rpm"),
            Column("Behind the drop", "V"),
            Column("Kv of the point", "rpm/V"),
        ),
        rows=tuple(row for each in runs for row in _point_rows(each)),
    )


def _point_rows(each: ReducedRun) -> Iterator[tuple[str, ...]]:
    run = each.run
    for k, speed in enumerate(run.speed.values / RPM):
        behind = kv = "not known"
        if each.behind is not None:
            volts = each.behind.values[k]
            behind, kv = f"{volts:.3f}", f"{speed / volts:.1f}"
        yield (
            run.sample,
            f"{run.temperature.value - ZERO_CELSIUS:.1f}",
            f"{run.voltage.values[k]:.3f}",
            f"{run.current.values[k]:.3f}",
            f"{speed:.0f}",
            behind,
            kv,
        )
