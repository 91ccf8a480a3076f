"""When a soak says nothing, and what a reader must know of one that does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.methods.soak.nodes import Nodes
    from benchproof.methods.soak.run import Binned, SoakRun

SLOW_TIMES: Final = 3.0
"""Slow time constants a run must last: shorter, and the end is a guess."""

RESOLVED: Final = 0.25
"""Largest relative standard uncertainty of the slow time constant of a fit that says anything."""

HOLDS: Final = 0.02
"""Largest wave of the residuals, of the rise at the end, of nodes that describe the motor."""

COLD: Final = 2.0
"""Largest difference of winding and air before the load, K."""

STEADY: Final = 0.03
"""Largest wander of the speed of a load that is held."""

FAR: Final = 2.0
"""Limits beyond this many times the rise reached are far away."""


def begins_warm(run: SoakRun, log: Binned) -> float:
    """Return how far winding and air lie apart before the load, beyond what their instruments may err, K; else 0."""
    before = ~log.loaded if np.any(~log.loaded) else log.time < 2 * log.step
    apart = log.channels["winding_temperature"] - log.channels["air_temperature"]
    first = float(np.mean(apart[before]))
    own = run.instruments["winding_temperature"], run.instruments["air_temperature"]
    offsets = 0.0
    if own[0].name != own[1].name:
        offsets = sum(e.standard**2 for each in own for e in each.errors if e.kind == "offset") ** 0.5
    return first if abs(first) > COLD + 2 * offsets else 0.0


def fault_of(log: Binned, nodes: Nodes) -> str:
    """Return why a fitted soak gives no figures, as a code; nothing where it does."""
    if log.duration < SLOW_TIMES * nodes.slow:
        return "run_too_short"
    spread = float(np.sqrt(nodes.covariance[-2, -2])) / nodes.slow
    if not spread < RESOLVED:
        return "nodes_not_resolved"
    if nodes.waving and nodes.swing > HOLDS * float(nodes.fitted[-1]):
        return "nodes_do_not_hold"
    return ""


def remarks_of(run: SoakRun, log: Binned, nodes: Nodes, fault: str) -> Iterator[Remark]:
    """Yield what a reader must know of one soak."""
    where = run.occasion.run
    reasons = {
        "run_too_short": (
            f"the load lasts {log.duration:.0f} s, less than {SLOW_TIMES:g} times the slow time constant that the fit "
            f"puts at {nodes.slow:.0f} s: where the heating ends is a guess, and no figure is given; run it longer"
        ),
        "nodes_not_resolved": (
            "the log does not settle the slow time constant to a quarter of itself: no figure is given; run it longer, "
            "with more load or a quieter thermometer"
        ),
        "nodes_do_not_hold": (
            f"what {nodes.count} thermal nodes leave over waves by {nodes.swing:.2g} K, which noise does not do: they "
            "do not describe this run, and no figure is given; look for a change of load or air, or a loose sensor"
        ),
    }
    if fault in reasons:
        yield Remark(fault, where, reasons[fault])
    speed = log.channels["speed"][log.loaded]
    wander = float(np.ptp(np.quantile(speed, (0.02, 0.98)))) / 2 / float(speed.mean())
    if wander > STEADY:
        yield Remark(
            "load_not_held", where, f"the speed wanders by {wander:.1%}, and with it the air that cools the motor"
        )
    if not run.on_resistance:
        sentence = (
            "the drive's `on_resistance:` is not stated and counts as zero: the winding's current comes out a little "
            "too large, and the thermal resistance a little too small"
        )
        yield Remark("on_resistance_missing", where, sentence)
    if nodes.count == 1 and not fault:
        sentence = "one thermal node describes the run as well as two: winding and body warm together, or one is missed"
        yield Remark("one_node", where, sentence)
    if nodes.waving and fault != "nodes_do_not_hold":
        sentence = (
            f"what the nodes leave over hangs together and waves by {nodes.swing:.2g} K; the scatter is widened for it"
        )
        yield Remark("residuals_wave", where, sentence)
    if run.limit is not None:
        asked = run.limit - float(log.channels["air_temperature"].mean())
        if asked > FAR * float(nodes.fitted[-1]):
            sentence = (
                f"the limit of {run.limit_words} is {asked:.0f} K above the air, and the run reached "
                f"{nodes.fitted[-1]:.0f} K: the continuous current is far from what was run"
            )
            yield Remark("limit_far_away", where, sentence)
