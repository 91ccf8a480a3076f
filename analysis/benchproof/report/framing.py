"""What all pages have around their content: frame, policy, warnings, files."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Protocol

from benchproof.report.views import Download, DownloadGroup, Frame, WarningView

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.report.comparison_records import ComparisonPage
    from benchproof.report.history import Past
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


class Named(Protocol):
    """Who tests: the lab of a lab file or of a page."""

    @property
    def name(self) -> str:
        """Its name."""

    @property
    def url(self) -> str | None:
        """Its address."""


def framed(
    lab: Named,
    *,
    title: str,
    description: str,
    root: str,
    invented: bool,
    preview: bool = False,
    mark: str = "",
    standing: str = "",
) -> Frame:
    """Return a page's frame.

    Parameters
    ----------
    lab : Named
        Who tests.
    title, description : str
        Words for the tab and for search engines.
    root : str
        Relative way to the site's root.
    invented : bool
        Whether the page shows invented data.
    preview : bool
        Whether the page belongs to a preview.
    mark, standing : str
        A word and a sentence on where the page stands; empty for a published report.
    """
    return Frame(title, description, root, POLICY, lab.name, web_address(lab.url), preview, invented, mark, standing)


def report_frame(page: Page | ComparisonPage, description: str, past: Past, *, preview: bool) -> Frame:
    """Return the frame of a report's page."""
    return framed(
        page.lab,
        title=f"{page.title} · {page.lab.name}",
        description=description,
        root="../../",
        invented=page.invented,
        preview=preview,
        mark="Preview." if preview else "",
        standing=past.sentence,
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
