"""The notebook's section on losses: gathers what the tests of a sample say and shows its budget."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from IPython.display import display

from benchproof.campaign.models.base import required
from benchproof.findings.claimed_conductor import claimed_conductor, conductor_table
from benchproof.findings.loss_inputs import Known, reached_speed, sweep_budget
from benchproof.findings.loss_views import LABELS, METHOD, run_table, views
from benchproof.findings.losses import residual_remarks
from benchproof.findings.run_losses import run_budget
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
RUN = "flywheel_run"
WINDING = "winding_temperature"


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
    @single_threaded()
    def run_budgets(self) -> tuple[tuple[LossBudget, tuple[str, ...]], ...]:
        """The budget of each sample's flywheel run at the lab's speeds, and these speeds as the lab wrote them."""
        samples = (sample.id for sample in required(self.bench.campaign.specimen).samples)
        return tuple(found for sample in samples if (found := self._run_budget(sample)) is not None)

    @cached_property
    def conductor(self) -> ClaimedConductor | None:
        """The conductor the campaign claims, where it is not plain copper."""
        design = required(self.bench.campaign.specimen).design
        return claimed_conductor(design, self.bench.campaign.campaign, self.bench.trials)

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """What a reader must know of the budgets and the claimed conductor."""
        coverage = self.bench.lab.coverage
        sweeps = [r for each in self.budgets for r in residual_remarks(each, coverage, f"sample {each.sample}")]
        runs = [
            r
            for each, _ in self.run_budgets
            for r in residual_remarks(each, coverage, f"flywheel run of {each.sample}")
        ]
        conductor = self.conductor.remarks if self.conductor is not None and self.budgets else ()
        return (*sweeps, *runs, *conductor)

    def about(self) -> Shown | None:
        """Return what is done; nothing where the tests cannot tell."""
        return shown_method(METHOD, {}) if self.budgets or self.run_budgets else None

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
        coverage = self.bench.lab.coverage
        points = [(written.text, written.si) for written in self.bench.lab.operating_points.electrical_power]
        charts, tables = views(self.budgets, points, coverage)
        if self.conductor is not None and tables:
            tables = (*tables, conductor_table(self.conductor, self.budgets, points, coverage))
        if self.run_budgets:
            tables = (*tables, run_table(self.run_budgets, coverage))
        return charts, tables

    def _budget(self, sample: str) -> LossBudget | None:
        sweeps = [run for run in self.sweeps if run.sample == sample and {"torque", "speed"} <= run.channels.keys()]
        known = self._known(sample) if sweeps else None
        if known is None:
            return None
        runs = [reduce_run(run, self.bench.trials) for run in sweeps]
        points = [written.si for written in self.bench.lab.operating_points.electrical_power]
        return sweep_budget(sample, runs, known, points, self.bench.trials)

    def _run_budget(self, sample: str) -> tuple[LossBudget, tuple[str, ...]] | None:
        known = self._known(sample)
        if known is None:
            return None
        torque, efficiency = (self._at_speeds(name, sample) for name in ("torque", "motor_efficiency"))
        both = {
            written.text: (written.si, torque[written.text], efficiency[written.text])
            for written in self.bench.lab.operating_points.speed
            if written.text in torque.keys() & efficiency.keys() and reached_speed(written.si, known)
        }
        if not both:
            return None
        start = self._temperature(sample, RUN, "winding")
        known = replace(known, ambient=start) if start is not None else known
        campaign = self.bench.campaign.campaign
        return run_budget(sample, list(both.values()), known, campaign, self.bench.trials), tuple(both)

    def _at_speeds(self, name: str, sample: str) -> dict[str, Quantity]:
        """Return a flywheel run's figures by speed; a sample with several flywheels has no single one."""
        return {
            one.at["speed"]: one.quantity
            for one in self.figures
            if one.name == name
            and one.sample == sample
            and one.quantity is not None
            and one.at.keys() == {"speed"}
            and one.method.startswith(f"{RUN}/")
        }

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
            ambient=self._temperature(sample, SWEEP, "air") or self._room(),
            on_resistance=stated.si if stated is not None else 0.0,
            hottest=self._temperature(sample, SWEEP, "winding"),
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

    def _temperature(self, sample: str, kind: str, where: str) -> Quantity | None:
        """Return the temperature of the air or of the winding in a sample's tests, degC; None where not stated."""
        for test in self.bench.tests(kind):
            written, key, field = _written(test, where)
            if test.sample == sample and written is not None:
                kelvin = self.bench.read("temperature", written, test, key, field)
                return combine(lambda t: t - ZERO_CELSIUS, kelvin)
            if test.sample == sample and kind == SWEEP and where == "winding":
                return self._logged_temperature(test)
        return None

    def _logged_temperature(self, test: Any) -> Quantity | None:
        """Return the winding's temperature at the end of a sweep's highest throttle, degC; None if not logged."""
        log = self.bench.read_log(test)
        if WINDING not in log.channels:
            return None
        throttle = log.channels["throttle"]
        last = int(np.flatnonzero(throttle >= throttle.max())[-1])
        instrument = self.bench.channel_instrument(WINDING, test)
        reading = instrument.reading(
            [log.channels[WINDING][last]], self.bench.occasion(test), WINDING, self.bench.trials
        )
        return combine(lambda t: t - ZERO_CELSIUS, reading.quantity)

    def _room(self) -> Quantity:
        source = Source((self.bench.campaign.campaign, "losses", "room"), "temperature of the room, not stated", NORMAL)
        return Quantity.of(*ROOM, source, self.bench.trials)


def _written(test: Any, where: str) -> tuple[Any, str, str]:
    """Return what a test states, the name of that reading in the test, and its field."""
    if where == "air":
        # The same reading as that of the air's density, with the same draws.
        return (test.air.temperature if test.air is not None else None), "air temperature", "temperature"
    return test.winding_temperature, "winding temperature", WINDING
