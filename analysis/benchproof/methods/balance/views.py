"""Charts and tables of vibration tests."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.balance.quality import quality, shaking_force
from benchproof.methods.records import Axis, Chart, Column, Series, Table
from benchproof.nomenclature import RPM
from benchproof.trials.quantity import combine
from benchproof.trials.rounding import rounded

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.balance.figures import ReducedVibration
    from benchproof.trials.quantity import Quantity

    ComplexArray = NDArray[np.complex128]

MILLIGRAM_MILLIMETRE: Final = 1e-9
"""One mg mm in kg m."""


def views(runs: Sequence[ReducedVibration], coverage: float) -> tuple[tuple[Chart, ...], tuple[Table, ...]]:
    """Return the charts and tables of all tests."""
    tables = [_orders_table(runs)]
    charts = [_spectrum(runs)]
    if any(each.tried for each in runs):
        charts.append(_vectors(runs))
        tables += [_trial_table(runs), _balance_table(runs, coverage)]
    return tuple(charts), tuple(tables)


def _spectrum(runs: Sequence[ReducedVibration]) -> Chart:
    series = []
    for each in runs:
        bare = each.orders[0]
        sizes, errors = np.abs(bare.amplitude), 2 * bare.error
        series.append(
            Series(
                f"Sample {each.run.sample}, {each.run.where}",
                each.run.sample,
                "points",
                x=tuple(float(k) for k in range(1, sizes.size + 1)),
                y=tuple(map(float, sizes)),
                low=tuple(map(float, np.maximum(sizes - errors, 0))),
                high=tuple(map(float, sizes + errors)),
            )
        )
    return Chart(
        name="order_spectrum",
        title="Vibration by orders",
        caption=(
            "Acceleration of the stand at whole multiples of the turning frequency, the rotor as it is, coherently "
            "averaged over whole turns; bars: twice the scatter over blocks of turns. It says how this stand shakes, "
            "and compares only with motors on the same stand at the same speed."
        ),
        x=Axis("order", "Order: times a turn", "1"),
        y=Axis("acceleration", "Acceleration, amplitude", "m/s**2"),
        series=tuple(series),
    )


def _vectors(runs: Sequence[ReducedVibration]) -> Chart:
    series = []
    for each in (run for run in runs if run.tried):
        measured = np.array([run.amplitude[0] for run in each.orders])
        series.append(_in_plane(f"{each.run.sample}, {each.run.where}", each.run.sample, measured))
        if each.influence is not None:
            squares = np.array([run.turns.speed**2 for run in each.orders])
            fitted = measured - each.influence.residuals * squares
            series.append(_in_plane(f"{each.run.sample}, {each.run.where}, fit", None, fitted))
    return Chart(
        name="trial_vectors",
        title="What the trial masses change",
        caption=(
            "The part of the acceleration that goes with the turning rotor, as a vector: one point for the rotor as it "
            "is and one for each trial mass. The fit holds that each trial mass moves the point in proportion."
        ),
        x=Axis("in_phase", "In phase with the mark", "m/s**2"),
        y=Axis("in_quadrature", "A quarter turn ahead", "m/s**2"),
        series=tuple(series),
    )


def _in_plane(label: str, sample: str | None, values: ComplexArray) -> Series:
    return Series(label, sample, "points", tuple(map(float, values.real)), tuple(map(float, values.imag)))


def _orders_table(runs: Sequence[ReducedVibration]) -> Table:
    return Table(
        name="orders",
        title="Orders",
        caption="The rotor as it is: amplitude and scatter of every order the log can show, and the velocity it means.",
        columns=(
            Column("Log", align="left"),
            Column("Sample", align="left"),
            Column("Order"),
            Column("What it is", align="left"),
            Column("Frequency", "Hz"),
            Column("Acceleration", "m/s**2"),
            Column("Scatter", "m/s**2"),
            Column("Velocity, rms", "mm/s"),
        ),
        rows=tuple(row for each in runs for row in _order_rows(each)),
    )


def _order_rows(each: ReducedVibration) -> Iterator[tuple[str, ...]]:
    bare, names = each.orders[0], dict(each.run.named_orders)
    for k, (size, error) in enumerate(zip(np.abs(bare.amplitude), bare.error, strict=True), 1):
        frequency = k * bare.turns.speed / (2 * math.pi)
        velocity = size / (2 * math.pi * frequency) / math.sqrt(2)
        value, scatter = rounded(float(size), 2 * float(error))
        yield (
            each.run.where,
            each.run.sample,
            str(k),
            names.get(k, ""),
            f"{frequency:.1f}",
            value,
            scatter,
            f"{velocity * 1e3:.3f}",
        )


def _trial_table(runs: Sequence[ReducedVibration]) -> Table:
    return Table(
        name="trial_runs",
        title="Trial runs",
        caption="Every log of a set: the mass on the rotor, the speed, and the vibration once a turn with its phase.",
        columns=(
            Column("Log", align="left"),
            Column("Sample", align="left"),
            Column("On the rotor", align="left"),
            Column("Speed", "rpm"),
            Column("Acceleration", "m/s**2"),
            Column("Phase", "deg"),
            Column("Off the fit", "%"),
        ),
        rows=tuple(_trial_row(each, k) for each in runs if each.tried for k in range(len(each.orders))),
    )


def _trial_row(each: ReducedVibration, k: int) -> tuple[str, ...]:
    run = each.orders[k]
    amplitude = run.amplitude[0]
    off = ""
    if each.influence is not None:
        off = f"{100 * abs(each.influence.residuals[k]) * run.turns.speed**2 / abs(amplitude):.1f}"
    return (
        run.log.occasion.run,
        each.run.sample,
        run.log.trial.words if run.log.trial else "nothing",
        f"{run.turns.speed / RPM:.0f}",
        f"{abs(amplitude):.4g}",
        f"{math.degrees(np.angle(amplitude)):.1f}",
        off,
    )


def _balance_table(runs: Sequence[ReducedVibration], coverage: float) -> Table:
    return Table(
        name="balance",
        title="Balance",
        caption=(
            "Residual unbalance with the least one that the set can detect, the rotating force it makes at the speed "
            "of the run, and eccentricity times angular speed where bell or rotor were weighed. A grade of ISO "
            "21940-11 stands for a stated service speed; the last column is for the speed of the run."
        ),
        columns=(
            Column("Log", align="left"),
            Column("Sample", align="left"),
            Column("Trial runs"),
            Column("Residual unbalance", "mg*mm"),
            Column("Half-width", "mg*mm"),
            Column("Least detectable", "mg*mm"),
            Column("At", "deg"),
            Column("Force", "N"),
            Column("e times w", "mm/s"),
            Column("Half-width", "mm/s"),
        ),
        rows=tuple(row for each in runs for row in _balance_rows(each, coverage)),
    )


def _balance_rows(each: ReducedVibration, coverage: float) -> Iterator[tuple[str, ...]]:
    found = each.influence
    if found is None:
        return
    shown = each.fault != "below_detectable"
    size = _printed(found.unbalance, MILLIGRAM_MILLIMETRE, coverage) if shown else ("not detected", "")
    grade = ("", "")
    if each.run.rotor_mass is not None and shown:
        at_speed = combine(lambda u, m: quality(u, m, each.speed), found.unbalance, each.run.rotor_mass)
        grade = _printed(at_speed, 1e-3, coverage)
    yield (
        each.run.where,
        each.run.sample,
        str(len(each.orders) - 1),
        *size,
        f"{found.detectable / MILLIGRAM_MILLIMETRE:.2g}",
        f"{math.degrees(np.angle(found.vector)):.0f}" if shown else "",
        f"{shaking_force(found.unbalance.value, each.speed):.3f}" if shown else "",
        *grade,
    )


def _printed(quantity: Quantity, unit: float, coverage: float) -> tuple[str, str]:
    low, high = quantity.interval(coverage)
    return rounded(quantity.value / unit, (high - low) / 2 / unit)
