"""Charts and tables of spin-ups: curves, the windows they rest on, what the flywheels went through."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.records import Axis, Chart, Column, Series, Table
from benchproof.methods.spin.checks import limit_of
from benchproof.methods.spin.discs import material_of, peak_stress, stored_energy
from benchproof.nomenclature import RPM, term
from benchproof.trials.rounding import rounded

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.bench import Bench
    from benchproof.methods.spin.figures import Group
    from benchproof.methods.spin.motion import Motion, SpinRun
    from benchproof.methods.spin.spun import Spun

    FloatArray = NDArray[np.float64]

LOG_POINTS: Final = 120
"""Points a log is thinned to for its chart; the attached log has them all."""

CURVES: Final = (
    ("torque", "Steady-state-equivalent torque of the shaft; the motor's own drag is not in it."),
    ("shaft_power", "Torque times speed."),
    (
        "motor_efficiency",
        "Shaft power over electrical power, motor and drive together, while speeding up at full command.",
    ),
)
"""Figures drawn against speed, and a word of reading."""


def views(groups: Sequence[Group], bench: Bench) -> tuple[tuple[Chart, ...], tuple[Table, ...]]:
    """Return the charts and tables of all runs."""
    able = [group for group in groups if group.spun is not None]
    charts = [_curve_chart(name, words, able, bench) for name, words in CURVES]
    charts.append(_current_chart(able))
    motions = [motion for group in groups for motion in group.motions]
    charts = [chart for chart in charts if chart.series]
    tables = (_runs_table(motions), _windows_table(able, bench), _flywheel_table(motions, bench))
    return (*charts, _log_chart(motions)), tables


def _label(group: Group) -> str:
    return " ".join([f"Sample {group.sample}", *(f"({value})" for value in group.where.values())])


def _curve_chart(name: str, words: str, groups: Sequence[Group], bench: Bench) -> Chart:
    series: list[Series] = []
    for group in groups:
        if name == "motor_efficiency" and not group.electrical:
            continue
        series += _curve(name, group, bench)
    coverage = f"{bench.lab.coverage:.0%}".replace("%", " %")
    more = (
        " A bar at the foot marks speeds at which the drive's or the supply's limit sets the torque."
        if name == "torque"
        else ""
    )
    return Chart(
        name=f"{name}_vs_speed",
        title=f"{term(name).title} against speed",
        caption=f"{words} Band: {coverage} coverage interval of the mean of the sample's runs.{more}",
        x=Axis.of("speed"),
        y=Axis.of(name),
        series=tuple(series),
    )


def _curve(name: str, group: Group, bench: Bench) -> Iterator[Series]:
    spun = group.spun
    places = np.flatnonzero(spun.usable) if spun is not None else np.zeros(0, dtype=np.intp)
    if spun is None or not places.size:
        return
    values = spun.mean(name)[places]
    low, high = spun.by_trial.band(name, bench.lab.coverage)
    speeds = _in_unit("speed", spun.speeds[places])
    label = _label(group)
    yield Series(
        label,
        group.sample,
        "band",
        speeds,
        _in_unit(name, values),
        _in_unit(name, low),
        _in_unit(name, high),
        curve=True,
    )
    if name != "torque":
        return
    several = [_in_unit(name, spun.torque(run)[places]) for run in spun.runs]
    repeats = tuple(value for values_of_run in several for value in values_of_run)
    yield Series(f"{label}, each run", group.sample, "points", speeds * len(several), repeats)
    limit = limit_of(spun)
    if limit is not None:
        ends = np.array([limit.low, limit.high])
        level = np.zeros(2)
        yield Series(f"{label}, limited", group.sample, "line", _in_unit("speed", ends), _in_unit(name, level))


def _current_chart(groups: Sequence[Group]) -> Chart:
    series = []
    for group in groups:
        for run in group.spun.runs if group.spun is not None else ():
            if run.current.size and group.spun is not None:
                ok = group.spun.usable
                speeds, amperes = _in_unit("speed", group.spun.speeds[ok]), _in_unit("current", run.current[ok])
                series.append(Series(run.motion.run.occasion.run, group.sample, "line", speeds, amperes))
    return Chart(
        name="current_vs_speed",
        title="Supply current against speed",
        caption="Smoothed supply current of each run. It falls with speed once neither drive nor supply limits it.",
        x=Axis.of("speed"),
        y=Axis.of("current"),
        series=tuple(series),
    )


def _log_chart(motions: Sequence[Motion]) -> Chart:
    series = []
    for motion in motions:
        times = np.linspace(motion.start, motion.signal.time[-1], LOG_POINTS)
        seconds = tuple(float(value) for value in times - motion.start)
        speeds = _in_unit("speed", motion.speed_at(times))
        series.append(Series(motion.run.occasion.run, motion.run.sample, "line", seconds, speeds))
    return Chart(
        name="spin_log",
        title="The spin-ups",
        caption="Speed after the command, coarsely smoothed for drawing. The attached logs hold every row.",
        x=Axis("time", "Time since the command", "s"),
        y=Axis.of("speed"),
        series=tuple(series),
    )


def _runs_table(motions: Sequence[Motion]) -> Table:
    return Table(
        name="spins",
        title="Runs",
        caption=(
            "Each log, what the motion was read from, and what the flywheel held and bore at the top. Stress is that "
            "of a plain disc and says nothing of cracks, fits or balance: it is no statement that a run is safe."
        ),
        columns=(
            Column("Log", align="left"),
            Column("Sample", align="left"),
            Column("Flywheel", align="left"),
            Column("Motion from", align="left"),
            Column("Rows"),
            Column("Duration", "s"),
            Column("Top speed", "rpm"),
            Column("Stored energy", "J"),
            Column("Stress of the disc", "MPa"),
        ),
        rows=tuple(_run_row(motion) for motion in motions),
    )


def _run_row(motion: Motion) -> tuple[str, ...]:
    run, top = motion.run, float(motion.nodes.speed.max())
    metal = material_of(run.disc.material)
    stress = "not known" if metal is None else f"{peak_stress(metal, run.disc.diameter, run.disc.bore, top) / 1e6:.0f}"
    return (
        run.occasion.run,
        run.sample,
        run.disc.name,
        "marks" if motion.signal.derivative == 2 else "speed",
        str(motion.signal.time.size),
        f"{motion.stop - motion.start:.2f}",
        f"{top / RPM:.0f}",
        f"{stored_energy(run.disc.inertia.value, top):.0f}",
        stress,
    )


def _windows_table(groups: Sequence[Group], bench: Bench) -> Table:
    return Table(
        name="windows",
        title="Windows",
        caption=(
            "Half-width H of the window taken at the lab's speeds and at the peak, how far the torque moves with one "
            "half as wide again, and what stands in the uncertainty for it."
        ),
        columns=(
            Column("Sample", align="left"),
            Column("Flywheel", align="left"),
            Column("Speed", "rpm"),
            Column("Half-width H", "ms"),
            Column("Torque", "mN*m"),
            Column("At 1.5 H", "%"),
            Column("For the window", "%"),
            Column("Noise", "%"),
            Column("Supply voltage", "V"),
        ),
        rows=tuple(row for group in groups for row in _window_rows(group, bench)),
    )


def _window_rows(group: Group, bench: Bench) -> Iterator[tuple[str, ...]]:
    spun = group.spun
    if spun is None:
        return
    wanted = [written.si for written in bench.lab.operating_points.speed]
    low, high = spun.range
    places = [int(np.abs(spun.speeds - speed).argmin()) for speed in wanted if low <= speed <= high]
    if spun.usable.any():
        places.append(int(np.nanargmax(spun.mean_torque())))
    for place in dict.fromkeys(places):
        if spun.usable[place]:
            yield _window_row(group, spun, place)


def _window_row(group: Group, spun: Spun, place: int) -> tuple[str, ...]:
    choice = spun.choice
    moved = 100 * (choice.wider[place] / choice.value[place] - 1)
    noise = 100 * float(choice.variance[place]) ** 0.5 / abs(choice.value[place])
    volts = [run.voltage[place] for run in spun.runs if run.voltage.size]
    return (
        group.sample,
        group.flywheel,
        f"{spun.speeds[place] / RPM:.0f}",
        f"{1e3 * spun.widths[choice.rung[place]]:.1f}",
        f"{1e3 * spun.mean_torque()[place]:.2f}",
        "widest" if np.isnan(moved) else f"{moved:+.2f}",
        f"{100 * choice.bias[place] / abs(choice.value[place]):.2f}",
        f"{noise:.2f}",
        f"{np.mean(volts):.2f}" if volts else "",
    )


def _flywheel_table(motions: Sequence[Motion], bench: Bench) -> Table:
    rows = dict.fromkeys(_flywheel_row(motion.run, bench.lab.coverage) for motion in motions)
    return Table(
        name="inertias",
        title="Inertias",
        caption="Moments of inertia, half-widths of their intervals, and how they are known.",
        columns=(
            Column("Flywheel", align="left"),
            Column("Inertia", "kg*mm**2"),
            Column("Half-width", "kg*mm**2"),
            Column("Known", align="left"),
            Column("Rotor of", align="left"),
            Column("Inertia", "kg*mm**2"),
            Column("Half-width", "kg*mm**2"),
            Column("Known", align="left"),
            Column("Rated speed", "rpm"),
        ),
        rows=tuple(rows),
    )


def _flywheel_row(run: SpinRun, coverage: float) -> tuple[str, ...]:
    low, high = run.disc.inertia.interval(coverage)
    own = rounded(1e6 * run.disc.inertia.value, 0.5e6 * (high - low))
    rotor = ("not stated", "")
    if run.rotor is not None:
        low, high = run.rotor.interval(coverage)
        rotor = rounded(1e6 * run.rotor.value, 0.5e6 * (high - low))
    rated = f"{run.disc.rated_speed / RPM:.0f}"
    return run.disc.name, *own, run.disc.known_by, run.sample, *rotor, run.rotor_known_by, rated


def _in_unit(name: str, si: FloatArray) -> tuple[float, ...]:
    return tuple(float(value) for value in si / term(name).si_per_unit)
