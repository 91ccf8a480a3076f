"""What a campaign's bundle holds: its inputs, and those of every campaign it is compared with."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.archive.second_pass import referred_to
from benchproof.campaign.check import check_campaign
from benchproof.errors import BenchproofError
from benchproof.methods import built_tests, known_choices
from benchproof.report.bundle import Sources

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.campaign.checked import Checked, CheckedComparison
    from benchproof.campaign.workspace import Workspace


def bundle_sources(checked: Checked | CheckedComparison) -> Sources:
    """Return the files of a campaign's bundle, by their path in the workspace.

    A campaign that cannot be used is left out; what is compared with it says so on the page.
    """
    root = checked.workspace.root
    names = {name for each in with_compared(checked) for name in each.files()}
    return Sources({name: root / name for name in sorted(names)}, checked.campaign.kind)


def with_compared(checked: Checked | CheckedComparison) -> Iterator[Checked | CheckedComparison]:
    """Yield a campaign and those it is compared with, and those these are compared with, each once."""
    workspace, known = checked.workspace, frozenset(checked.workspace.campaign_names())
    seen: set[str]
    waiting: list[Checked | CheckedComparison]
    waiting, seen = [checked], {checked.campaign.campaign}
    while waiting:
        each = waiting.pop()
        yield each
        for name in sorted(referred_to(each.campaign, known) - seen):
            seen.add(name)
            if (other := _usable(workspace, name)) is not None:
                waiting.append(other)


def _usable(workspace: Workspace, name: str) -> Checked | CheckedComparison | None:
    try:
        return check_campaign(workspace, name, built_tests=built_tests(), known_choices=known_choices(), logs=False)
    except BenchproofError:
        return None
