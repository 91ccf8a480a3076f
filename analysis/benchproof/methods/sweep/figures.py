"""Figures of a campaign's sweeps at the lab's operating points, repeats combined."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.records import Figure
from benchproof.methods.sanity import judged
from benchproof.methods.sweep.curves import Reading
from benchproof.methods.sweep.propeller import READ_AT
from benchproof.trials.quantity import Quantity, combine, mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.methods.bench import Bench
    from benchproof.methods.sweep.run import ReducedRun

DISAGREE: Final = 3.0
"""Repeats further apart than this many standard uncertainties of their difference are remarked on."""


BEYOND: Final = "beyond_calibration"
"""Flag of a figure read where an instrument was not calibrated."""

JUDGED: Final = ("thrust", "electrical_power")
"""The figure repeats are judged by: one remark for a disagreement is enough."""

Group = tuple[str, tuple[tuple[str, str], ...]]
"""Sample, and what tells its runs apart: the propeller, where a sample has more than one."""


def figures_of(runs: Sequence[ReducedRun], bench: Bench, method: str) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return every figure the runs can give, by sample and operating point, and remarks on them.

    Parameters
    ----------
    runs : sequence of ReducedRun
        All runs that count.
    bench : Bench
        For the lab's operating points.
    method : str
        ``key/version``.

    Returns
    -------
    tuple
        Figures, repeats of a sample combined to their mean; and remarks.
    """
    figures: list[Figure] = []
    remarks: list[Remark] = []
    for (sample, where), repeats in grouped(runs).items():
        for axis, names in READ_AT.items():
            points = [({**at, **dict(where)}, place) for on, at, place in operating_points(bench) if on == axis]
            able = {name: [run for run in repeats if _can_read(run, name, axis)] for name in names}
            read = [_along(name, axis, points, sample, runs, method) for name, runs in able.items() if runs]
            for figure, found in (each for at_one_place in zip(*read, strict=True) for each in at_one_place):
                figures.append(figure)
                remarks.extend(_disagreement(figure, found) if (figure.name, axis) == JUDGED else ())
    kept, unusual = judged(figures)
    return kept, (*remarks, *unusual)


def figures_at(
    runs: Sequence[ReducedRun], name: str, axis: str, at: Mapping[str, str], place: float, method: str
) -> tuple[Figure, ...]:
    """Return one figure at one place of an axis (SI), a sample each, whether the lab quotes that place or not."""
    found = []
    for (sample, where), repeats in grouped(runs).items():
        able = [run for run in repeats if _can_read(run, name, axis)]
        if able:
            found.append(_along(name, axis, [({**at, **dict(where)}, place)], sample, able, method)[0][0])
    return tuple(found)


def grouped(runs: Sequence[ReducedRun]) -> dict[Group, list[ReducedRun]]:
    """Return the runs by sample, and by propeller where a sample ran more than one."""
    propellers: dict[str, set[str]] = {}
    for each in runs:
        propellers.setdefault(each.run.sample, set()).add(each.run.propeller)
    groups: dict[Group, list[ReducedRun]] = {}
    for each in runs:
        several = len(propellers[each.run.sample]) > 1
        where = (("propeller", each.run.propeller),) if several else ()
        groups.setdefault((each.run.sample, where), []).append(each)
    return groups


def operating_points(bench: Bench) -> Iterator[tuple[str, Mapping[str, str], float]]:
    """Yield the lab's operating points a sweep is read at: axis, words, SI value."""
    for axis in READ_AT:
        for written in getattr(bench.lab.operating_points, axis):
            yield axis, {axis: written.text}, written.si


def _can_read(each: ReducedRun, name: str, axis: str) -> bool:
    return each.curves.available(name) and each.curves.axis_available(axis)


def _along(
    name: str,
    axis: str,
    points: Sequence[tuple[Mapping[str, str], float]],
    sample: str,
    runs: Sequence[ReducedRun],
    method: str,
) -> list[tuple[Figure, list[Quantity]]]:
    """Return a figure at points of an axis (in words, and SI), and what each repeat gave there."""
    codes = [run.withheld.get(axis) or run.withheld.get(name) for run in runs]
    flags = ("air_referred",) if any(run.points.reference_density is not None for run in runs) else ()
    figures = [Figure(name, at, sample, None, method, flags) for at, _ in points]
    if any(codes):
        code = next(code for code in codes if code)
        return [(figure.withheld(code), []) for figure in figures]
    places = [place for _, place in points]
    readings = zip(*(_read(run, name, axis, places) for run in runs), strict=True)
    return [
        _combined(figure, axis, place, runs, repeats)
        for figure, place, repeats in zip(figures, places, readings, strict=True)
    ]


def _combined(
    figure: Figure, axis: str, place: float, runs: Sequence[ReducedRun], readings: Sequence[Reading]
) -> tuple[Figure, list[Quantity]]:
    """Return a figure as the mean of its repeats' readings, and what each gave."""
    found = [reading.quantity for reading in readings if reading.quantity is not None]
    if found:
        if any(run.beyond[run.curves.neighbours(axis, place)].any() for run in runs):
            figure = figure.flagged(BEYOND)
        return replace(figure, quantity=mean(*found)), found
    problem = readings[0].problem
    return (figure.flagged(problem) if problem == "not_reached" else figure.withheld(problem)), []


def _read(each: ReducedRun, name: str, axis: str, places: Sequence[float]) -> tuple[Reading, ...]:
    try:
        return each.curves.read(name, axis, places)
    except ValueError:  # the smoother needs four steps at three places
        return (Reading(None, "too_few_plateaus"),) * len(places)


def _disagreement(figure: Figure, repeats: Sequence[Quantity]) -> list[Remark]:
    """Remark on repeats further apart than their own uncertainties allow."""
    for one, other in combinations(repeats, 2):
        apart = combine(np.subtract, one, other)
        if abs(apart.value) > DISAGREE * apart.standard_uncertainty > 0:
            point = ", ".join(figure.at.values())
            sentence = (
                f"repeats of {figure.name} at {point} differ by {abs(apart.value / one.value):.2%}, more than "
                f"{DISAGREE:g} times what the stated sources allow; the propeller's stated reseat may be too small"
            )
            return [Remark("repeats_disagree", f"sample {figure.sample}", sentence)]
    return []
