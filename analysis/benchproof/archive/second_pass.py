"""The second pass: what looks at other campaigns, made from the first pass's kept figures.

Models with the archive's spread of pieces, claims and comparing quotes, and effects over the archive's pairs come
after every campaign has its figures, so campaigns may refer to each other.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any

from benchproof.archive.manifest import read_manifest
from benchproof.campaign.check import check_campaign
from benchproof.campaign.checked import Checked, CheckedComparison
from benchproof.campaign.quoting import Quote, parse
from benchproof.errors import InputError
from benchproof.findings.archive import Archive
from benchproof.findings.archive_effects import archive_effects, effect_record
from benchproof.findings.archive_results import FromArchive
from benchproof.findings.claims import judge_all
from benchproof.findings.comparing_quotes import Comparer
from benchproof.findings.entrants import Entrant
from benchproof.findings.model_figures import pooled_models, traits_of
from benchproof.findings.spread import Pool
from benchproof.findings.stored import without_trials
from benchproof.methods import built_tests, known_choices
from benchproof.report.collect import results_of
from benchproof.trials.engine import Trials

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from benchproof.archive.kept import Kept
    from benchproof.campaign.models.campaign import Campaign
    from benchproof.campaign.workspace import Workspace
    from benchproof.findings.archive import Glance, Traits
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
    archive : FromArchive
        What the whole archive adds to the figures.
    """

    claims: tuple[Mapping[str, Any], ...] = ()
    compare: Compare | None = None
    archive: FromArchive = field(default_factory=FromArchive)


def second_pass(checked: Checked | CheckedComparison, kept: Kept, glance: Glance) -> Addition:
    """Return what other campaigns add to a campaign's report.

    Parameters
    ----------
    checked : Checked or CheckedComparison
        The campaign; of a comparison's figures all but the archive's effects are made in its notebook.
    kept : Kept
        Figures of all campaigns that could be built.
    glance : Glance
        What this report sees of the archive.
    """
    pool = Pool(glance.by_place, Trials(checked.lab.seed, checked.lab.trials))
    if isinstance(checked, Checked):
        return _of_motor(checked, kept, pool)
    return Addition(archive=FromArchive(effects=tuple(_effects(checked, kept, pool, glance))))


def _of_motor(checked: Checked, kept: Kept, pool: Pool) -> Addition:
    campaign, lab = checked.campaign, checked.lab
    compares = bool(campaign.claims) or "than=" in (campaign.text or "")
    if not compares and not pool.spreads:
        return Addition()
    subject = Entrant(campaign, checked.rig, kept.figures(campaign.campaign))
    entries = results_of(kept.notebook(campaign.campaign))["quantities"]
    archive = FromArchive(pooled_models(entries, subject, pool, lab.coverage))
    if not compares:
        return Addition(archive=archive)
    others = referred_to(campaign, frozenset(checked.workspace.campaign_names())) - {campaign.campaign}
    entrants = dict(_entrants(checked.workspace, others, kept)) | {campaign.campaign: subject}
    judged = judge_all(subject, entrants, pool, lab.coverage, absent=others - set(entrants))
    return Addition(
        tuple(
            {key: value for key, value in asdict(each).items() if value is not None or key == "probability"}
            for each in judged
        ),
        Comparer(subject, entrants, pool, lab.coverage),
        archive,
    )


def _effects(checked: CheckedComparison, kept: Kept, pool: Pool, glance: Glance) -> Iterator[Mapping[str, Any]]:
    """Yield what each change does over the archive, where more than the comparison's own pair isolates it."""
    values = lru_cache(maxsize=None)(partial(_entrant, checked.workspace, kept.values))

    def whole(name: str) -> Entrant | None:
        found = values(name)
        return None if found is None else replace(found, figures=kept.figures(name))

    for isolated in glance.isolated:
        found = archive_effects(isolated, values, whole, pool, pool.trials) if isolated.pairs > 1 else ()
        yield effect_record(isolated, found, values, checked.lab.coverage)


def referred_to(campaign: Campaign, known: frozenset[str]) -> frozenset[str]:
    """Return the campaigns that a campaign is compared with: in claims, in quotes, in a comparison."""
    quotes = {piece.than for piece in parse(campaign.text or "") if isinstance(piece, Quote)}
    claims = {claim.than for claim in campaign.claims}
    return frozenset(name for name in known if name in quotes | claims | set(campaign.campaigns))


def looked_at(workspace: Workspace, campaign: Campaign) -> frozenset[str]:
    """Return the campaigns whose figures a motor campaign's claims and quotes name; a comparison read its own."""
    return referred_to(campaign, frozenset(workspace.campaign_names())) if campaign.kind == "motor" else frozenset()


def traits_in(results: Mapping[str, Any], checked: Checked | CheckedComparison) -> Traits | None:
    """Return what a campaign tells the archive by its results.json; None for a comparison."""
    if not isinstance(checked, Checked):
        return None
    entrant = Entrant(checked.campaign, checked.rig, without_trials(results["quantities"]))
    return traits_of(entrant.specimen, entrant)


def archive_of(workspace: Workspace, kept: Kept) -> Archive:
    """Return the archive as the last build saw it; by what is kept, where no build says so."""
    seen = read_manifest(kept.manifest).campaigns
    if seen:
        return Archive({name: each.traits for name, each in seen.items() if each.traits is not None})
    found = ((name, _entrant(workspace, kept.values, name)) for name in workspace.campaign_names())
    return Archive({name: traits_of(each.specimen, each) for name, each in found if each is not None})


def glance_of(archive: Archive, campaign: Campaign) -> Glance:
    """Return what a campaign's report sees of the archive."""
    if campaign.kind == "motor":
        return archive.of_motor(campaign.campaign)
    return archive.of_comparison(campaign.campaigns)


def _entrants(workspace: Workspace, names: Iterable[str], kept: Kept) -> Iterator[tuple[str, Entrant]]:
    """Yield those campaigns that could be read and built, with their trials."""
    found = ((name, _entrant(workspace, kept.figures, name)) for name in sorted(names))
    return ((name, entrant) for name, entrant in found if entrant is not None)


def _entrant(workspace: Workspace, figures: Callable[[str], tuple[Figure, ...]], name: str) -> Entrant | None:
    """Return a campaign with its figures; None if it could not be read and built."""
    try:
        checked = _checked(workspace, name)
        return Entrant(checked.campaign, checked.rig, figures(name))
    except InputError:
        return None


def _checked(workspace: Workspace, name: str) -> Checked:
    checked = check_campaign(workspace, name, built_tests=built_tests(), known_choices=known_choices(), logs=False)
    if not isinstance(checked, Checked):
        raise InputError
    return checked
