"""Response of the speed to a step of the throttle: dead time and time constant, there and back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.errors import MethodError
from benchproof.methods.method import Change, Method
from benchproof.methods.records import Reduction
from benchproof.methods.steps.figures import figures_of, reduce_run
from benchproof.methods.steps.run import StepRun
from benchproof.methods.steps.views import views

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.bench import Bench

METHOD: Final = Method(
    key="throttle_step",
    version="1.0",
    title="Throttle step",
    order=60,
    summary=(
        "The throttle jumps between two levels several times. A first-order response behind a dead time is fitted to "
        "the speed after every jump. The tachometer's own lag stands in the equation, so it counts neither as dead "
        "time nor as time constant. A command falls somewhere between two rows; the dead time counts from the middle."
    ),
    equations=(
        "n(t) = n_0 + A (1 - (tau exp(-s/tau) - lag exp(-s/lag)) / (tau - lag)),  s = t - t_d > 0",
        "t_10-90 = ln(9) tau",
        "mean over steps, u = s / sqrt(steps), Student's t; a frame / sqrt(12) more if steps keep time with rows",
    ),
    sources=(
        "Astrom, Hagglund: PID Controllers, 2nd edition, 1995 (dead time and one time constant) [from memory]",
        "IEEE Std 181 (transition duration from 10 % to 90 %) [from memory]",
        "JCGM 100:2008, 4.2 and 4.3 (scatter, limits)",
    ),
    history=(Change("1.0", "First version."),),
    cautions=("propeller", "arming", "guards", "eyes_and_ears", "high_current", "lithium"),
)


def gather(test: Any, bench: Bench) -> StepRun:
    """Return a log of throttle steps as typed input.

    Raises
    ------
    InputError
        If the log cannot be read.
    MethodError
        If the log has no throttle or no speed.
    """
    log = bench.read_log(test)
    occasion = bench.occasion(test)
    if missing := [name for name in ("throttle", "speed") if name not in log.channels]:
        message = f"the log's layout maps no {' and no '.join(missing)}; add it to logs: throttle_step: of the rig file"
        raise MethodError(occasion.run, message)
    tachometer = bench.rig.instruments[bench.channel_instrument("speed", test).name]
    return StepRun(
        sample=test.sample,
        propeller=test.propeller or "",
        start=test.start.si,
        stop=test.to.si,
        words=(test.start.text, test.to.text),
        time=log.channels["time"],
        throttle=log.channels["throttle"],
        speed=log.channels["speed"],
        others={name: log.channels[name] for name in ("current", "voltage") if name in log.channels},
        lag=tachometer.lag.si if tachometer.lag is not None else 0.0,
        occasion=occasion,
    )


def reduce(inputs: Sequence[StepRun], bench: Bench) -> Reduction:
    """Return dead time and time constant of every sample and step.

    Parameters
    ----------
    inputs : sequence of StepRun
        The logs that count.
    bench : Bench
        Trials and coverage.

    Returns
    -------
    Reduction
        ``dead_time`` and ``time_constant`` at ``step``; steps with their fits, what is left over, tables.

    Raises
    ------
    MethodError
        If a log has no step between the stated throttles.
    """
    runs = [reduce_run(run) for run in inputs]
    figures, remarks = figures_of(runs, bench.trials, METHOD.label)
    charts, tables = views(runs, figures, bench.lab.coverage)
    return Reduction(figures, charts, tables, (*(r for run in runs for r in run.remarks), *remarks))
