"""What the template of the impact page prints: frozen records, ready to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchproof.report.views.history import ChangeView, FlipView
    from benchproof.report.views.pages import Frame
    from benchproof.report.views.told import Link


@dataclass(frozen=True, slots=True)
class FlippedView:
    """A verdict that would change.

    Parameters
    ----------
    report : Link
        The campaign's report; its anchor is the way to it.
    flip : FlipView
        The sentence with both verdicts.
    why : str
        What changed under the campaign.
    """

    report: Link
    flip: FlipView
    why: str


@dataclass(frozen=True, slots=True)
class MovedView:
    """A figure that would move.

    Parameters
    ----------
    report : Link
        The campaign's report.
    change : ChangeView
        The figure before and now.
    """

    report: Link
    change: ChangeView


@dataclass(frozen=True, slots=True)
class CauseView:
    """All that moved for the same reason.

    Parameters
    ----------
    title : str
        The causes in words.
    stroke : int
        Number of its stroke in the drawing, from 1; 0 for those that share the last.
    sign : str
        The shape of its dots in the drawing; empty for those that share the last.
    count : str
        How many figures of how many campaigns.
    moved : tuple of MovedView
        The largest moves first.
    more : str
        How many are not listed; empty if all are.
    """

    title: str
    stroke: int
    sign: str
    count: str
    moved: tuple[MovedView, ...]
    more: str


@dataclass(frozen=True, slots=True)
class BridgeView:
    """What a method's new version makes of a quantity.

    Parameters
    ----------
    method : str
        The method and both versions.
    title : str
        The quantity in words.
    ratio : str
        New over old, with its interval.
    campaigns : str
        Over how many campaigns.
    """

    method: str
    title: str
    ratio: str
    campaigns: str


@dataclass(frozen=True, slots=True)
class ImpactContext:
    """Everything ``impact.html.j2`` prints.

    Parameters
    ----------
    frame : Frame
        Site and page.
    lead : str
        All in one sentence.
    flipped : tuple of FlippedView
        Verdicts, before anything else.
    swapped : tuple of str
        Pairs of campaigns that would change places, a sentence each.
    more_swapped : str
        How many more there are; empty if all are listed.
    still : str
        Way to the drawing; empty if nothing moved.
    alt : str
        What the drawing shows, in words.
    floor : str
        What counts as noise.
    causes : tuple of CauseView
        What moved, by cause.
    bridges : tuple of BridgeView
        By method version.
    quiet : tuple of str
        Campaigns that did not move, that were never published, that failed; a sentence each.
    """

    frame: Frame
    lead: str
    flipped: tuple[FlippedView, ...]
    swapped: tuple[str, ...]
    more_swapped: str
    still: str
    alt: str
    floor: str
    causes: tuple[CauseView, ...]
    bridges: tuple[BridgeView, ...]
    quiet: tuple[str, ...]
