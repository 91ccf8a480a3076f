"""Vibration of a motor without propeller: orders of the turning frequency, and residual unbalance by trial masses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.campaign.models.base import required
from benchproof.errors import MethodError
from benchproof.methods import weighing
from benchproof.methods.balance.figures import figures_of, reduce_run
from benchproof.methods.balance.run import ShakeLog, TrialMass, VibrationRun
from benchproof.methods.balance.views import views
from benchproof.methods.constants.repeats import figure_of
from benchproof.methods.method import Change, Method
from benchproof.methods.records import Reduction
from benchproof.trials.quantity import combine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.bench import Bench
    from benchproof.trials.quantity import Quantity

METHOD: Final = Method(
    key="vibration",
    version="1.0",
    title="Vibration and balance",
    order=80,
    summary=(
        "The motor turns without a propeller while the stand's acceleration is logged with a mark once a turn. The "
        "angle comes from the marks, and every whole multiple of the turning frequency is averaged over whole turns. "
        "Small known masses on the rotor then say how much unbalance the vibration once a turn means; what several "
        "of them leave over is the repeatability. Residual unbalance belongs to the rotor, the spectrum to motor and "
        "stand."
    ),
    equations=(
        "a(angle) = sum_k Re(V_k exp(i k angle))",
        "V_1 / w^2 = W + H U_t by complex least squares over all runs; U_res = |W / H|",
        "one trial run: U_res = |U_t V_0 / (V_1 - V_0)|",
        "e = U / m,  G = e w",
    ),
    sources=(
        "Influence coefficients in one plane, textbook knowledge of field balancing [from memory]",
        "ISO 21940-11 (residual unbalance, balance quality) [from memory]",
        "JCGM 101:2008 (propagation by trials)",
    ),
    history=(Change("1.0", "First version."),),
    cautions=("arming", "guards", "eyes_and_ears", "trial_masses", "lithium"),
)

ROTOR_PARTS: Final = ("rotor", "bell")
"""Parts whose mass stands for the rotor's, the first that was weighed."""


def gather(test: Any, bench: Bench) -> VibrationRun:
    """Return a vibration test as typed input: the bare rotor's log and those with trial masses.

    Raises
    ------
    InputError
        If a log cannot be read, or the rig has no instrument for the mass or radius of a trial mass.
    MethodError
        If a log has no acceleration or no marks.
    """
    masses = [figure_of(weighing, "mass", test.sample, bench, {"part": part}) for part in ROTOR_PARTS]
    return VibrationRun(
        sample=test.sample,
        logs=tuple(
            _log(run, trial, bench) for run, trial in zip(test.runs, (None, *_trials(test, bench)), strict=True)
        ),
        rotor_mass=next((mass.quantity for mass in masses if mass is not None), None),
        named_orders=_named_orders(bench),
    )


def _log(run: Any, trial: TrialMass | None, bench: Bench) -> ShakeLog:
    log, occasion = bench.read_log(run), bench.occasion(run)
    if missing := [name for name in ("once_per_turn", "acceleration") if name not in log.channels]:
        message = f"the log's layout maps no {' and no '.join(missing)}; add it to logs: vibration: of the rig file"
        raise MethodError(occasion.run, message)
    channels = log.channels
    return ShakeLog(channels["time"], channels["once_per_turn"], channels["acceleration"], trial, occasion)


def _trials(test: Any, bench: Bench) -> tuple[TrialMass, ...]:
    return tuple(
        TrialMass(
            unbalance=combine(
                lambda mass, radius: mass * radius,
                _read("mass", "mass", each.mass, test, bench),
                _read("length", "radius", each.radius, test, bench),
            ),
            angle=_centre(each.angle),
            words=f"{_words(each.mass)} at {_words(each.radius)}, {_words(each.angle)}",
        )
        for each in test.trial_masses
    )


def _read(measures: str, field: str, written: Any, test: Any, bench: Bench) -> Quantity:
    """Return mass or radius; the same words name the same thing, so a mass that is moved about errs the same."""
    return bench.read(measures, written, test, f"trial {field} {_words(written)}", field)


def _centre(angle: Any) -> float:
    """Return an angle, rad. Its own uncertainty turns the vector; what it does to the size shows from run to run."""
    return float(angle.value.si if hasattr(angle, "standard") else angle.si)


def _words(written: Any) -> str:
    return str(written.value.text if hasattr(written, "standard") else written.text)


def _named_orders(bench: Bench) -> tuple[tuple[int, str], ...]:
    specimen = required(bench.campaign.specimen)
    named = [(1, "once a turn: unbalance"), (2, "twice a turn")]
    if specimen.pole_pairs:
        named += [(specimen.pole_pairs, "pole pairs"), (2 * specimen.pole_pairs, "poles")]
    slots = str(specimen.design.get("slots", ""))
    if slots.isdecimal():
        named.append((int(slots), "slots"))
    return tuple(named)


def reduce(inputs: Sequence[VibrationRun], bench: Bench) -> Reduction:
    """Return the residual unbalance of every sample, and how the stand shakes by orders.

    Parameters
    ----------
    inputs : sequence of VibrationRun
        The tests that count.
    bench : Bench
        Speeds the lab quotes, trials, coverage.

    Returns
    -------
    Reduction
        ``residual_unbalance`` at ``speed`` where there were trial masses; spectrum, vectors, tables.

    Raises
    ------
    MethodError
        If a log has too few marks.
    """
    runs = [reduce_run(run, bench.trials) for run in inputs]
    found, remarks = figures_of(runs, bench.lab.operating_points.speed, METHOD.label)
    charts, tables = views(runs, bench.lab.coverage)
    return Reduction(found, charts, tables, (*(r for run in runs for r in run.remarks), *remarks))
