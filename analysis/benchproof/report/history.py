"""A report's history for its page, and what a preview says of where it stands."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

from benchproof.findings.moves import key_of, move_of
from benchproof.report.changes import changes, printed
from benchproof.report.views.history import ChangeView, FlipView, History, RevisionView
from benchproof.report.words import point_words, quantity_title, words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchproof.findings.moves import Move
    from benchproof.report.changes import Changes, Pair
    from benchproof.report.revision import Content, Revision

Stand = Literal["draft", "pending", "published", "withdrawn"]

_PARTS: Final = {
    "text": "the reviewer's words",
    "reply": "the maker's reply",
    "specimen": "the description of the specimen",
    "exclusions": "what is left out, and why",
    "inspections": "what the inspections found",
    "dates": "the dates",
    "disclosure": "the lab's disclosure",
}
_LISTED: Final = 12
"""Figures that stand in sight; the rest is folded."""

_SMALL: Final = 0.005
"""Smallest change of a value that is told of, in standard uncertainties."""

_WIDER: Final = 1.0
"""Smallest change of an interval's width that is told of, in percent."""


@dataclass(frozen=True, slots=True)
class Past:
    """What was published of a report, as its page tells it.

    Parameters
    ----------
    history : History
        The history.
    sentence : str
        Where a preview stands; empty for a published page.
    record : bytes
        The record that stands beside a published page.
    """

    history: History = field(default_factory=History)
    sentence: str = ""
    record: bytes = b""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a preview stands against what was published.

    Parameters
    ----------
    stand : {"draft", "pending", "published", "withdrawn"}
        In a word.
    mark : str
        A word or two for lists.
    sentence : str
        What it means, for the page's band.
    """

    stand: Stand
    mark: str
    sentence: str


def standing(now: Content, revisions: Sequence[Revision]) -> Standing:
    """Return where a report stands: never published, as published, to be revised, or withdrawn."""
    if not revisions:
        return Standing("draft", "Draft", "Draft: this report has never been published.")
    latest = revisions[-1]
    if latest.withdrawn:
        return Standing("withdrawn", "Withdrawn", f"The published report was withdrawn on {latest.date}.")
    of = f"revision {latest.revision} of {latest.date}"
    if changes(latest, now):
        sentence = f"Pending revision: this page differs from {of}; “What was published when” says how."
        return Standing("pending", "Pending revision", sentence)
    return Standing("published", "As published", f"As published: figures and words are those of {of}.")


def history(revisions: Sequence[Revision], *, pending: Content | None = None, root: str = "") -> History:
    """Return a report's history, newest first.

    Parameters
    ----------
    revisions : sequence of Revision
        The record.
    pending : Content or None
        What a preview shows, if that is not published.
    root : str
        Way from the page to the report's folder.
    """
    if not revisions:
        return History()
    views = [revision_view(revisions, k, root=root) for k in range(len(revisions))]
    if pending is not None and not revisions[-1].withdrawn:
        found = changes(revisions[-1], pending)
        if found:
            views.append(_view(found, "pending", "Pending, not published", "", "", ""))
    latest = revisions[-1]
    spoken = "withdrawn" if latest.withdrawn else f"revision {latest.revision}"
    return History(
        published=revisions[0].date,
        latest=f"{spoken}, {latest.date}" if len(revisions) > 1 else "",
        revisions=tuple(reversed(views)),
        record=f"{root}record.jsonl" if pending is None else "",
    )


def revision_view(revisions: Sequence[Revision], place: int, *, root: str) -> RevisionView:
    """Return one revision of a record, with what changed since the one before it that had figures."""
    revision = revisions[place]
    earlier = next((each for each in reversed(revisions[:place]) if not each.withdrawn), None)
    found = changes(earlier, revision) if earlier is not None and not revision.withdrawn else None
    is_last = place == len(revisions) - 1
    href = "" if is_last or revision.withdrawn else f"{root}rev/{revision.revision}/index.html"
    heading = f"Revision {revision.revision}"
    if revision.withdrawn:
        heading += ": withdrawn"
    elif earlier is None:
        heading += ": first published"
    elif revisions[place - 1].withdrawn:
        heading += ": published again"
    return _view(found, f"revision-{revision.revision}", heading, revision.date, revision.reason, href)


def _view(found: Changes | None, anchor: str, heading: str, date: str, reason: str, href: str) -> RevisionView:
    pairs = () if found is None else found.pairs
    weights = {id(pair): _weight(pair) for pair in pairs}
    ordered = sorted(pairs, key=lambda pair: (pair.figure.sample is not None, -weights[id(pair)]))
    views = tuple(map(_change, ordered))
    return RevisionView(
        anchor=anchor,
        heading=heading,
        date=date,
        reason=reason,
        href=href,
        flips=()
        if found is None
        else tuple(FlipView(flip.say, flip.old or "not there", flip.new or "not there") for flip in found.flips),
        changes=views[:_LISTED],
        more_changes=views[_LISTED:],
        others=() if found is None else tuple(_others(found)),
    )


def _change(pair: Pair) -> ChangeView:
    figure = pair.figure
    return ChangeView(
        title=quantity_title(figure.name),
        point=point_words(figure.at),
        whose=whose(figure.sample, figure.campaign),
        old=printed(pair.old),
        new=printed(pair.new),
        by=_by(pair),
    )


def whose(sample: str | None, campaign: str | None) -> str:
    """Return whose figure it is: the model's or a sample's, and of which campaign in a comparison."""
    of = "model" if sample is None else f"sample {sample}"
    return f"{of}, {campaign}" if campaign else of


def _move(pair: Pair) -> Move | None:
    old, new = (None if figure is None else figure.model_dump(mode="json") for figure in (pair.old, pair.new))
    return move_of(key_of(new or old or {}), old, new)


def _weight(pair: Pair) -> float:
    """Return what figures are sorted by: how far they moved, those that came or went first."""
    move = _move(pair)
    return 0.0 if move is None else move.weight


def _by(pair: Pair) -> str:
    """Return how far a figure moved, in percent and in its standard uncertainty."""
    move = _move(pair)
    return "" if move is None else moved_words(move.percent, move.in_uncertainties, move.widened_percent)


def moved_words(percent: float | None, in_uncertainties: float | None, widened: float | None = None) -> str:
    """Return a move in words, signs as print has them; empty where nothing can be said.

    Examples
    --------
    >>> moved_words(-0.84, -1.23), moved_words(0.0, 0.001, -21.0), moved_words(None, None)
    ('−0.84 %, −1.2 u', 'interval 21 % narrower', '')
    """
    told = []
    if in_uncertainties is None or abs(in_uncertainties) >= _SMALL:
        told += [f"{percent:+.2g} %"] if percent is not None else []
        told += [f"{in_uncertainties:+.2g} u"] if in_uncertainties is not None else []
    if widened is not None and abs(widened) >= _WIDER:
        told += [f"interval {abs(widened):.2g} % {'wider' if widened > 0 else 'narrower'}"]
    return ", ".join(told).replace("-", "−") or ("" if in_uncertainties is None else "less than 0.01 u")


def _others(found: Changes) -> Iterator[str]:
    if found.compared:
        yield "What the text says against other reports reads otherwise."
    if found.archive:
        yield "What is told with the lab's whole archive reads otherwise."
    if found.words:
        named = [_PARTS.get(part, words(part)) for part in found.words]
        yield f"Changed words: {', '.join(named)}."
    for made in found.made_by:
        yield f"Method or choice: {made}."
    if found.setup:
        yield "The bench is described otherwise."
    if found.made_by and not found.pairs:
        yield "No printed figure moved."
