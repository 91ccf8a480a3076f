"""Judging a campaign's inputs before anything runs: all files, together, with every fault named."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, Final, TypeVar

from benchproof.campaign.checked import Checked, CheckedComparison, logs_of, runs_of
from benchproof.campaign.faults import validated
from benchproof.campaign.models.campaign import Campaign
from benchproof.campaign.quoting import Quote, parse
from benchproof.campaign.references import reference_faults
from benchproof.campaign.referring import claim_faults, comparison_faults, quote_faults
from benchproof.campaign.workspace import Workspace, campaign_file, rig_file
from benchproof.campaign.yaml import Document, Places
from benchproof.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping

    from benchproof.campaign.models.lab import Lab
    from benchproof.campaign.models.rig import RigFile

T = TypeVar("T")

BUILT_KINDS: Final = ("motor", "comparison")
"""Kinds of campaign that have a notebook."""

_PARAMETERS: Final = Places("parameters", {})


def check_campaign(
    workspace: Workspace,
    name: str,
    *,
    built_tests: Collection[str],
    known_choices: Mapping[str, Callable[[str], str]],
    logs: bool = True,
    others: bool = True,
) -> Checked | CheckedComparison:
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
    others : bool
        Whether campaigns that claims and quotes name must be there: a notebook runs where only its own files are.

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
    names = workspace.campaign_names() if others else None
    if campaign.kind == "comparison":
        return _compared(workspace, lab, campaign, document, built_tests, known_choices, logs=logs, others=others)
    return _judged(workspace, lab, campaign, document, built_tests, known_choices, logs=logs, campaigns=names)


def check_parameters(
    workspace: Workspace,
    parameters: Mapping[str, Any],
    *,
    built_tests: Collection[str],
    known_choices: Mapping[str, Callable[[str], str]],
) -> Checked | CheckedComparison:
    """Read and judge a campaign given as a notebook's parameters; see `check_campaign`.

    Other campaigns are not looked at: a notebook runs where only its own files are.
    """
    document = Document(dict(parameters), _PARAMETERS)
    campaign = validated(Campaign, document.values, document.places)
    lab = workspace.lab()
    if campaign.kind == "comparison":
        return _compared(workspace, lab, campaign, document, built_tests, known_choices, logs=True, others=False)
    return _judged(workspace, lab, campaign, document, built_tests, known_choices, logs=True)


def _compared(
    workspace: Workspace,
    lab: Lab,
    campaign: Campaign,
    document: Document,
    built_tests: Collection[str],
    known_choices: Mapping[str, Callable[[str], str]],
    *,
    logs: bool,
    others: bool,
) -> CheckedComparison:
    """Judge a comparison: every campaign it compares, and the quotes of its text."""
    places, known = document.places, workspace.campaign_names()
    members: list[Checked] = []
    faults = list(comparison_faults(campaign, places, known))
    for name in campaign.campaigns if not faults else ():
        judge = partial(check_campaign, built_tests=built_tests, known_choices=known_choices, logs=logs, others=others)
        member, more = _tried(_motor, judge, workspace, name)
        faults += more
        members += [member] if member is not None else []
    if faults:
        raise InputError(*faults)
    return CheckedComparison(workspace, campaign, lab, document.values, tuple(members))


def _motor(judge: Callable[..., Checked | CheckedComparison], workspace: Workspace, name: str) -> Checked:
    """Return a campaign of a comparison, which must have tests of its own."""
    found = judge(workspace, name)
    if not isinstance(found, Checked):
        remedy = "Name the motor campaigns themselves."
        raise InputError(Fault(campaign_file(name), "kind", "a comparison", "a campaign with tests", remedy))
    return found


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
        for run in runs_of(test, checked.built) if logs else ():
            yield from _faults_of(checked.log, run)


def _faults_of(action: Callable[..., object], *arguments: object) -> tuple[Fault, ...]:
    return _tried(action, *arguments)[1]


def _tried(action: Callable[..., T], *arguments: object) -> tuple[T | None, tuple[Fault, ...]]:
    """Return what an action gives, or None and the faults it found."""
    try:
        return action(*arguments), ()
    except InputError as error:
        return None, error.faults
