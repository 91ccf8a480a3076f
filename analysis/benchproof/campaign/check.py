"""Judging a campaign's inputs before anything runs: all files, together, with every fault named."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final, TypeVar

from benchproof.campaign.faults import validated
from benchproof.campaign.logs import read_log
from benchproof.campaign.models.base import required
from benchproof.campaign.models.campaign import Campaign
from benchproof.campaign.models.tests import AnyTest, LoggedTest
from benchproof.campaign.quoting import Quote, parse
from benchproof.campaign.references import claim_faults, quote_faults, reference_faults
from benchproof.campaign.workspace import LAB, Workspace, campaign_file, rig_file
from benchproof.campaign.yaml import Document, Places
from benchproof.errors import Fault, InputError, Remark

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping
    from datetime import date
    from pathlib import Path

    from benchproof.campaign.calibration_files import CalibrationTable, LoadingTable
    from benchproof.campaign.logs import Log
    from benchproof.campaign.models.lab import Lab
    from benchproof.campaign.models.rig import RigFile

T = TypeVar("T")

BUILT_KINDS: Final = ("motor",)
"""Kinds of campaign that have a notebook."""

_PARAMETERS: Final = Places("parameters", {})


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
        runs = {run.log: run for test in self.campaign.tests for run in _runs(test, self.built)}
        for run in runs.values():
            for remark in self.log(run).remarks:
                yield replace(remark, where=remark.where.removeprefix(f"{self.folder}/"))


def _runs(test: AnyTest, built: Collection[str]) -> tuple[LoggedTest, ...]:
    """Return the runs of a test whose logs are read for its figures."""
    if not isinstance(test, LoggedTest) or test.test not in built or test.exclude is not None:
        return ()
    return test.runs


def logs_of(test: Any) -> Iterator[str]:
    """Yield the logs of a test."""
    yield from (run.log for run in getattr(test, "runs", ()))


def check_campaign(
    workspace: Workspace,
    name: str,
    *,
    built_tests: Collection[str],
    known_choices: Mapping[str, Callable[[str], str]],
    logs: bool = True,
) -> Checked:
    """Read and judge a campaign of the workspace.

    Parameters
    ----------
    workspace : Workspace
        Where.
    name : str
        Its folder under ``runs/``.
    built_tests : collection of str
        Tests that have a method.
    known_choices : Mapping of str to callable
        The analysis choices; each takes a value and returns what is wrong with it, or nothing.
    logs : bool
        Whether to read the logs too.

    Raises
    ------
    InputError
        With all faults of campaign, rig, lab, calibrations and logs.
    """
    lab, faults = _tried(workspace.lab)
    document, more = _tried(workspace.campaign_document, name)
    campaign, most = _tried(workspace.campaign_of, name, document) if document is not None else (None, ())
    if lab is None or document is None or campaign is None:
        raise InputError(*more, *most, *faults)
    names = workspace.campaign_names()
    return _judged(workspace, lab, campaign, document, built_tests, known_choices, logs=logs, campaigns=names)


def check_parameters(
    workspace: Workspace,
    parameters: Mapping[str, Any],
    *,
    built_tests: Collection[str],
    known_choices: Mapping[str, Callable[[str], str]],
) -> Checked:
    """Read and judge a campaign given as a notebook's parameters; see `check_campaign`.

    Other campaigns are not looked at: a notebook runs where only its own files are.
    """
    document = Document(dict(parameters), _PARAMETERS)
    campaign = validated(Campaign, document.values, document.places)
    return _judged(workspace, workspace.lab(), campaign, document, built_tests, known_choices, logs=True)


def _judged(
    workspace: Workspace,
    lab: Lab,
    campaign: Campaign,
    document: Document,
    built_tests: Collection[str],
    known_choices: Mapping[str, Callable[[str], str]],
    *,
    logs: bool,
    campaigns: tuple[str, ...] | None = None,
) -> Checked:
    places = document.places
    if campaign.kind not in BUILT_KINDS or campaign.rig is None:
        expected = f"kind: {' or '.join(BUILT_KINDS)} in this version"
        raise InputError(
            Fault(
                places.file,
                "kind",
                campaign.kind,
                expected,
                "This kind is not built yet.",
                places.line(("kind",)),
            )
        )
    rig = _rig(workspace, campaign.rig, places)
    checked = Checked(workspace, campaign, lab, rig, document.values, tuple(built_tests))
    faults = [
        *reference_faults(checked, places, known_choices),
        *_text_faults(checked, places, campaigns),
    ]
    if not faults:
        faults += _file_faults(checked, logs)
    faults.sort(key=lambda fault: (fault.file != places.file, fault.line or 0))
    if faults:
        raise InputError(*faults)
    return checked


def _rig(workspace: Workspace, name: str, places: Places) -> RigFile:
    if not (workspace.root / rig_file(name)).is_file():
        known = sorted(path.parent.name for path in workspace.runs.glob("rigs/*/rig.yaml"))
        remedy = f"Make {rig_file(name)}, or name one of {', '.join(known) or 'none'}."
        raise InputError(
            Fault(places.file, "rig", f'"{name}"', "a rig of the workspace", remedy, places.line(("rig",)))
        )
    return workspace.rig(name)


def _text_faults(checked: Checked, places: Places, campaigns: tuple[str, ...] | None) -> Iterator[Fault]:
    """Yield what is wrong with quotes and claims; against other campaigns only where these are known."""
    text, line = checked.campaign.text or "", places.line(("text",))
    pieces: tuple[str | Quote, ...] = ()
    try:
        pieces = parse(text, file=places.file, line=line)
    except InputError as error:
        yield from error.faults
    yield from quote_faults(checked, pieces, places)
    if campaigns is not None:
        yield from claim_faults(checked.campaign, pieces, places, campaigns)


def _file_faults(checked: Checked, logs: bool) -> Iterator[Fault]:
    """Yield what is wrong with calibration files, photos and logs."""
    for path in checked.calibrations():
        yield from _faults_of(checked.table, path)
    for path in checked.cross_talks():
        yield from _faults_of(checked.loadings, path)
    for test in checked.campaign.tests:
        for name in (getattr(test, "photo", None), *logs_of(test)):
            if name is not None:
                yield from _faults_of(checked.place, name)
        for run in _runs(test, checked.built) if logs else ():
            yield from _faults_of(checked.log, run)


def _faults_of(action: Callable[..., object], *arguments: object) -> tuple[Fault, ...]:
    return _tried(action, *arguments)[1]


def _tried(action: Callable[..., T], *arguments: object) -> tuple[T | None, tuple[Fault, ...]]:
    """Return what an action gives, or None and the faults it found."""
    try:
        return action(*arguments), ()
    except InputError as error:
        return None, error.faults
