"""The second pass: what looks at other campaigns, made from the first pass's kept figures.

Claims and comparing quotes come after every campaign has its figures, so campaigns may refer to each other.
"""

from __future__ import annotations

import contextlib
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from benchproof.campaign.check import check_campaign
from benchproof.campaign.checked import Checked, CheckedComparison
from benchproof.campaign.quoting import Quote, parse
from benchproof.campaign.workspace import campaign_file
from benchproof.errors import InputError
from benchproof.findings.claims import judge_all
from benchproof.findings.comparing_quotes import Comparer
from benchproof.findings.entrants import Entrant
from benchproof.findings.spread import Pool
from benchproof.methods import built_tests, known_choices
from benchproof.trials.engine import Trials

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from benchproof.archive.kept import Kept
    from benchproof.campaign.models.campaign import Campaign
    from benchproof.campaign.workspace import Workspace
    from benchproof.methods.records import Figure
    from benchproof.report.prose import Compare


@dataclass(frozen=True, slots=True)
class Addition:
    """What the second pass adds to a campaign's report.

    Parameters
    ----------
    claims : tuple of Mapping
        ``claims`` of results.json.
    compare : callable or None
        Answers the text's comparing quotes.
    """

    claims: tuple[Mapping[str, Any], ...] = ()
    compare: Compare | None = None


def second_pass(checked: Checked | CheckedComparison, kept: Kept) -> Addition:
    """Return what a campaign's claims and comparing quotes come to.

    Parameters
    ----------
    checked : Checked or CheckedComparison
        The campaign; a comparison's figures are all made in its notebook, so nothing is added to it.
    kept : Kept
        Figures of all campaigns that could be built.
    """
    if not isinstance(checked, Checked):
        return Addition()
    campaign, lab = checked.campaign, checked.lab
    known = frozenset(checked.workspace.campaign_names())
    others = referred_to(campaign, known) - {campaign.campaign}
    if not (campaign.claims or "than=" in (campaign.text or "")):
        return Addition()
    subject = Entrant(campaign, checked.rig, kept.figures(campaign.campaign))
    entrants = dict(_entrants(checked.workspace, others, kept)) | {campaign.campaign: subject}
    archive = _pieces(checked.workspace, looked_at(checked.workspace, campaign) | {campaign.campaign}, kept)
    pool = Pool.over(archive, Trials(lab.seed, lab.trials))
    judged = judge_all(subject, entrants, pool, lab.coverage, absent=others - set(entrants))
    return Addition(
        tuple(
            {key: value for key, value in asdict(each).items() if value is not None or key == "probability"}
            for each in judged
        ),
        Comparer(subject, entrants, pool, lab.coverage),
    )


def referred_to(campaign: Campaign, known: frozenset[str]) -> frozenset[str]:
    """Return the campaigns that a campaign is compared with: in claims, in quotes, in a comparison."""
    quotes = {piece.than for piece in parse(campaign.text or "") if isinstance(piece, Quote)}
    claims = {claim.than for claim in campaign.claims}
    return frozenset(name for name in known if name in quotes | claims | set(campaign.campaigns))


def looked_at(workspace: Workspace, campaign: Campaign) -> frozenset[str]:
    """Return the campaigns whose figures a campaign's second pass uses.

    Claims and comparing quotes of a model use the spread of pieces of every motor in the archive, itself included. A
    comparison's notebook has read all it compares.
    """
    known = frozenset(workspace.campaign_names())
    others = referred_to(campaign, known) if campaign.kind == "motor" else frozenset()
    if not others and not any(claim.scope == "model" for claim in campaign.claims):
        return frozenset()
    return frozenset(name for name in known if _is_motor(workspace, name))


def _is_motor(workspace: Workspace, name: str) -> bool:
    return _kind_and_golden(workspace, name, _stamp(workspace, name))[0] == "motor"


def _stamp(workspace: Workspace, name: str) -> tuple[int, int]:
    """Return size and time of a campaign file, which stand for it while it is remembered."""
    try:
        found = (workspace.root / campaign_file(name)).stat()
    except OSError:
        return 0, 0
    return found.st_size, found.st_mtime_ns


@lru_cache(maxsize=8192)
def _kind_and_golden(workspace: Workspace, name: str, _seen: tuple[int, int]) -> tuple[str, frozenset[str]]:
    """Return a campaign's kind and its golden samples, read once a process: every page with claims asks for all."""
    try:
        campaign = workspace.campaign(name)
    except InputError:
        return "", frozenset()
    samples = campaign.specimen.samples if campaign.specimen else ()
    return campaign.kind, frozenset(sample.id for sample in samples if sample.golden)


def _entrants(workspace: Workspace, names: Iterable[str], kept: Kept) -> Iterator[tuple[str, Entrant]]:
    """Yield those campaigns that could be read and built, with their trials."""
    for name in sorted(names):
        try:
            checked = _checked(workspace, name)
            yield name, Entrant(checked.campaign, checked.rig, kept.figures(name))
        except InputError:
            continue


@dataclass(frozen=True, slots=True)
class Pieces:
    """A campaign as a spread is pooled from it: values alone."""

    name: str
    golden: frozenset[str]
    figures: tuple[Figure, ...]


def _pieces(workspace: Workspace, names: Iterable[str], kept: Kept) -> Iterator[Pieces]:
    """Yield the values of those campaigns that could be read and built."""
    for name in sorted(names):
        kind, golden = _kind_and_golden(workspace, name, _stamp(workspace, name))
        with contextlib.suppress(InputError):
            if kind:
                yield Pieces(name, golden, kept.values(name))


def _checked(workspace: Workspace, name: str) -> Checked:
    checked = check_campaign(workspace, name, built_tests=built_tests(), known_choices=known_choices(), logs=False)
    if not isinstance(checked, Checked):
        raise InputError
    return checked
