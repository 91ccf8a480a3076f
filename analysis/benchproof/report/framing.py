"""What all pages have around their content: frame, policy, warnings, files."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from benchproof.report.views import Download, DownloadGroup, Frame, WarningView

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.report.comparison_records import ComparisonPage
    from benchproof.report.records import Notice, Page, Results

POLICY: Final = (
    "default-src 'none'; script-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; "
    "style-src 'self' 'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
)
"""Nothing runs or loads but the site's own files.

The digest is that of an empty style element: the chart library makes one and fills it rule by rule from its own script,
which the policy allows. Any style text from elsewhere is refused.
"""

FIRST_WARNINGS: Final = 4
"""Warnings that stand open; the rest folds away."""


@dataclass(frozen=True, slots=True)
class Files:
    """Files that stand beside a page, ready to be linked.

    Parameters
    ----------
    groups : tuple of DownloadGroup
        By kind.
    photos : Mapping of str to tuple
        Size in pixels of each published photo, by its path.
    """

    groups: tuple[DownloadGroup, ...]
    photos: Mapping[str, tuple[int, int]] = field(default_factory=dict)

    def find(self, label: str) -> Download | None:
        """Return the file of that name."""
        return next((file for group in self.groups for file in group.files if file.label == label), None)


def report_frame(page: Page | ComparisonPage, description: str, *, preview: bool) -> Frame:
    """Return the frame of a report's page."""
    return Frame(
        title=f"{page.title} · {page.lab.name}",
        description=description,
        root="../../",
        policy=POLICY,
        lab=page.lab.name,
        lab_url=web_address(page.lab.url),
        preview=preview,
        invented=page.invented,
    )


def web_address(url: str | None) -> str:
    """Return an address that leads to the web; empty for any other."""
    return url if url and re.match(r"https?://", url) else ""


def coverage_words(results: Results) -> str:
    """Return the coverage of the intervals, in per cent."""
    coverage = results.quantities[0].coverage if results.quantities else 0.95
    return f"{100 * coverage:g}"


def warning_view(notice: Notice) -> WarningView:
    """Return a warning as a sentence: capital letter, full stop."""
    message = notice.message.strip().rstrip(".")
    return WarningView(notice.where, f"{message[:1].upper()}{message[1:]}.")
