"""Reading a motor's propeller figures at a thrust that no lab quotes: what an airframe asks of it in hover."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from benchproof.findings.entrants import Entrant
from benchproof.findings.samples import with_model
from benchproof.methods.sweep.figures import figures_at
from benchproof.methods.sweep.run import reduce_run
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.findings.entrants import Settle
    from benchproof.notebooks.session import OpenBench
    from benchproof.trials.quantity import Quantity


class Hovering:
    """Reads model figures along the thrust; a `ReadAt` of the use findings.

    Parameters
    ----------
    benches : sequence of OpenBench
        The campaigns' benches.
    settle : callable
        Gives a model's quantity.
    """

    def __init__(self, benches: Sequence[OpenBench], settle: Settle) -> None:
        self._benches = {bench.bench.campaign.campaign: bench for bench in benches}
        self._runs: dict[str, tuple[Any, ...]] = {}
        self._settle = settle

    @single_threaded()
    def __call__(self, entrant: Entrant, name: str, thrust: float) -> Quantity | str:
        """Return a model's figure at a thrust (N), or why there is none."""
        bench = self._benches[entrant.name]
        section = bench.section("thrust_sweep")
        if not section.present:
            return "and no thrust sweep was run"
        if entrant.name not in self._runs:
            self._runs[entrant.name] = tuple(reduce_run(run, bench.bench.trials) for run in section.inputs)
        at = {"thrust": f"{thrust:.6g} N"}
        found = figures_at(self._runs[entrant.name], name, "thrust", at, thrust, section.method.label)
        figures = with_model(found, entrant.name, bench.bench.trials, golden=entrant.golden)
        model = next((figure for figure in figures if figure.sample is None), None)
        if model is None or model.quantity is None:
            return "which the sweeps did not reach"
        read = self._settle(Entrant(entrant.campaign, entrant.rig, figures), model)
        return read if read is not None else "which the sweeps did not reach"
