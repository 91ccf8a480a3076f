"""From a soak's nodes and losses to figures: thermal resistance, slow time constant, continuous current."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.constants.copper import resistance_ratio
from benchproof.methods.records import Figure
from benchproof.methods.sanity import judged
from benchproof.methods.soak.checks import begins_warm, fault_of, remarks_of
from benchproof.methods.soak.loss import losses_of
from benchproof.methods.soak.nodes import fit_nodes, sensitivities
from benchproof.methods.soak.run import binned, loaded_means
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, joint_parts, mean, merge_parts
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.soak.loss import Losses
    from benchproof.methods.soak.nodes import Nodes
    from benchproof.methods.soak.run import Binned, SoakRun
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

NAMES: Final = ("thermal_resistance", "thermal_time_constant", "continuous_current")

MISSING: Final = {
    "resistance": ("no_resistance", "a winding_resistance test"),
    "torque_constant": ("no_torque_constant", "a no_load test, which gives the torque constant"),
    "drag_torque": ("no_drag", "a no_load test whose points reach the speed of the soak, which gives the drag"),
}
"""What a soak needs of other tests: code where it is missing, and where it comes from."""


@dataclass(frozen=True, slots=True)
class ReducedSoak:
    """A soak, reduced.

    Parameters
    ----------
    run : SoakRun
        What went in.
    log : Binned
        Its means over equal stretches.
    losses : Losses or None
        None where resistance, torque constant or drag is not known.
    nodes : Nodes or None
        None where nothing could be fitted.
    figures : Mapping of str to Quantity or str
        Each figure, or why there is none as a code.
    remarks : tuple of Remark
        What a reader must know.
    """

    run: SoakRun
    log: Binned
    losses: Losses | None
    nodes: Nodes | None
    figures: Mapping[str, Quantity | str]
    remarks: tuple[Remark, ...]


@single_threaded()
def reduce_run(run: SoakRun, trials: Trials) -> ReducedSoak:
    """Return what one soak comes to.

    Raises
    ------
    MethodError
        If the log holds no load.
    """
    log = binned(run)
    missing = [name for name in MISSING if getattr(run.constants, name) is None]
    if missing:
        return _without(run, log, None, MISSING[missing[0]][0], _missing(run, missing))
    warm = begins_warm(run, log)
    losses = losses_of(run, log, trials)
    if warm:
        sentence = f"the winding is {warm:+.1f} K off the air before the load: let the motor stand until it is not"
        return _without(run, log, losses, "not_cold_at_start", Remark("not_cold_at_start", run.occasion.run, sentence))
    try:
        nodes = fit_nodes(log, losses.total)
    except ValueError as error:
        return _without(run, log, losses, "nodes_not_fitted", Remark("nodes_not_fitted", run.occasion.run, f"{error}"))
    fault = fault_of(log, nodes)
    remarks = list(remarks_of(run, log, nodes, fault))
    if fault:
        return ReducedSoak(run, log, losses, nodes, dict.fromkeys(NAMES, fault), tuple(remarks))
    found: dict[str, Quantity | str] = dict(_fitted(run, log, losses, nodes, trials))
    current, more = _continuous(run, losses, found, trials)
    return ReducedSoak(run, log, losses, nodes, {**found, "continuous_current": current}, (*remarks, *more))


def _without(run: SoakRun, log: Binned, losses: Losses | None, code: str, remark: Remark) -> ReducedSoak:
    return ReducedSoak(run, log, losses, None, dict.fromkeys(NAMES, code), (remark,))


def _missing(run: SoakRun, names: Sequence[str]) -> Remark:
    needed = dict.fromkeys(MISSING[name][1] for name in names)
    sentence = (
        "what the motor loses as heat is not known, so there is no thermal resistance: sample "
        f"{run.sample} needs {' and '.join(needed)}"
    )
    return Remark("loss_unknown", run.occasion.run, sentence)


def _fitted(run: SoakRun, log: Binned, losses: Losses, nodes: Nodes, trials: Trials) -> Iterator[tuple[str, Quantity]]:
    """Yield thermal resistance and slow time constant, all sources of error in them."""
    size = nodes.fit.coefficients.size
    identity = (run.occasion.campaign, run.occasion.run, "nodes")
    scatter = joint_parts(trials, identity, f"scatter of the heating, {run.occasion.run}", size, float(nodes.fit.df))
    root = np.linalg.cholesky(nodes.covariance + np.eye(size) * 1e-300)
    drawn = nodes.fit.coefficients[:, None] + root @ np.stack([part.draws for part in scatter])
    by_copper, by_drag, by_tilt = sensitivities(log, nodes, losses.total, (losses.copper, losses.drag, losses.tilt))
    # A share of the losses that is truly larger makes resistances smaller, and moves time constants a little.
    tilt = Source((*identity, "tilt"), f"jitter of the current reading, {run.occasion.run}", NORMAL)
    moved = by_copper[:, None] * np.log(losses.copper_factor) + by_drag[:, None] * np.log(losses.drag_factor)
    moved = moved + by_tilt[:, None] * trials.draw(tilt)
    drawn = drawn * np.exp(moved)
    stretch, thermometers = _stretch(run, trials)
    parts = merge_parts((losses.parts, thermometers, scatter, (Part(tilt, trials.draw(tilt)),)))
    yield "thermal_resistance", Quantity(float(nodes.resistances.sum()), drawn[:-1:2].sum(axis=0) * stretch, parts)
    yield "thermal_time_constant", Quantity(nodes.slow, drawn[-2], parts)


def _stretch(run: SoakRun, trials: Trials) -> tuple[FloatArray, tuple[Part, ...]]:
    """Return what the rise under load may truly be, relative to the reading, by trial, and its sources."""
    names = ("winding_temperature", "air_temperature")
    indicated = loaded_means(run)
    true = {name: run.instruments[name].true_trials(indicated[name], run.occasion, trials)[0] for name in names}
    best = {name: float(run.instruments[name].corrected(indicated[name])[0]) for name in names}
    apart = (true[names[0]] - true[names[1]]) / (best[names[0]] - best[names[1]])
    return apart, merge_parts(run.instruments[name].parts(run.occasion, trials) for name in names)


def _continuous(
    run: SoakRun, losses: Losses, found: Mapping[str, Quantity | str], trials: Trials
) -> tuple[Quantity | str, tuple[Remark, ...]]:
    """Return the current that holds the winding at the limit, or why there is none as a code.

    ``I = sqrt(((t_max - t_air) / R_th - P_drag) / R(t_max))``: the winding's current, which is that of the supply at
    full duty, with the drag, the air and the airflow of the run.
    """
    resistance, path = run.constants.resistance, found["thermal_resistance"]
    if run.limit is None:
        sentence = 'no `limit:` is stated, so there is no continuous current; state limit: "100 degC" or what applies'
        return "no_limit", (Remark("no_limit", run.occasion.run, sentence),)
    if resistance is None or isinstance(path, str):
        return "loss_unknown", ()
    thermometer = run.instruments["air_temperature"]
    reading = loaded_means(run)["air_temperature"]
    air = thermometer.true_trials(reading, run.occasion, trials)[0]
    nominal = float(thermometer.corrected(reading)[0])

    best = (run.limit - nominal) / path.value - losses.drag_power.value
    drawn = (run.limit - air) / path.trials - losses.drag_power.trials
    if best <= 0 or np.any(drawn <= 0):
        sentence = (
            f"the drag alone warms the winding to about {run.limit_words} in this airflow: no current keeps it there"
        )
        return "limit_below_drag", (Remark("limit_below_drag", run.occasion.run, sentence),)
    value = float(np.sqrt(best / (resistance.value * resistance_ratio(run.limit))))
    by_trial = np.sqrt(drawn / (resistance.trials * resistance_ratio(run.limit)))
    own = thermometer.parts(run.occasion, trials)
    return Quantity(value, by_trial, merge_parts((path.parts, losses.drag_power.parts, resistance.parts, own))), ()


def figures_of(runs: Sequence[ReducedSoak], method: str) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return the figures of every sample, repeats combined, and remarks on them."""
    figures: list[Figure] = []
    remarks: list[Remark] = []
    for (sample, where), group in grouped(runs).items():
        figures += [_figure(Figure(name, dict(where), sample, None, method), group) for name in NAMES]
        if len({each.run.limit for each in group if each.run.limit is not None}) > 1:
            sentence = "runs of one sample state different limits: their continuous currents do not combine"
            remarks.append(Remark("limits_differ", f"sample {sample}", sentence))
    kept, found = judged(figures)
    return kept, (*remarks, *found)


def grouped(
    runs: Sequence[ReducedSoak],
) -> Mapping[tuple[str, tuple[tuple[str, str], ...]], list[ReducedSoak]]:
    """Return the runs by sample, and by propeller and airflow where a sample has more than one."""
    groups: dict[tuple[str, tuple[tuple[str, str], ...]], list[ReducedSoak]] = {}
    for each in runs:
        own = [other.run for other in runs if other.run.sample == each.run.sample]
        where = [("propeller", each.run.propeller or "none")] if len({o.propeller for o in own}) > 1 else []
        where += [("airflow", each.run.airflow)] if len({o.airflow for o in own}) > 1 else []
        groups.setdefault((each.run.sample, tuple(where)), []).append(each)
    return groups


def _figure(figure: Figure, group: Sequence[ReducedSoak]) -> Figure:
    limits = {each.run.limit for each in group if each.run.limit is not None}
    if figure.name == "continuous_current" and len(limits) > 1:
        return figure.withheld("limits_differ")
    found = [each.figures[figure.name] for each in group]
    known = [each for each in found if isinstance(each, Quantity)]
    if known:
        return Figure(figure.name, figure.at, figure.sample, mean(*known), figure.method)
    return figure.withheld(next(each for each in found if isinstance(each, str)))
