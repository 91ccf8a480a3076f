"""Runs without load: Kv behind the resistive drop, torque and motor constants, no-load current, drag torque."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods import back_emf
from benchproof.methods.constants.free_run import DROP, TOO_FEW, FreeRun, ReducedRun, gather_run
from benchproof.methods.constants.motor_constant import motor_constants, others_of
from benchproof.methods.constants.no_load_views import views
from benchproof.methods.constants.points import FEWEST_WITH_SCATTER
from benchproof.methods.constants.repeats import combined, figure_of
from benchproof.methods.method import Change, Method
from benchproof.methods.records import NO_POINT, Figure, Reduction
from benchproof.methods.sanity import judged
from benchproof.trials.quantity import Quantity, combine, mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.methods.bench import Bench

METHOD: Final = Method(
    key="no_load",
    version="1.0",
    title="Run without load",
    order=40,
    summary=(
        "The motor turns without propeller at full duty, at several supply voltages. Speed over the volts that are "
        "left behind the resistive drop is Kv by its second definition, which the drive's timing takes part in. Torque "
        "constant and motor constant follow from it, and the current without load times the torque constant is the "
        "motor's own drag: all of it, not split into friction, hysteresis and eddy currents, which speed alone cannot "
        "tell apart. Nothing is read beyond the outermost points."
    ),
    equations=(
        "E = U - I (R(t) + 2 R_on), R between two phases at the winding's temperature, R_on of the drive where stated",
        "E = w / k, k = sum(w^2) / sum(w E);  Kv = 60 k / (2 pi)",
        "kt = 60 / (2 pi Kv),  Km = kt / sqrt(R_20),  Km per mass = Km / m",
        "I_0(U), I_0(w): parabola through the points (straight line through four)",
        "T_0(w) = kt I_0(w)",
    ),
    sources=(
        "First-order model of the permanent-magnet machine, textbook knowledge [from memory]",
        "Resistance of copper at the winding's temperature: as under winding resistance",
        "JCGM 101:2008 (propagation by trials)",
    ),
    history=(Change("1.0", "First version."),),
    cautions=("unloaded", "arming", "guards", "eyes_and_ears", "high_current", "lithium"),
)

KV_RATIO: Final = (1.00, 1.20)
"""Kv at no load over Kv from back-emf: 1 for a drive that feeds a sine, 1.05 for blocks, more with timing."""

MISTAKEN_WAVEFORM: Final = 2**0.5
_SAME_FACTOR: Final = 1.12

TIMING_MISSING: Final = "timing_not_stated"


def gather(test: Any, bench: Bench) -> FreeRun:
    """Return a run without load, with what other tests of the sample came to.

    Raises
    ------
    InputError
        If the rig lacks an instrument for it.
    """
    driven = figure_of(back_emf, "kv_back_emf", test.sample, bench)
    return gather_run(test, bench, others_of(test.sample, bench), driven.quantity if driven is not None else None)


def reduce(inputs: Sequence[FreeRun], bench: Bench) -> Reduction:
    """Return the constants of each sample, repeats combined, and its current and drag at the lab's operating points.

    Parameters
    ----------
    inputs : sequence of FreeRun
        The runs that count.
    bench : Bench
        For operating points, coverage and trials.

    Returns
    -------
    Reduction
        ``kv_no_load``, ``kt``, ``km``, ``km_per_mass``; ``no_load_current`` at voltages; ``drag_torque`` at speeds.
    """
    runs = [ReducedRun(run, bench.trials) for run in inputs]
    kept, remarks = _figures(runs, bench)
    charts, tables = views(runs, kept, bench)
    return Reduction(kept, charts, tables, (*_timing(inputs), *_odd(runs), *remarks))


def figures_of(inputs: Sequence[FreeRun], bench: Bench) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return the figures alone, and remarks on them; see :func:`reduce`."""
    return _figures([ReducedRun(run, bench.trials) for run in inputs], bench)


def _figures(runs: Sequence[ReducedRun], bench: Bench) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    figures: list[Figure] = []
    remarks: list[Remark] = []
    for sample in dict.fromkeys(each.run.sample for each in runs):
        own = [each for each in runs if each.run.sample == sample]
        found, noted = _constants(sample, own)
        figures += (*found, *_currents(sample, own, bench), *_drag(sample, own, _value(found, "kt"), bench))
        remarks += (*noted, *_ratio(sample, _value(found, "kv_no_load"), own[0].run))
    kept, unusual = judged(figures)
    return kept, (*remarks, *unusual)


def _value(figures: Sequence[Figure], name: str) -> Quantity | None:
    return next(figure.quantity for figure in figures if figure.name == name)


def _constants(sample: str, runs: Sequence[ReducedRun]) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return Kv, torque constant and motor constant of a sample."""
    drive = runs[0].run.drive
    flags = () if drive is not None and drive.timing is not None else (TIMING_MISSING,)
    figure = Figure("kv_no_load", NO_POINT, sample, None, METHOD.label, flags)
    repeats = [each.kv for each in runs if each.kv is not None]
    remarks: tuple[Remark, ...] = ()
    kt = None
    if repeats:
        kv, remarks = combined("Kv at no load", sample, repeats)
        figure = Figure("kv_no_load", NO_POINT, sample, kv, METHOD.label, flags)
        kt = combine(lambda k: 1 / k, kv)
    why = runs[0].without_kv
    own, missing = motor_constants(sample, kt, runs[0].run.others, METHOD.label, flags, why)
    first = figure if repeats else figure.withheld(why)
    return (first, *own), (*remarks, *missing)


def _currents(sample: str, runs: Sequence[ReducedRun], bench: Bench) -> Iterator[Figure]:
    for written in bench.lab.operating_points.voltage:
        yield _read("no_load_current", "voltage", {"voltage": written.text}, written.si, sample, runs)


def _drag(sample: str, runs: Sequence[ReducedRun], kt: Quantity | None, bench: Bench) -> Iterator[Figure]:
    for written in bench.lab.operating_points.speed:
        current = _read("drag_torque", "speed", {"speed": written.text}, written.si, sample, runs)
        if current.quantity is None:
            yield current
        elif kt is None:
            yield current.withheld(runs[0].without_kv)
        else:
            torque = combine(np.multiply, kt, current.quantity)
            yield Figure(current.name, current.at, sample, torque, METHOD.label)


def _read(name: str, axis: str, at: Mapping[str, str], place: float, sample: str, runs: Sequence[ReducedRun]) -> Figure:
    """Return a figure that is the current at a place, repeats combined, or without value and why."""
    figure = Figure(name, at, sample, None, METHOD.label)
    found = [each.current_at(axis, place) for each in runs]
    known = [each for each in found if isinstance(each, Quantity)]
    if known:
        return Figure(name, at, sample, mean(*known), METHOD.label)
    return figure.withheld(TOO_FEW) if TOO_FEW in found else figure.flagged("not_reached")


def _ratio(sample: str, no_load: Quantity | None, run: FreeRun) -> Iterator[Remark]:
    """Remark on two Kv that cannot both be right."""
    if no_load is None or run.kv_back_emf is None:
        return
    ratio = combine(np.divide, no_load, run.kv_back_emf)
    slack = 2 * ratio.standard_uncertainty
    if KV_RATIO[0] - slack <= ratio.value <= KV_RATIO[1] + slack:
        return
    sentence = (
        f"Kv at no load is {ratio.value:.3f} times Kv from back-emf, outside {KV_RATIO[0]:.2f} to {KV_RATIO[1]:.2f}; "
    )
    yield Remark("kv_ratio", f"sample {sample}", sentence + _likely(ratio.value))


def _likely(ratio: float) -> str:
    """Return the mistake that would explain a ratio of the two Kv."""
    for factor, words in (
        (1 / MISTAKEN_WAVEFORM, "the back-emf voltages look like rms stated as peak"),
        (MISTAKEN_WAVEFORM, "the back-emf voltages look like peak stated as rms"),
    ):
        if 1 / _SAME_FACTOR < ratio / factor / 1.06 < _SAME_FACTOR:
            return f"{words}: look at waveform:"
    return "look at waveform:, at the speed reading (pole pairs), at the timing, and whether the run was at full duty"


def _timing(inputs: Sequence[FreeRun]) -> Iterator[Remark]:
    """Remark once where the drive or its timing is not stated: Kv at no load means little without it."""
    drive = inputs[0].drive
    if drive is not None and drive.timing is not None:
        return
    what = "the drive was not stated" if drive is None else "the drive's timing was not stated"
    remedy = "add drive: to the campaign" if drive is None else "add timing: to the drive in the rig file"
    sentence = f"{what}, and Kv at no load rises with timing (by some 4 % at 15 degrees); {remedy}"
    yield Remark(TIMING_MISSING, "kv_no_load", sentence)


def _odd(runs: Sequence[ReducedRun]) -> Iterator[Remark]:
    """Remark on runs that cannot be, that miss the origin, or that have too few points."""
    for each in runs:
        where, count = f"sample {each.run.sample}", each.run.speed.values.size
        if each.line is None and each.without_kv == DROP:
            sentence = (
                "current times resistance is more than the supply voltage of a point without load, which cannot be; "
                "look at the units of current, voltage and winding resistance"
            )
            yield Remark(DROP, where, sentence)
        if each.line is not None and each.line.intercept_significant:
            sentence = (
                f"volts over speed miss the origin by {each.line.intercept:.3g} V, more than scatter and stated errors "
                "allow; look at the voltmeter's place (at the drive's terminals), at the resistance, and at full duty"
            )
            yield Remark("intercept", where, sentence)
        if each.curve("speed") is None:
            scatter = "" if count >= FEWEST_WITH_SCATTER else " and say nothing of their scatter"
            sentence = (
                f"{count} points carry no curve of current over speed{scatter}; drag torque, and current between the "
                "points, need at least four at different voltages"
            )
            yield Remark(TOO_FEW, where, sentence)
