"""The comparison's page record: everything around the figures that its page prints, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.campaign.models.base import required
from benchproof.campaign.plain import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.campaign.checked import CheckedComparison
    from benchproof.campaign.models.campaign import Campaign
    from benchproof.findings.entrants import Entrant
    from benchproof.notebooks.session import OpenBench

_CAME: Final = {"bought": "bought by the lab", "supplied": "supplied to the lab", "loan": "lent to the lab"}


def how_it_came(campaign: Campaign) -> str:
    """Return who paid for a campaign's pieces, in words."""
    return _CAME[required(campaign.specimen).source]


def comparison_record(
    checked: CheckedComparison,
    entrants: Sequence[Entrant],
    benches: Sequence[OpenBench],
    leaders: Sequence[str],
    compared: Sequence[str],
) -> dict[str, Any]:
    """Return the page record of a comparison (shape: the report's ComparisonPage)."""
    campaign, lab = checked.campaign, checked.lab
    return {
        "section": "page",
        "name": "page",
        "campaign": campaign.campaign,
        "title": campaign.title,
        "lab": {k: v for k, v in plain(lab.lab).items() if k != "invented"},
        "members": [_member(entrant) for entrant in entrants],
        "leaders": list(leaders),
        "compared": list(compared),
        "cautions": list(dict.fromkeys(c for b in benches for s in b.sections() for c in s.method.cautions)),
        "reply": campaign.reply,
        "text": campaign.text,
        "invented": lab.lab.invented,
    }


def _member(entrant: Entrant) -> dict[str, Any]:
    campaign, specimen = entrant.campaign, entrant.specimen
    return {
        "campaign": campaign.campaign,
        "label": entrant.label,
        "maker": specimen.maker,
        "model": specimen.model,
        "tested": required(campaign.dates).tested.isoformat(),
        "source": specimen.source,
        "samples": [sample.id for sample in specimen.samples],
        "notes": [_note(test) for test in campaign.tests if test.test == "inspection" and test.exclude is None],
        "exclusions": [
            {"test": test.test, "sample": test.sample, "reason": test.exclude}
            for test in campaign.tests
            if test.exclude is not None
        ],
    }


def _note(test: Any) -> dict[str, str]:
    return {name: value for name in ("sample", "finding", "about") if (value := getattr(test, name))}
