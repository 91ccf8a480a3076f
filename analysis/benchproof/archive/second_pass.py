"""The second pass: what looks at other campaigns, made from the first pass's kept figures.

Claims and comparing quotes come after every campaign has its figures, so campaigns may refer to each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchproof.campaign.quoting import Quote, parse

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.archive.kept import Kept
    from benchproof.campaign.check import Checked
    from benchproof.campaign.models.campaign import Campaign


@dataclass(frozen=True, slots=True)
class Addition:
    """What the second pass adds to a campaign's report.

    Parameters
    ----------
    claims : tuple of Mapping
        ``claims`` of results.json.
    """

    claims: tuple[Mapping[str, Any], ...] = ()


def second_pass(checked: Checked, kept: Kept) -> Addition:
    """Return what a campaign's claims and comparing quotes come to.

    Parameters
    ----------
    checked : Checked
        The campaign.
    kept : Kept
        Figures of all campaigns that could be built.
    """
    return Addition()


def referred_to(campaign: Campaign, known: frozenset[str]) -> frozenset[str]:
    """Return the campaigns that a campaign is compared with: in claims, in quotes, in a comparison."""
    quotes = {piece.than for piece in parse(campaign.text or "") if isinstance(piece, Quote)}
    claims = {claim.than for claim in campaign.claims}
    return frozenset(name for name in known if name in quotes | claims | set(campaign.campaigns))
