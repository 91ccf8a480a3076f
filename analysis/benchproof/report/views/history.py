"""What templates print of a report's history: frozen records, ready to print."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchproof.report.prose import Prose
    from benchproof.report.views.pages import Frame
    from benchproof.report.views.shown import FigureTable
    from benchproof.report.words import Fact


@dataclass(frozen=True, slots=True)
class ChangeView:
    """A figure that was printed otherwise.

    Parameters
    ----------
    title : str
        The quantity in words.
    point : str
        Its operating point in words.
    whose : str
        The model or a sample.
    old, new : str
        The figure with unit and interval, before and since.
    by : str
        How far it moved, in percent and in its standard uncertainty, and how its interval changed; empty where there
        is no value to hold it against.
    """

    title: str
    point: str
    whose: str
    old: str
    new: str
    by: str


@dataclass(frozen=True, slots=True)
class FlipView:
    """A sentence whose verdict changed.

    Parameters
    ----------
    say : str
        The sentence.
    old, new : str
        Verdict before and since.
    """

    say: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class RevisionView:
    """One revision of a report, and what changed with it.

    Parameters
    ----------
    anchor : str
        Its anchor.
    heading : str
        Revision and what it is: published, revised, withdrawn, pending.
    date : str
        Day of publication; empty for what is pending.
    reason : str
        The lab's words.
    href : str
        Percent-encoded way to the report as it stood at this revision; empty for the one that is on the page.
    flips : tuple of FlipView
        Verdicts that changed.
    changes, more_changes : tuple of ChangeView
        Figures, those of the model and the largest moves first; the rest, to be folded.
    others : tuple of str
        What else changed, a sentence each.
    """

    anchor: str
    heading: str
    date: str
    reason: str
    href: str
    flips: tuple[FlipView, ...]
    changes: tuple[ChangeView, ...]
    more_changes: tuple[ChangeView, ...]
    others: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class History:
    """The history of a report.

    Parameters
    ----------
    published : str
        Day of the first publication; empty for a draft.
    latest : str
        The newest revision and its day, in words; empty where there is only the first.
    revisions : tuple of RevisionView
        Newest first, what is pending before them all.
    record : str
        Way to the record itself; empty where it is not beside the page.
    """

    published: str = ""
    latest: str = ""
    revisions: tuple[RevisionView, ...] = ()
    record: str = ""


@dataclass(frozen=True, slots=True)
class EarlierContext:
    """Everything ``earlier.html.j2`` prints: a report as its record has it, or that it was withdrawn.

    Parameters
    ----------
    frame : Frame
        Site and page.
    campaign : str
        The campaign.
    heading : str
        The report's title.
    specimen : str
        Maker and model, or other words for what it is about.
    lead : tuple of str
        What page this is, a paragraph each.
    facts : tuple of Fact
        Revision, date, reason, day of the test.
    prose : Prose
        The reviewer's words, with the figures of that day in them.
    claims : tuple of (str, str)
        Sentence and verdict.
    reply : str
        The maker's reply.
    figures : FigureTable or None
        All figures; None where there are none.
    versions : tuple of Fact
        Methods, choices, software.
    inputs : tuple of Fact
        Files and their checksums.
    files : tuple of Fact
        Files beside the page: what they are, and their names.
    history : History
        All revisions.
    """

    frame: Frame
    campaign: str
    heading: str
    specimen: str
    lead: tuple[str, ...]
    facts: tuple[Fact, ...]
    prose: Prose
    claims: tuple[tuple[str, str], ...] = ()
    reply: str = ""
    figures: FigureTable | None = None
    versions: tuple[Fact, ...] = ()
    inputs: tuple[Fact, ...] = ()
    files: tuple[Fact, ...] = ()
    history: History = field(default_factory=History)


@dataclass(frozen=True, slots=True)
class Erratum:
    """One revision of one report, on the page of errata.

    Parameters
    ----------
    campaign : str
        The campaign.
    heading : str
        The report's title.
    report : str
        Percent-encoded way to the report.
    revision : RevisionView
        What changed.
    """

    campaign: str
    heading: str
    report: str
    revision: RevisionView


@dataclass(frozen=True, slots=True)
class ErrataContext:
    """Everything ``errata.html.j2`` prints.

    Parameters
    ----------
    frame : Frame
        Site and page.
    errata : tuple of Erratum
        Newest first.
    """

    frame: Frame
    errata: tuple[Erratum, ...]


@dataclass(frozen=True, slots=True)
class FeedEntry:
    """One entry of the feed.

    Parameters
    ----------
    id : str
        ``urn:uuid:…``, the same as long as lab, campaign and revision are.
    title : str
        Words.
    updated : str
        RFC 3339.
    href : str
        Percent-encoded, relative to the site's root.
    summary : str
        Reason, verdicts and how many figures changed.
    """

    id: str
    title: str
    updated: str
    href: str
    summary: str


@dataclass(frozen=True, slots=True)
class FeedContext:
    """Everything ``feed.xml.j2`` prints.

    Parameters
    ----------
    id : str
        The feed's own, made of the lab's name.
    title : str
        Words.
    base : str
        The lab's address, ending in a slash; empty if it states none, and links are relative then.
    lab : str
        Name of the lab.
    updated : str
        RFC 3339: the day of the newest entry.
    entries : tuple of FeedEntry
        Newest first.
    """

    id: str
    title: str
    base: str
    lab: str
    updated: str
    entries: tuple[FeedEntry, ...]
