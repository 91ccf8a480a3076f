"""Figures of vibration tests: residual unbalance at the lab's speeds, repeats combined."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from benchproof.errors import Remark
from benchproof.methods.balance.checks import between_tests, fault_of, remarks_of
from benchproof.methods.balance.influence import influence_of
from benchproof.methods.balance.run import orders_of
from benchproof.methods.records import Figure
from benchproof.methods.sanity import judged
from benchproof.nomenclature import RPM
from benchproof.trials.quantity import mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.campaign.units import Measured
    from benchproof.methods.balance.influence import Influence
    from benchproof.methods.balance.run import Orders, VibrationRun
    from benchproof.trials.engine import Trials

NEAR: Final = 0.02
"""A run this near to one of the lab's speeds, relatively, was made at it."""


@dataclass(frozen=True, slots=True)
class ReducedVibration:
    """A vibration test, reduced.

    Parameters
    ----------
    run : VibrationRun
        What went in.
    orders : tuple of Orders
        One a log, the bare rotor's first.
    influence : Influence or None
        Residual unbalance; None without trial masses, or where it is withheld.
    fault : str
        Why it is withheld, as a code.
    remarks : tuple of Remark
        What a reader must know.
    """

    run: VibrationRun
    orders: tuple[Orders, ...]
    influence: Influence | None
    fault: str
    remarks: tuple[Remark, ...]

    @property
    def speed(self) -> float:
        """Mean speed of the bare rotor's log, rad/s."""
        return self.orders[0].turns.speed

    @property
    def tried(self) -> bool:
        """Whether there were trial masses."""
        return len(self.orders) > 1


def reduce_run(run: VibrationRun, trials: Trials) -> ReducedVibration:
    """Return one test's orders and residual unbalance.

    Raises
    ------
    MethodError
        If a log has too few marks.
    """
    orders = tuple(orders_of(log) for log in run.logs)
    remarks = list(remarks_of(orders))
    if len(orders) == 1:
        sentence = "no trial masses: the spectrum by orders is shown, and the residual unbalance stays unknown"
        return ReducedVibration(run, orders, None, "", (*remarks, Remark("no_trial_masses", run.where, sentence)))
    fault = fault_of(orders)
    if fault:
        return ReducedVibration(run, orders, None, fault, tuple(remarks))
    try:
        found = influence_of(orders, trials)
    except ValueError:
        return ReducedVibration(run, orders, None, "trial_mass_without_effect", tuple(remarks))
    remarks += _of_influence(found, run.where)
    largest = max(log.trial.unbalance.value for log in run.logs if log.trial is not None)
    if found.detectable > largest:
        return ReducedVibration(run, orders, None, "trial_mass_without_effect", tuple(remarks))
    fault = "below_detectable" if found.unbalance.value < found.detectable else ""
    return ReducedVibration(run, orders, found, fault, tuple(remarks))


def _of_influence(found: Influence, where: str) -> Iterator[Remark]:
    if not found.repeated:
        sentence = (
            "one trial run: only the scatter inside the runs counts, and what differs from run to run is not in the "
            "interval; two or three trial runs would show it"
        )
        yield Remark("no_repeatability", where, sentence)
    if found.unbalance.value < found.detectable:
        sentence = (
            f"the residual unbalance is less than the {found.detectable * 1e9:.2g} mg mm that this set can detect"
        )
        yield Remark("below_detectable", where, sentence)


def figures_of(
    runs: Sequence[ReducedVibration], speeds: Sequence[Measured], method: str
) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return the residual unbalance of every sample at every speed of the lab, and remarks."""
    figures = []
    remarks: list[Remark] = []
    for sample, group in _tried(runs).items():
        for speed in speeds:
            near = [each for each in group if abs(each.speed / speed.si - 1) <= NEAR]
            figures.append(_figure(sample, speed.text, near, method))
        remarks += [r for other in group[1:] for r in between_tests(group[0].orders[0], other.orders[0])]
        remarks += _far(group, speeds)
    kept, found = judged(figures)
    return kept, (*remarks, *found)


def _tried(runs: Sequence[ReducedVibration]) -> Mapping[str, list[ReducedVibration]]:
    groups: dict[str, list[ReducedVibration]] = {}
    for each in runs:
        if each.tried:
            groups.setdefault(each.run.sample, []).append(each)
    return groups


def _figure(sample: str, speed: str, near: Sequence[ReducedVibration], method: str) -> Figure:
    figure = Figure("residual_unbalance", {"speed": speed}, sample, None, method)
    if not near:
        return figure.flagged("not_reached")
    found = [each.influence.unbalance for each in near if each.influence is not None and not each.fault]
    if not found:
        return figure.withheld(near[0].fault)
    return Figure(figure.name, figure.at, sample, mean(*found), method)


def _far(group: Sequence[ReducedVibration], speeds: Sequence[Measured]) -> Iterator[Remark]:
    for each in group:
        if not any(abs(each.speed / speed.si - 1) <= NEAR for speed in speeds):
            named = ", ".join(speed.text for speed in speeds) or "none"
            sentence = (
                f"the run was made at {each.speed / RPM:.0f} rpm, within {NEAR:.0%} of no speed that the lab quotes "
                f"({named}): its residual unbalance is in the table only"
            )
            yield Remark("speed_not_quoted", each.run.where, sentence)
