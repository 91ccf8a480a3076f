"""Kv from back-emf: the motor driven from outside, its voltage between two lines against its speed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.constants.lines import Slope, slope_through_origin
from benchproof.methods.constants.motor_constant import Others, motor_constants, others_of
from benchproof.methods.constants.points import FEWEST_WITH_SCATTER, Channel, channel
from benchproof.methods.constants.repeats import combined
from benchproof.methods.method import Change, Method
from benchproof.methods.records import NO_POINT, Axis, Chart, Column, Figure, Reduction, Series, Table
from benchproof.methods.sanity import judged
from benchproof.nomenclature import RPM
from benchproof.trials.quantity import Quantity, combine
from benchproof.trials.rounding import rounded

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.methods.bench import Bench

METHOD: Final = Method(
    key="back_emf",
    version="1.0",
    title="Back-emf",
    order=30,
    summary=(
        "The motor is driven from outside with its terminals open, and the voltage between two lines is read at "
        "several speeds. What the voltmeter shows (peak, rms, mean of the rectified wave) becomes the peak of a sine. "
        "Kv is the inverse of the slope of a line through the origin; a line that misses the origin is remarked on. "
        "Neither drive nor timing has a part in this Kv."
    ),
    equations=(
        "V_peak = V, sqrt(2) V_rms, or (pi/3) V_rectified (three-phase rectifier)",
        "V_peak = K_e w, K_e = sum(w V) / sum(w^2);  Kv = 60 / (2 pi K_e), speed per peak volt between two lines",
        "where nothing was run without load: kt = (3/pi) K_e, true at zero timing with block commutation",
    ),
    sources=(
        "Theory of the permanent-magnet machine with a sinusoidal back-emf, textbook knowledge [from memory]",
        "MacKinnon, White: Journal of Econometrics 29 (1985) 305 (scatter that grows with the abscissa) [from memory]",
    ),
    history=(Change("1.0", "First version."),),
    cautions=("driven", "guards", "eyes_and_ears"),
)

TO_PEAK: Final[Mapping[str, float]] = {"peak": 1.0, "rms": math.sqrt(2), "rectified_mean": math.pi / 3}
"""Peak of a sine between two lines over what the voltmeter shows of it."""

SHOWN_AS: Final[Mapping[str, str]] = {
    "peak": "peak as read",
    "rms": "rms of a sine, times 1.414",
    "rectified_mean": "mean behind a three-phase rectifier, times 1.047",
}

DEFINITION: Final = "speed per peak volt between two lines, driven from outside; no drive and no timing in it"
"""Printed beside every Kv of this test."""

BLOCK_COMMUTATION: Final = 3 / math.pi
"""Mean over peak of a sine's sixty degrees about its crest."""


@dataclass(frozen=True, slots=True)
class DrivenRun:
    """A run of one sample, driven from outside.

    Parameters
    ----------
    sample : str
        The sample.
    waveform : str
        What the voltages were read as.
    speed, peak : Channel
        rad/s; peak volts between two lines.
    line : Slope
        Peak volts per speed.
    others : Others
        What other tests of the sample came to.
    """

    sample: str
    waveform: str
    speed: Channel
    peak: Channel
    line: Slope
    others: Others

    @property
    def kv(self) -> Quantity:
        """Speed per peak volt, rad/s/V."""
        return combine(lambda k: 1 / k, self.line.slope)


def gather(test: Any, bench: Bench) -> DrivenRun:
    """Return a run driven from outside.

    Raises
    ------
    InputError
        If the rig has no voltmeter or no tachometer for it.
    """
    speed = channel("speed", "speed", test, bench)
    peak = channel("voltage", "voltage", test, bench).times(TO_PEAK[test.waveform])
    place = bench.place(test, "scatter", "back-emf")
    line = slope_through_origin(speed, peak, place, f"scatter of back-emf points, sample {test.sample}", bench.trials)
    return DrivenRun(test.sample, test.waveform, speed, peak, line, others_of(test.sample, bench))


def reduce(inputs: Sequence[DrivenRun], bench: Bench) -> Reduction:
    """Return Kv of each sample, repeats combined; and the torque constant where no run without load gives it.

    Parameters
    ----------
    inputs : sequence of DrivenRun
        The runs that count.
    bench : Bench
        For coverage, and for whether the campaign has runs without load.

    Returns
    -------
    Reduction
        ``kv_back_emf``; ``kt`` and, as far as resistance and mass were measured, ``km`` and ``km_per_mass`` with the
        flag ``from_back_emf``; the fit and its residuals.
    """
    figures, remarks = figures_of(inputs, bench)
    charts = (_fit_chart(inputs), _residual_chart(inputs))
    return Reduction(figures, charts, (_table(inputs, bench),), (*_remarks(inputs), *remarks))


def figures_of(inputs: Sequence[DrivenRun], bench: Bench) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return the figures alone, and remarks on them; see :func:`reduce`."""
    figures: list[Figure] = []
    remarks: list[Remark] = []
    for sample in dict.fromkeys(each.sample for each in inputs):
        runs = [each for each in inputs if each.sample == sample]
        kv, found = combined("Kv from back-emf", sample, [each.kv for each in runs])
        figures.append(Figure("kv_back_emf", NO_POINT, sample, kv, METHOD.label))
        remarks.extend(found)
        if not bench.tests("no_load"):
            kt = combine(lambda k: BLOCK_COMMUTATION / k, kv)
            own, _ = motor_constants(sample, kt, runs[0].others, METHOD.label, ("from_back_emf",))
            figures.extend(figure for figure in own if figure.quantity is not None)
    kept, unusual = judged(figures)
    return kept, (*remarks, *unusual)


def _remarks(inputs: Sequence[DrivenRun]) -> Iterator[Remark]:
    for each in inputs:
        where = f"sample {each.sample}"
        if each.line.intercept_significant:
            sentence = (
                f"the line of voltage over speed misses the origin by {each.line.intercept:.3g} V, more than scatter "
                "and stated offsets allow; look at the voltmeter's zero, and at what it shows of the wave"
            )
            yield Remark("intercept", where, sentence)
        if each.speed.values.size < FEWEST_WITH_SCATTER:
            sentence = (
                f"{each.speed.values.size} points say nothing of their scatter: the stated errors of the instruments "
                f"stand alone; take at least {FEWEST_WITH_SCATTER}"
            )
            yield Remark("few_points", where, sentence)


def _fit_chart(inputs: Sequence[DrivenRun]) -> Chart:
    series = []
    for each in inputs:
        label, (speed, volts) = f"Sample {each.sample}", _in_units(each)
        ends = np.array([0.0, each.speed.values.max()])
        volt_line = tuple(float(v) for v in each.line.slope.value * ends)
        series.append(Series(label, each.sample, "line", tuple(float(w) for w in ends / RPM), volt_line))
        series.append(Series(f"{label}, points", each.sample, "points", speed, volts))
    return Chart(
        name="back_emf_vs_speed",
        title="Back-emf against speed",
        caption="Peak voltage between two lines of the motor driven from outside, and the line through the origin.",
        x=Axis.of("speed"),
        y=Axis("back_emf", "Peak voltage between two lines", "V"),
        series=tuple(series),
    )


def _residual_chart(inputs: Sequence[DrivenRun]) -> Chart:
    series = [
        Series(
            f"Sample {each.sample}",
            each.sample,
            "points",
            _in_units(each)[0],
            tuple(float(v) for v in 100 * each.line.residuals / (each.peak.values - each.line.residuals)),
        )
        for each in inputs
    ]
    return Chart(
        name="back_emf_residuals",
        title="Back-emf off the line",
        caption="How far each point lies off its line. A run of points on one side would mean an offset, or no sine.",
        x=Axis.of("speed"),
        y=Axis("residual", "Point less line", "%"),
        series=tuple(series),
    )


def _in_units(each: DrivenRun) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the points in rpm and V."""
    return tuple(float(w) for w in each.speed.values / RPM), tuple(float(v) for v in each.peak.values)


def _table(inputs: Sequence[DrivenRun], bench: Bench) -> Table:
    return Table(
        name="kv_back_emf",
        title="Kv from back-emf",
        caption=f"Kv here is {DEFINITION}. The intercept is that of a line left free of the origin.",
        columns=(
            Column("Sample", align="left"),
            Column("Voltages", align="left"),
            Column("Points"),
            Column("From", "rpm"),
            Column("To", "rpm"),
            Column("Intercept", "V"),
            Column("Kv", "rpm/V"),
            Column("Half-width", "rpm/V"),
        ),
        rows=tuple(_row(each, bench.lab.coverage) for each in inputs),
    )


def _row(each: DrivenRun, coverage: float) -> tuple[str, ...]:
    low, high = each.kv.interval(coverage)
    value, half_width = rounded(each.kv.value / RPM, (high - low) / 2 / RPM)
    intercept = each.line.intercept
    return (
        each.sample,
        SHOWN_AS[each.waveform],
        str(each.speed.values.size),
        f"{each.speed.values.min() / RPM:.0f}",
        f"{each.speed.values.max() / RPM:.0f}",
        "too few points" if intercept is None else f"{intercept:+.4f}",
        value,
        half_width,
    )
