"""The notebook's section on losses: gathers what the tests of a sample say and shows its budget."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from IPython.display import display

from benchproof.campaign.models.base import required
from benchproof.findings.claimed_conductor import claimed_conductor, conductor_table
from benchproof.findings.loss_inputs import Known, sweep_budget
from benchproof.findings.loss_views import LABELS, METHOD, views
from benchproof.findings.losses import residual_remarks
from benchproof.methods.constants.free_run import ReducedRun
from benchproof.methods.sweep.run import reduce_run
from benchproof.notebooks.display import Shown, shown_chart, shown_method, shown_table
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Quantity, combine, mean
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.errors import Remark
    from benchproof.findings.claimed_conductor import ClaimedConductor
    from benchproof.findings.losses import LossBudget
    from benchproof.methods.bench import Bench
    from benchproof.methods.constants.free_run import FreeRun
    from benchproof.methods.records import Chart, Figure, Table
    from benchproof.methods.sweep.points import SweepRun

ZERO_CELSIUS = 273.15
ROOM = (21.0, 5.0)
"""Temperature of the air where nobody measured it, and its standard uncertainty, degC (practitioner's judgement)."""

SWEEP = "thrust_sweep"


class LossSection:
    """Where the watts go, for the samples whose tests can tell.

    Parameters
    ----------
    bench : Bench
        The campaign.
    figures : sequence of Figure
        What its tests came to.
    sweeps : sequence of SweepRun
        Its thrust sweeps, one a test that counts.
    free_runs : sequence of FreeRun
        Its runs without load.
    """

    def __init__(
        self, bench: Bench, figures: Sequence[Figure], sweeps: Sequence[SweepRun], free_runs: Sequence[FreeRun]
    ) -> None:
        self.bench = bench
        self.figures = figures
        self.sweeps = sweeps
        self.free_runs = free_runs

    @cached_property
    @single_threaded()
    def budgets(self) -> tuple[LossBudget, ...]:
        """The budget of each sample with torque, resistance, torque constant and drag; none else."""
        found = (self._budget(sample.id) for sample in required(self.bench.campaign.specimen).samples)
        return tuple(budget for budget in found if budget is not None)

    @cached_property
    def conductor(self) -> ClaimedConductor | None:
        """The conductor the campaign claims, where it is not plain copper."""
        design = required(self.bench.campaign.specimen).design
        return claimed_conductor(design, self.bench.campaign.campaign, self.bench.trials)

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """What a reader must know of the budgets and the claimed conductor."""
        coverage = self.bench.lab.coverage
        found = [r for each in self.budgets for r in residual_remarks(each, coverage, f"sample {each.sample}")]
        return (*found, *(self.conductor.remarks if self.conductor is not None and self.budgets else ()))

    def about(self) -> Shown | None:
        """Return what is done; nothing where the tests cannot tell."""
        return shown_method(METHOD, {}) if self.budgets else None

    def show(self) -> None:
        """Show the charts and tables; nothing where the tests cannot tell."""
        charts, tables = self._views
        for chart in charts:
            display(shown_chart(chart, METHOD.key, [LABELS[name] for name in LABELS if name != "shaft_power"]))
        for table in tables:
            display(shown_table(table, METHOD.key))

    @cached_property
    @single_threaded()
    def _views(self) -> tuple[tuple[Chart, ...], tuple[Table, ...]]:
        if not self.budgets:
            return (), ()
        points = [(written.text, written.si) for written in self.bench.lab.operating_points.electrical_power]
        charts, tables = views(self.budgets, points, self.bench.lab.coverage)
        if self.conductor is not None:
            table = conductor_table(self.conductor, self.budgets, points, self.bench.lab.coverage)
            tables = (*tables, table) if table.rows else tables
        return charts, tables

    def _budget(self, sample: str) -> LossBudget | None:
        sweeps = [run for run in self.sweeps if run.sample == sample and {"torque", "speed"} <= run.channels.keys()]
        known = self._known(sample) if sweeps else None
        if known is None:
            return None
        runs = [reduce_run(run, self.bench.trials) for run in sweeps]
        points = [written.si for written in self.bench.lab.operating_points.electrical_power]
        return sweep_budget(sample, runs, known, points, self.bench.trials)

    def _known(self, sample: str) -> Known | None:
        """Return what other tests say of a sample; None where one of them is missing."""
        resistance, kt = (self._figure(name, sample) for name in ("winding_resistance_20c", "kt"))
        drag = self._drag(sample)
        if resistance is None or kt is None or not drag:
            return None
        campaign, rig = self.bench.campaign, self.bench.rig
        drive = rig.drives[campaign.drive] if campaign.drive is not None else None
        stated = drive.on_resistance if drive is not None else None
        return Known(
            resistance=resistance,
            kt=kt,
            drag=drag,
            ambient=self._temperature(sample, "air") or self._room(),
            on_resistance=stated.si if stated is not None else 0.0,
            hottest=self._temperature(sample, "winding"),
        )

    def _figure(self, name: str, sample: str) -> Quantity | None:
        found = (one.quantity for one in self.figures if one.name == name and one.sample == sample and not one.at)
        return next(found, None)

    def _drag(self, sample: str) -> tuple[tuple[float, Quantity], ...]:
        """Return the drag at three speeds of each of the sample's runs without load, which its curve goes through."""
        kt = self._figure("kt", sample)
        runs = [ReducedRun(run, self.bench.trials) for run in self.free_runs if run.sample == sample]
        curves = [curve for run in runs if (curve := run.curve("speed")) is not None]
        if kt is None or not curves:
            return ()
        low, high = max(curve.range[0] for curve in curves), min(curve.range[1] for curve in curves)
        return tuple(
            (speed, combine(np.multiply, kt, mean(*(curve.at(speed) for curve in curves))))
            for speed in (low, (low + high) / 2, high)
        )

    def _temperature(self, sample: str, where: str) -> Quantity | None:
        """Return the temperature of the air or of the winding in a sample's sweeps, degC; None where not stated."""
        for test in self.bench.tests(SWEEP):
            written, field = _written(test, where)
            if test.sample == sample and written is not None:
                kelvin = self.bench.read("temperature", written, test, field)
                return combine(lambda t: t - ZERO_CELSIUS, kelvin)
        return None

    def _room(self) -> Quantity:
        source = Source((self.bench.campaign.campaign, "losses", "room"), "temperature of the room, not stated", NORMAL)
        return Quantity.of(*ROOM, source, self.bench.trials)


def _written(test: Any, where: str) -> tuple[Any, str]:
    if where == "air":
        return (test.air.temperature if test.air is not None else None), "air temperature"
    return test.winding_temperature, "winding temperature"
