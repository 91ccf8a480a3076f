"""Spin-up of a flywheel of known inertia: torque, shaft power and efficiency against speed, and the peak torque."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from benchproof.errors import Remark
from benchproof.methods.method import Change, Method
from benchproof.methods.records import Reduction
from benchproof.methods.spin.checks import energy_problem, motion_problem, remarks_of, started_late
from benchproof.methods.spin.figures import Group, figures_of
from benchproof.methods.spin.logs import spin_run
from benchproof.methods.spin.motion import motion_of
from benchproof.methods.spin.together import spun
from benchproof.methods.spin.views import views

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.bench import Bench
    from benchproof.methods.spin.motion import SpinRun

METHOD: Final = Method(
    key="flywheel_run",
    version="1.2",
    title="Flywheel run",
    order=60,
    summary=(
        "The motor spins up a disc of known inertia at full command. The torque is what accelerates disc and rotor, "
        "and what the air takes from the disc; the motor's own drag is not added, so it is the torque the shaft would "
        "deliver in a steady state at that speed. It is read at the stated speeds, with the supply's voltage as it was."
    ),
    equations=(
        "T = (J_flywheel + J_rotor) dw/dt + T_windage of the flywheel",
        "dw/dt from local polynomials on the log's stamps; H is 1/1.5 of the widest window that narrower ones bear out",
        "inside a window dw/dt has the shape of the winding current x, U I = c x (w + w_s x); its size is the motion's",
        "P_shaft = T w,  eta = T w / (U I), channels brought to one time by their stated lags",
        "bias of the window: 1.14 times what lies between the results at H and 1.5 H beyond noise, as around a corner",
        "peak torque: maximum of the curve less its upward bias, the bias by parametric bootstrap",
    ),
    sources=(
        "Newton's second law for rotation",
        "Savitzky, Golay: Analytical Chemistry 36 (1964) 1627 (local polynomials) [from memory]",
        "Goldenshluger, Lepski: Annals of Statistics 39 (2011) 1608 (choice of the window) [from memory]",
        "Hall: Annals of Statistics 20 (1992) 675 (one step narrower, for intervals that hold) [from memory]",
        "Schlichting: Boundary-Layer Theory (drag of a rotating disc) [from memory]",
        "Jardin, Mueller: AIAA 2007-6822 (bifilar pendulum) [read in secondary sources]",
        "JCGM 101:2008 (propagation by trials)",
    ),
    history=(
        Change(
            "1.2",
            "The bias of a window is stated as the root mean square it has around a corner; the noise of the speed "
            "counts for each figure as far as ratio and power move it; one narrow window that lies off by chance rules "
            "out all wider ones half as often. Intervals of simulated logs at 100 Hz are narrower by a sixth at the "
            "knee, a tenth beyond it, 3 % on the plateau; values move by 0.01 % in the mean, and by some per cent in "
            "the one figure of some hundreds whose window had been far too narrow.",
        ),
        Change(
            "1.1",
            "Windows are not chosen by chance any more, and are one step narrower than the widest that agree; noise is "
            "not counted again as their bias; the noise of the speed itself counts. On simulated benches torque moves "
            "by 0.05 % in the middle and by up to some per cent where a window had been far too narrow.",
        ),
        Change("1.0", "First version."),
    ),
    cautions=("flywheel", "arming", "guards", "eyes_and_ears", "high_current", "hot_parts", "lithium"),
)


def gather(test: Any, bench: Bench) -> SpinRun:
    """Return a flywheel run of the campaign as typed input.

    Raises
    ------
    InputError
        If the log or the rig cannot give what the test needs.
    """
    return spin_run(test, bench)


def reduce(inputs: Sequence[SpinRun], bench: Bench) -> Reduction:
    """Return the figures of all flywheel runs of a campaign.

    Parameters
    ----------
    inputs : sequence of SpinRun
        The runs that count.
    bench : Bench
        The lab's speeds, coverage and trials.

    Returns
    -------
    Reduction
        ``torque``, ``shaft_power``, ``motor_efficiency`` at speed and ``peak_torque`` for each sample; curves; tables
        of runs, of windows, of flywheels.
    """
    several = _flywheels_by_sample(inputs)
    groups: list[Group] = []
    remarks: list[Remark] = []
    for sample, flywheel in dict.fromkeys((run.sample, run.disc.name) for run in inputs):
        runs = [run for run in inputs if (run.sample, run.disc.name) == (sample, flywheel)]
        where = {"flywheel": flywheel} if len(several[sample]) > 1 else {}
        group, found = _reduced(runs, where, bench)
        groups.append(group)
        remarks += found
    figures, more = figures_of(groups, bench, METHOD.label)
    charts, tables = views(groups, bench)
    return Reduction(figures, charts, tables, (*remarks, *more))


def _flywheels_by_sample(inputs: Sequence[SpinRun]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for run in inputs:
        found.setdefault(run.sample, set()).add(run.disc.name)
    return found


def _reduced(runs: Sequence[SpinRun], where: dict[str, str], bench: Bench) -> tuple[Group, list[Remark]]:
    """Reduce a sample's runs on one flywheel, or say why they give no figure."""
    motions = tuple(motion_of(run) for run in _alike(runs))
    remarks = [remark for motion in motions for remark in motion.remarks]
    late = [remark for remark in map(started_late, motions) if remark is not None]
    code = ""
    for motion in motions:
        problem, found = motion_problem(motion)
        code = code or problem
        remarks += found
    if runs[0].rotor is None:
        code = code or "no_rotor_inertia"
        remarks.append(_without_rotor(runs[0]))
    if code:
        return Group(runs[0].sample, runs[0].disc.name, where, None, code, bool(late), motions), remarks + late
    reduced = spun(motions, [written.si for written in bench.lab.operating_points.speed], bench.trials)
    for run in reduced.runs:
        problem, found = energy_problem(reduced, run)
        code = code or problem
        remarks += found
    remarks += [*late, *remarks_of(reduced)]
    spun_or_not = None if code else reduced
    group = Group(runs[0].sample, runs[0].disc.name, where, spun_or_not, code, bool(late), motions)
    return group, remarks


def _alike(runs: Sequence[SpinRun]) -> Sequence[SpinRun]:
    """Return the runs without their power where not all of them logged it: one curve is made of all."""
    if all(run.electrical for run in runs):
        return runs
    electrical = {"voltage", "current"}
    return [
        replace(run, channels={name: values for name, values in run.channels.items() if name not in electrical})
        for run in runs
    ]


def _without_rotor(run: SpinRun) -> Remark:
    sentence = (
        f"no test of sample {run.sample} states its rotor_inertia. The rotor turns with the flywheel, and without its "
        "share the torque would be too low by a few per cent and differently for every motor, so it is withheld; "
        "swing the stripped bell on two wires, or state its inertia with an uncertainty"
    )
    return Remark("no_rotor_inertia", f"sample {run.sample}", sentence)
