"""What a comparison's notebook hands to its page, beside figures, charts and tables."""

from __future__ import annotations

from typing import Literal

from benchproof.report.records import CampaignName, Exclusion, Finding, Lab, Record


class Member(Record):
    """One campaign of a comparison: what it is called, who paid, what was noted."""

    campaign: CampaignName
    label: str
    maker: str
    model: str
    tested: str
    source: Literal["bought", "supplied", "loan"]
    samples: tuple[str, ...]
    notes: tuple[Finding, ...] = ()
    exclusions: tuple[Exclusion, ...] = ()


class ComparisonPage(Record):
    """Everything a comparison's page prints beside figures, charts and tables."""

    section: Literal["page"] = "page"
    name: str = ""
    campaign: CampaignName
    title: str
    lab: Lab
    members: tuple[Member, ...]
    leaders: tuple[str, ...] = ()
    compared: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    reply: str | None = None
    text: str | None = None
    invented: bool
