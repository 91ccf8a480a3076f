"""From fitted steps to figures: means over steps, with their scatter and the frame of the log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError, Remark
from benchproof.methods.records import Figure
from benchproof.methods.sanity import judged
from benchproof.methods.steps.checks import fault_of, fault_of_fit, remarks_of
from benchproof.methods.steps.fit import fit_step
from benchproof.methods.steps.run import steps_of, ways
from benchproof.trials.distributions import NORMAL, RECTANGULAR, student
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Quantity, combine, mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.methods.steps.fit import StepFit
    from benchproof.methods.steps.run import Step, StepRun
    from benchproof.trials.engine import Trials

FEWEST: Final = 4
"""Steps that carry their own scatter."""

FREE: Final = 0.15
"""Steps whose dead times scatter by less than this share of a frame's variance keep time with the frames."""

Group = tuple[str, str, tuple[tuple[str, str], ...]]
"""Sample, step, and the propeller where a sample has more than one."""


@dataclass(frozen=True, slots=True)
class ReducedSteps:
    """A log with its fitted steps.

    Parameters
    ----------
    run : StepRun
        What went in.
    fits : tuple of StepFit
        The steps that count.
    left_out : tuple
        Steps that do not, each with the code of the reason.
    """

    run: StepRun
    fits: tuple[StepFit, ...]
    left_out: tuple[tuple[Step, str], ...]

    def of(self, way: str) -> tuple[StepFit, ...]:
        """Return the fits of one way."""
        return tuple(fit for fit in self.fits if fit.step.way == way)

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """Return what a reader must know."""
        return tuple(remarks_of(self.run, self.left_out, self.fits))


def reduce_run(run: StepRun) -> ReducedSteps:
    """Find and fit the steps of one log.

    Raises
    ------
    MethodError
        If the log has no step between the stated throttles.
    """
    steps = steps_of(run)
    if not steps:
        message = (
            f"no step from {run.words[0]} to {run.words[1]} or back in the log; look at `from:` and `to:`, and hold "
            "each throttle for at least eight rows"
        )
        raise MethodError(run.occasion.run, message)
    fits: list[StepFit] = []
    left_out: list[tuple[Step, str]] = []
    for step in steps:
        fit, code = _tried(run, step)
        if fit is not None and not code:
            fits.append(fit)
        else:
            left_out.append((step, code))
    return ReducedSteps(run, tuple(fits), tuple(left_out))


def _tried(run: StepRun, step: Step) -> tuple[StepFit | None, str]:
    if code := fault_of(run, step):
        return None, code
    try:
        fit = fit_step(run, step)
    except ValueError:
        return None, "not_fitted"
    return fit, fault_of_fit(fit)


def figures_of(
    runs: Sequence[ReducedSteps], trials: Trials, method: str
) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return dead time and time constant of every sample and way, repeats combined, and remarks on them."""
    figures: list[Figure] = []
    for (sample, way, where), group in grouped(runs).items():
        at = {"step": way, **dict(where)}
        for name in ("time_constant", "dead_time"):
            figure = Figure(name, at, sample, None, method)
            found = [each for run in group if (each := _quantity(run, way, name, trials)) is not None]
            codes = [code for run in group for step, code in run.left_out if step.way == way]
            figures.append(_with_value(figure, found, codes))
    kept, remarks = judged(figures)
    return kept, (*_few(runs), *remarks)


def _with_value(figure: Figure, found: Sequence[Quantity], codes: Sequence[str]) -> Figure:
    if found:
        return Figure(figure.name, figure.at, figure.sample, mean(*found), figure.method)
    return figure.withheld(codes[0]) if codes else figure.flagged("not_reached")


def grouped(runs: Sequence[ReducedSteps]) -> Mapping[Group, list[ReducedSteps]]:
    """Return the runs by sample and way, and by propeller where a sample ran more than one.

    The stated way is always there; the way back where a log has it.
    """
    propellers: dict[str, set[str]] = {}
    for each in runs:
        propellers.setdefault(each.run.sample, set()).add(each.run.propeller)
    groups: dict[Group, list[ReducedSteps]] = {}
    for each in runs:
        several = len(propellers[each.run.sample]) > 1
        where = (("propeller", each.run.propeller or "none"),) if several else ()
        there, back = (words for words, _, _ in ways(each.run))
        seen = {step.way for step, _ in each.left_out} | {fit.step.way for fit in each.fits}
        for way in (there, back) if back in seen else (there,):
            groups.setdefault((each.run.sample, way, where), []).append(each)
    return groups


def _quantity(each: ReducedSteps, way: str, name: str, trials: Trials) -> Quantity | None:
    fits = each.of(way)
    if not fits:
        return None
    place = 0 if name == "dead_time" else 1
    values = [fit.dead_time if name == "dead_time" else fit.time_constant for fit in fits]
    own = [fit.own[place] for fit in fits]
    run = each.run
    identity = (run.occasion.campaign, run.occasion.run, "steps", way, name)
    found = averaged(values, own, identity, f"scatter of steps, {run.occasion.run}", trials)
    if name == "dead_time" and in_step(values, own, run.frame):
        label = f"frame of the log, {run.occasion.run}"
        source = Source((run.occasion.campaign, run.occasion.run, "frame"), label, RECTANGULAR)
        found = combine(np.add, found, Quantity.of(0.0, run.frame / 12**0.5, source, trials))
    return found


def averaged(
    values: Sequence[float], own: Sequence[float], identity: tuple[str, ...], label: str, trials: Trials
) -> Quantity:
    """Return the mean over steps.

    Parameters
    ----------
    values, own : sequence of float
        Fitted values and what the scatter of the rows makes of each, as standard uncertainty.
    identity : tuple of str
        Names the scatter as a source.
    label : str
        Words for it.
    trials : Trials
        The laboratory's trials.

    Returns
    -------
    Quantity
        From four steps on their own scatter counts, with Student's t; with fewer, that of the fitted rows.
    """
    count = len(values)
    if count >= FEWEST:
        standard, shape = float(np.std(values, ddof=1)) / count**0.5, student(count - 1)
    else:
        standard, shape = float(np.linalg.norm(own)) / count, NORMAL
    return Quantity.of(float(np.mean(values)), standard, Source(identity, label, shape), trials)


def in_step(values: Sequence[float], own: Sequence[float], frame: float) -> bool:
    """Say whether commands may have kept time with the rows.

    A command falls somewhere between two rows. Where it falls at random, the dead times of the steps scatter by a frame
    over the square root of twelve, that scatter is counted, and the mean over steps averages it out. Where they scatter
    by less, each command may fall at the same place of its frame, and averaging helps nothing: the frame then counts
    whole.
    """
    if len(values) < FEWEST:
        return True
    beyond = float(np.var(values, ddof=1)) - float(np.mean(np.square(own)))
    return beyond < FREE * frame**2 / 12


def _few(runs: Sequence[ReducedSteps]) -> Iterator[Remark]:
    for each in runs:
        for way in dict.fromkeys(fit.step.way for fit in each.fits):
            count = len(each.of(way))
            if count < FEWEST:
                sentence = (
                    f"{count} of the {FEWEST} steps {way} that would show their own scatter: only the scatter of the "
                    "rows counts, and what differs from step to step is not in the interval"
                )
                yield Remark("few_steps", each.run.occasion.run, sentence)
