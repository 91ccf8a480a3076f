"""A campaign whose inputs were judged: what the rest of the tool may use."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from benchproof.campaign.location import LAB
from benchproof.campaign.logs import read_log
from benchproof.campaign.models.base import required
from benchproof.campaign.models.tests import LoggedTest
from benchproof.campaign.workspace import campaign_file, rig_file
from benchproof.errors import Remark

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping
    from datetime import date
    from pathlib import Path

    from benchproof.campaign.calibration_files import CalibrationTable, LoadingTable
    from benchproof.campaign.logs import Log
    from benchproof.campaign.models.airframe import Airframe
    from benchproof.campaign.models.campaign import Campaign
    from benchproof.campaign.models.lab import Lab
    from benchproof.campaign.models.rig import RigFile
    from benchproof.campaign.models.tests import AnyTest
    from benchproof.campaign.workspace import Workspace


@dataclass(frozen=True)
class Checked:
    """A campaign whose inputs can be used.

    Parameters
    ----------
    workspace : Workspace
        Where it lies.
    campaign : Campaign
        The campaign file.
    lab : Lab
        The lab file.
    rig : RigFile
        The rig file.
    values : Mapping
        The campaign file's plain values, as papermill reads them.
    built : tuple of str
        Tests that have a method.
    """

    workspace: Workspace
    campaign: Campaign
    lab: Lab
    rig: RigFile
    values: Mapping[str, Any]
    built: tuple[str, ...]
    _logs: dict[str, Log] = field(default_factory=dict, repr=False, compare=False)

    @property
    def folder(self) -> str:
        """The campaign's folder, relative to the workspace."""
        return f"runs/{self.campaign.campaign}"

    @property
    def sections(self) -> frozenset[str]:
        """The parts of the notebook that have something to show: tests that count, the label, uses."""
        tests = {test.test for test in self.campaign.tests if test.exclude is None} & set(self.built)
        labelled = {"label"} if self.campaign.specimen and self.campaign.specimen.label else set()
        return frozenset(tests | labelled | ({"use"} if self.airframes else set()))

    @property
    def airframes(self) -> dict[str, Airframe]:
        """The airframes to judge the motor for: the lab's and the campaign's own."""
        return {**self.lab.airframes, **self.campaign.airframes}

    def log(self, test: Any) -> Log:
        """Return a test's log in SI channels, read once.

        Raises
        ------
        InputError
            With the log's faults.
        """
        if test.log not in self._logs:
            name, path = f"{self.folder}/{test.log}", self.place(test.log)
            layout = test.layout or self.rig.logs[test.test]
            dialect = layout.dialect.model_dump() if layout.dialect else None
            poles = self.campaign.specimen.pole_pairs if self.campaign.specimen else None
            self._logs[test.log] = read_log(path, layout.channels, pole_pairs=poles, name=name, dialect=dialect)
        return self._logs[test.log]

    def place(self, name: str) -> Path:
        """Return the path of a log or photo of the campaign.

        Raises
        ------
        InputError
            If it is not there, or lies elsewhere.
        """
        return self.workspace.inside(f"{self.folder}/{name}", self.workspace.root / self.folder)

    def table(self, path: str) -> CalibrationTable:
        """Return a calibration file of the campaign's rig."""
        return self.workspace.calibration(self.rig.rig, path)

    def loadings(self, path: str) -> LoadingTable:
        """Return a cross-talk file of the campaign's rig."""
        return self.workspace.loadings(self.rig.rig, path)

    def day(self, test: Any) -> date:
        """Return the day of a test."""
        day: date = test.date or required(self.campaign.dates).tested
        return day

    def calibrations(self) -> tuple[str, ...]:
        """Return the calibration files in force for the campaign's tests, by path in the rig file, sorted."""
        days = {self.day(test) for test in self.campaign.tests}
        found = {
            entry.file
            for instrument in self.rig.instruments.values()
            for day in days
            if (entry := instrument.calibration_on(day)) is not None
        }
        return tuple(sorted(found))

    def cross_talks(self) -> tuple[str, ...]:
        """Return the cross-talk files in force for the campaign's tests, by path in the rig file, sorted."""
        days = {self.day(test) for test in self.campaign.tests}
        return tuple(sorted({entry.file for day in days if (entry := self.rig.cross_talk_on(day)) is not None}))

    def files(self) -> tuple[str, ...]:
        """Return every file the campaign declares, relative to the workspace, in a fixed order."""
        logs = dict.fromkeys(name for test in self.campaign.tests for name in logs_of(test))
        photos = dict.fromkeys(photo for test in self.campaign.tests if (photo := getattr(test, "photo", None)))
        return (
            LAB,
            rig_file(self.rig.rig),
            *(f"runs/rigs/{self.rig.rig}/{path}" for path in (*self.calibrations(), *self.cross_talks())),
            campaign_file(self.campaign.campaign),
            *(f"{self.folder}/{name}" for name in (*logs, *photos)),
        )

    @cached_property
    def inputs(self) -> dict[str, str]:
        """The digest of every declared file."""
        return {name: self.workspace.digest(name) for name in self.files()}

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """What a reader should know of the inputs; reads the logs."""
        return tuple(self._remarks())

    def _remarks(self) -> Iterator[Remark]:
        for key in dict.fromkeys(test.test for test in self.campaign.tests):
            if key not in self.built:
                sentence = f"the test {key} is not built in this version: its figures are left out"
                yield Remark("not_built", f"tests, {key}", sentence)
        used = {str(name) for test in self.campaign.tests if (name := getattr(test, "propeller", None))}
        for name in sorted(used):
            if self.rig.propellers[name].reseat is None:
                sentence = "no `reseat` stated: the scatter from one mounting to the next is left out of the intervals"
                yield Remark("reseat_missing", f"propeller {name}", sentence)
        for test in self.campaign.tests:
            if test.test == "thrust_sweep" and test.air is None:
                sentence = "the air was not measured: figures stay as tested, and coefficients are left out"
                yield Remark("air_missing", test.log, sentence)
        runs = {run.log: run for test in self.campaign.tests for run in runs_of(test, self.built)}
        for run in runs.values():
            for remark in self.log(run).remarks:
                yield replace(remark, where=remark.where.removeprefix(f"{self.folder}/"))


def runs_of(test: AnyTest, built: Collection[str]) -> tuple[LoggedTest, ...]:
    """Return the runs of a test whose logs are read for its figures."""
    if not isinstance(test, LoggedTest) or test.test not in built or test.exclude is not None:
        return ()
    return test.runs


def logs_of(test: Any) -> Iterator[str]:
    """Yield the logs of a test."""
    yield from (run.log for run in getattr(test, "runs", ()))


@dataclass(frozen=True)
class CheckedComparison:
    """A comparison whose campaigns can all be used.

    Parameters
    ----------
    workspace : Workspace
        Where it lies.
    campaign : Campaign
        The comparison's file.
    lab : Lab
        The lab file.
    values : Mapping
        The file's plain values, as papermill reads them.
    members : tuple of Checked
        The campaigns compared, in the file's order.
    """

    workspace: Workspace
    campaign: Campaign
    lab: Lab
    values: Mapping[str, Any]
    members: tuple[Checked, ...]

    @property
    def folder(self) -> str:
        """The comparison's folder, relative to the workspace."""
        return f"runs/{self.campaign.campaign}"

    @property
    def airframes(self) -> dict[str, Airframe]:
        """The airframes to judge the motors for: the lab's and the comparison's own."""
        return {**self.lab.airframes, **self.campaign.airframes}

    @property
    def sections(self) -> frozenset[str]:
        """The parts of the notebook that have something to show."""
        specimens = [required(member.campaign.specimen) for member in self.members]
        models = [(specimen.maker, specimen.model) for specimen in specimens]
        shown = {
            "use": bool(self.airframes),
            "value": any(specimen.price for specimen in specimens),
            "pairs": sum(bool(specimen.design) for specimen in specimens) > 1,
            "batches": len(set(models)) < len(models),
        }
        return frozenset(part for part, there in shown.items() if there)

    @cached_property
    def inputs(self) -> dict[str, str]:
        """The digest of every file its figures come from: its own and those of the campaigns compared."""
        return {name: self.workspace.digest(name) for name in self.files()}

    def files(self) -> tuple[str, ...]:
        """Return every file its figures come from, relative to the workspace, each once."""
        own = campaign_file(self.campaign.campaign)
        return tuple(dict.fromkeys((own, *(name for member in self.members for name in member.files()))))

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """What a reader should know of the inputs, each campaign's under its name; reads the logs."""
        return tuple(
            Remark(remark.code, f"{member.campaign.campaign}, {remark.where}", remark.message)
            for member in self.members
            for remark in member.remarks
        )
