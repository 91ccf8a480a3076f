"""Impact: every campaign as it would be now, held against its last published revision, before anything is published."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchproof.archive.assembling import Materials
from benchproof.archive.build import Build
from benchproof.archive.kept import Kept
from benchproof.archive.record import read_record, recorded_names
from benchproof.archive.second_pass import archive_of
from benchproof.archive.steps import problems_of
from benchproof.findings.bridging import bridges, log_ratios
from benchproof.findings.impact import CampaignImpact, Impact, compared
from benchproof.findings.moves import flips, key_of, moves, swaps
from benchproof.nomenclature import PROPELLER_FIGURES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from benchproof.archive.build import Manner
    from benchproof.archive.outcome import Outcome
    from benchproof.campaign.workspace import Workspace
    from benchproof.findings.archive import Archive
    from benchproof.findings.moves import Key, Swap
    from benchproof.report.records import Figure
    from benchproof.report.revision import Content, Revision

    Place = tuple[str, tuple[tuple[str, str], ...], str]


@dataclass(frozen=True, slots=True)
class Held:
    """A campaign's last published revision and what it would be now.

    Parameters
    ----------
    revision : Revision
        The revision.
    now : Content
        The report as built.
    """

    revision: Revision
    now: Content


def impact_of(
    workspace: Workspace,
    names: tuple[str, ...],
    manner: Manner,
    tell: Callable[[Outcome], None],
    note: Callable[[str], None],
) -> Impact:
    """Build what is stale, publish nothing, and say what moved.

    Parameters
    ----------
    workspace : Workspace
        Where.
    names : tuple of str
        Which campaigns.
    manner : Manner
        How stale campaigns are built.
    tell, note : callable
        Hear of each campaign's outcome as it is built, and of what else the user should know.

    Raises
    ------
    InputError
        If the lab file cannot be used.
    """
    trials = workspace.lab().trials
    outcomes = {outcome.campaign: outcome for outcome in Build(workspace, names, manner).run(tell, note)}
    held: dict[str, Held] = {}
    kept = Kept(workspace.root / "build" / "kept")
    now = _Now(workspace, kept, archive_of(workspace, kept), trials)
    found = [_campaign(now, name, outcomes[name], held) for name in sorted(set(names))]
    others = {name: read_record(workspace, name).latest for name in recorded_names(workspace) if name not in outcomes}
    standing = {name: Held(last, last) for name, last in others.items() if last is not None and not last.withdrawn}
    ratios = (log_ratios(_by_key(each.revision), _by_key(each.now)) for each in held.values())
    return Impact(tuple(found), tuple(_swaps({**standing, **held})), bridges(ratios), trials)


@dataclass(frozen=True, slots=True)
class _Now:
    """The workspace as just built, and the lab's number of trials."""

    workspace: Workspace
    kept: Kept
    archive: Archive
    trials: int


def _campaign(built: _Now, name: str, outcome: Outcome, held: dict[str, Held]) -> CampaignImpact:
    """Return one campaign's impact; say what went wrong instead of raising."""
    if outcome.state == "failed":
        return CampaignImpact(name, "failed", problems=outcome.problems)
    try:
        record = read_record(built.workspace, name).sound()
        now = Materials.of(built.workspace, built.kept, name, built.archive).content_now()
    except Exception as error:  # noqa: BLE001 - one campaign must not stop the others
        return CampaignImpact(name, "failed", problems=problems_of(name, error))
    if record.latest is None:
        return CampaignImpact(name, "draft", figures=len(now.quantities))
    if record.latest.withdrawn:
        return CampaignImpact(name, "withdrawn", record.latest.revision, record.latest.date)
    was = record.latest
    held[name] = Held(was, now)
    return compared(
        name,
        moves(was.entries(), now.entries(), min(was.trials, built.trials)),
        (*flips(was.verdicts(), now.verdicts()), *flips(was.orders(), now.orders())),
        (was.origin, now.origin),
        {"revision": was.revision, "date": was.date, "figures": len(now.quantities)},
    )


def _by_key(content: Content) -> dict[Key, Mapping[str, object]]:
    return {key_of(entry): entry for entry in content.entries()}


def _swaps(held: Mapping[str, Held]) -> Iterator[Swap]:
    """Yield the pairs of campaigns that changed places, figure by figure.

    Figures that hang on a propeller are held against each other on the same one only.
    """
    values: dict[Place, dict[str, tuple[float, float]]] = {}
    for name, each in held.items():
        before = dict(_placed(each.revision))
        for place, value in _placed(each.now):
            if place in before:
                values.setdefault(place, {})[name] = (before[place], value)
    for (quantity, at, _), both in values.items():
        yield from swaps(quantity, dict(at), both)


def _placed(content: Content) -> Iterable[tuple[Place, float]]:
    """Yield the model's values by what they may be compared in: name, operating point, propeller."""
    for figure in content.quantities:
        if figure.sample is None and figure.campaign is None and figure.value is not None:
            serial = _serial(figure, content) if figure.name in PROPELLER_FIGURES else ""
            if serial is not None:
                at = tuple(item for item in figure.at.items() if item[0] != "propeller")
                yield (figure.name, at, serial), figure.value


def _serial(figure: Figure, content: Content) -> str | None:
    """Return the serial number of the propeller a figure was measured with; None where that is not known."""
    named = figure.at.get("propeller")
    serials = list(content.propellers.values()) if named is None else [content.propellers.get(named, "")]
    return serials[0] if len(serials) == 1 and serials[0] else None
