"""The site's own pages, made of records: earlier revisions, withdrawn reports, errata, the feed, the list.

All of them are functions of the lab file and the records, so a lost site comes back byte for byte.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from benchproof.report.framing import framed
from benchproof.report.history import history, revision_view
from benchproof.report.prose import Prose, prose
from benchproof.report.tables import figure_table, headlines_of
from benchproof.report.views import IndexRow
from benchproof.report.views.history import EarlierContext, ErrataContext, Erratum, FeedContext, FeedEntry
from benchproof.report.words import SOURCES, Fact, href, words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchproof.campaign.models.lab import LabDetails
    from benchproof.campaign.quoting import Quote
    from benchproof.report.revision import Revision
    from benchproof.report.views import FigureTable

Records = Mapping[str, "Sequence[Revision]"]
"""The revisions of each campaign, oldest first."""

MOST_ENTRIES: Final = 100
"""Entries of the feed: what a reader who looks in now and then can have missed."""

_NAMESPACE: Final = uuid.UUID("6b0e9d52-58f1-4f0e-9d0a-5a3c1f6e7b21")
"""Ours, drawn once: identifiers made under it need no domain."""


def earlier_context(revisions: Sequence[Revision], place: int, lab: LabDetails) -> EarlierContext:
    """Return the page of an earlier revision, or of the newest where the report itself is not at hand.

    Parameters
    ----------
    revisions : sequence of Revision
        The campaign's record.
    place : int
        Which of them, counted from 0; one with figures.
    lab : LabDetails
        Who tests.
    """
    revision, newest = revisions[place], place == len(revisions) - 1
    root = "../../" if newest else "../../../../"
    way = "" if newest else "../../"
    return EarlierContext(
        frame=framed(
            lab,
            title=f"{title_of(revision)} · revision {revision.revision}",
            description=f"{title_of(revision)} as published on {revision.date}.",
            root=root,
            mark="" if newest else "Earlier revision.",
            standing="" if newest else _replaced(revisions, place),
            invented=bool(revision.words.get("invented")),
        ),
        campaign=revision.campaign,
        heading=title_of(revision),
        specimen=specimen_of(revision),
        lead=(_FROM_RECORD,),
        facts=tuple(_facts(revision)),
        claims=tuple((claim.say, claim.verdict) for claim in revision.claims),
        prose=_prose(revision),
        reply=str(revision.words.get("reply", "")),
        figures=_figures(revision),
        versions=tuple(_versions(revision)),
        inputs=tuple(Fact(name, digest) for name, digest in revision.inputs.items()),
        files=(Fact("revision.json", "figures, verdicts and words of this revision"),),
        history=history(revisions, root=way),
    )


_FROM_RECORD: Final = (
    "This page is made from the record of publication: figures, verdicts and words as they were, and the checksums of "
    "what they came from. Charts and notebook are kept with the report in force."
)


def withdrawn_context(revisions: Sequence[Revision], lab: LabDetails) -> EarlierContext:
    """Return the page that stands where a withdrawn report stood: that it was withdrawn, when, and why."""
    withdrawal = revisions[-1]
    last = next(each for each in reversed(revisions) if not each.withdrawn)
    title = title_of(last)
    return EarlierContext(
        frame=framed(
            lab,
            title=f"{title} · withdrawn",
            description=f"Withdrawn on {withdrawal.date}.",
            root="../../",
            mark="Withdrawn.",
            standing=f"This report was withdrawn on {withdrawal.date}.",
            invented=bool(last.words.get("invented")),
        ),
        campaign=withdrawal.campaign,
        heading=title,
        specimen=specimen_of(last),
        lead=(withdrawal.reason, "Its earlier revisions stay readable below, so that what was said can be looked up."),
        facts=(Fact("Withdrawn", withdrawal.date), Fact("First published", revisions[0].date)),
        prose=Prose(),
        history=history(revisions),
    )


def errata_context(records: Records, lab: LabDetails) -> ErrataContext:
    """Return the page of errata: every revision after the first of every report, newest first."""
    found = [
        Erratum(
            campaign,
            title_of(_with_words(revisions)),
            f"reports/{href(campaign)}/index.html",
            revision_view(revisions, place, root=f"reports/{href(campaign)}/"),
        )
        for campaign, revisions in records.items()
        for place in range(1, len(revisions))
    ]
    found.sort(key=lambda each: (each.revision.anchor, each.campaign))
    found.sort(key=lambda each: each.revision.date, reverse=True)
    frame = framed(
        lab,
        title=f"Errata · {lab.name}",
        description=f"What {lab.name} corrected in its published reports.",
        root="",
        invented=lab.invented,
    )
    return ErrataContext(frame, tuple(found))


def feed_context(records: Records, lab: LabDetails) -> FeedContext:
    """Return the feed: every revision of every report, newest first."""
    found = sorted(
        ((revision.date, campaign, place) for campaign, revs in records.items() for place, revision in enumerate(revs)),
        key=lambda each: (each[1], -each[2]),
    )
    found.sort(key=lambda each: each[0], reverse=True)
    entries = tuple(_entry(records[campaign], place, lab) for _, campaign, place in found[:MOST_ENTRIES])
    base = lab.url.rstrip("/") + "/" if lab.url and lab.url.startswith(("http://", "https://")) else ""
    updated = entries[0].updated if entries else "1970-01-01T00:00:00Z"
    title = f"Reports of {lab.name}{', invented data' if lab.invented else ''}"
    return FeedContext(urn(lab.name), title, base, lab.name, updated, entries)


def urn(*names: str) -> str:
    """Return an identifier made of names, the same wherever it is made."""
    return f"urn:uuid:{uuid.uuid5(_NAMESPACE, chr(0).join(names))}"


def row_of(revision: Revision) -> IndexRow:
    """Return a report's row in the list, from its record."""
    described = _described(revision)
    sources = dict.fromkeys(SOURCES[each["source"]][0] for each in described if each.get("source") in SOURCES)
    return IndexRow(
        campaign=revision.campaign,
        href=f"reports/{href(revision.campaign)}/index.html",
        heading=title_of(revision),
        specimen=specimen_of(revision),
        tested=_tested(revision),
        headlines=headlines_of(revision, revision)[:2],
        source=", ".join(sources),
        invented=bool(revision.words.get("invented")),
    )


def title_of(revision: Revision) -> str:
    """Return a report's title."""
    return str(revision.words.get("title") or revision.campaign)


def specimen_of(revision: Revision) -> str:
    """Return what a report is about: maker and model, or the motors compared."""
    if "members" in revision.words:
        return f"Comparison: {', '.join(str(each.get('label', '')) for each in _described(revision))}"
    return " ".join(str(each[key]) for each in _described(revision) for key in ("maker", "model") if each.get(key))


def _described(revision: Revision) -> list[Mapping[str, Any]]:
    """Return the specimen, or those of a comparison."""
    members = revision.words.get("members")
    return [*map(_mapping, members)] if isinstance(members, list) else [_mapping(revision.words.get("specimen"))]


def _tested(revision: Revision) -> str:
    """Return the day of the test; a comparison stands by its latest."""
    if "members" in revision.words:
        return max((str(each.get("tested", "")) for each in _described(revision)), default="")
    return str(_mapping(revision.words.get("dates")).get("tested", ""))


def _with_words(revisions: Sequence[Revision]) -> Revision:
    return next((each for each in reversed(revisions) if not each.withdrawn), revisions[-1])


def _replaced(revisions: Sequence[Revision], place: int) -> str:
    following = revisions[place + 1]
    what = "The report was withdrawn" if following.withdrawn else "It was replaced"
    return f"This is how the report stood from {revisions[place].date} on. {what} on {following.date}."


def _facts(revision: Revision) -> Iterator[Fact]:
    yield Fact("Revision", str(revision.revision))
    yield Fact("Published", revision.date)
    yield Fact("Reason", revision.reason)
    if _tested(revision):
        yield Fact("Tested", _tested(revision))


def _versions(revision: Revision) -> Iterator[Fact]:
    for key, version in revision.methods.items():
        yield Fact(words(key).capitalize(), f"method version {version}")
    for key, chosen in revision.choices.items():
        for name, value in chosen.items():
            yield Fact(f"{words(key).capitalize()}: {words(name)}", str(value))
    yield from (Fact(name, str(version)) for name, version in revision.software.items())


def _prose(revision: Revision) -> Prose:
    """Return the reviewer's words with the figures of that day in them."""
    answers = iter(revision.compared or ())

    def compare(quote: Quote) -> str:
        return next(answers, f"[set against {quote.than}]")

    text = str(revision.words.get("text", ""))
    return prose(text, revision.quantities, campaign=revision.campaign, compare=compare)


def _figures(revision: Revision) -> FigureTable | None:
    """Return all figures; a comparison's by campaign, where a report's stand by sample."""
    if not revision.quantities:
        return None
    campaigns: dict[str | None, str] = {
        figure.campaign: str(figure.campaign) for figure in revision.quantities if figure.campaign
    }
    if not campaigns:
        return figure_table(revision, {})
    models = [each.model_copy(update={"sample": each.campaign}) for each in revision.quantities if not each.sample]
    return figure_table(revision.model_copy(update={"quantities": tuple(models)}), {}, columns=campaigns)


def _entry(revisions: Sequence[Revision], place: int, lab: LabDetails) -> FeedEntry:
    revision = revisions[place]
    view = revision_view(revisions, place, root="")
    told = [f"{revision.reason.strip().rstrip('.')}."]
    told += [f"“{flip.say}” is now {flip.new}; it was {flip.old}." for flip in view.flips]
    count = len(view.changes) + len(view.more_changes)
    told += [f"{count} figures changed."] if count > 1 else ["One figure changed."] if count else []
    return FeedEntry(
        id=urn(lab.name, revision.campaign, str(revision.revision)),
        title=f"{title_of(_with_words(revisions[: place + 1]))}. {view.heading}",
        updated=f"{revision.date}T00:00:00Z",
        href=f"reports/{href(revision.campaign)}/index.html#{view.anchor}",
        summary=" ".join([*told, *view.others]),
    )


def _mapping(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}
