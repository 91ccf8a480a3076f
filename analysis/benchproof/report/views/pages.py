"""What each page gets: one frozen record a page."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchproof.report.prose import Prose
    from benchproof.report.views.shown import ChartView, FigureTable, Headline, TableView
    from benchproof.report.views.told import (
        ClaimView,
        DownloadGroup,
        ExclusionView,
        Link,
        Provenance,
        SectionView,
        Setup,
        WarningView,
    )
    from benchproof.report.words import Fact


@dataclass(frozen=True, slots=True)
class Frame:
    """What every page of the site has around its content.

    Parameters
    ----------
    title : str
        For the browser's tab.
    description : str
        One sentence for search engines and previews.
    root : str
        Relative way to the site's root, ``""`` or ``"../../"``.
    policy : str
        The content security policy.
    lab : str
        Name of the lab.
    lab_url : str
        Its address on the web; empty if it has none or it is no web address.
    preview : bool
        Whether this is a preview, not a publication.
    invented : bool
        Whether the page shows invented data.
    """

    title: str
    description: str
    root: str
    policy: str
    lab: str
    lab_url: str
    preview: bool
    invented: bool


@dataclass(frozen=True, slots=True)
class ReportContext:
    """Everything ``report.html.j2`` prints.

    Parameters
    ----------
    frame : Frame
        Site and page.
    campaign : str
        Key of the campaign.
    heading : str
        The report's title.
    specimen : str
        Maker and model.
    tested : str
        Day of the test.
    provenance : Provenance
        Who paid.
    prose : Prose
        The reviewer's words.
    headlines : tuple of Headline
        At most three.
    coverage : str
        Coverage of the intervals, in percent.
    main_chart : ChartView or None
        The chart at the top.
    claims : tuple of ClaimView
        Sentences held against the data.
    warnings, more_warnings : tuple of WarningView
        The first few, and those that fold away.
    figures : FigureTable
        All figures.
    sample_words : str
        How many samples stand behind the figures, in a sentence.
    sections : tuple of SectionView
        Test by test.
    budgets : tuple of TableView
        Uncertainty budgets of the campaign as a whole.
    setup : Setup
        Specimen, bench, conditions.
    exclusions : tuple of ExclusionView
        Logs that count in no figure.
    reply : str
        The maker's answer, word for word; empty if there is none.
    not_measured : tuple of str
        Quantities without a figure.
    unreached : tuple of str
        Figures that were looked for and not reached or withheld, in words.
    cautions : tuple of str
        Keys of the cautions that belong to the tests.
    downloads : tuple of DownloadGroup
        Files with checksums.
    software, inputs : tuple of Fact
        Versions; files and their checksums.
    data_license : str
        The lab's licence for its data; empty if none is stated.
    contents : tuple of Link
        What is where.
    """

    frame: Frame
    campaign: str
    heading: str
    specimen: str
    tested: str
    provenance: Provenance
    prose: Prose
    headlines: tuple[Headline, ...]
    coverage: str
    main_chart: ChartView | None
    claims: tuple[ClaimView, ...]
    warnings: tuple[WarningView, ...]
    more_warnings: tuple[WarningView, ...]
    figures: FigureTable
    sample_words: str
    sections: tuple[SectionView, ...]
    budgets: tuple[TableView, ...]
    setup: Setup
    exclusions: tuple[ExclusionView, ...]
    reply: str
    not_measured: tuple[str, ...]
    unreached: tuple[str, ...]
    cautions: tuple[str, ...]
    downloads: tuple[DownloadGroup, ...]
    software: tuple[Fact, ...]
    inputs: tuple[Fact, ...]
    data_license: str
    contents: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class IndexRow:
    """One report on the index page.

    Parameters
    ----------
    campaign : str
        Key of the campaign; reports are listed by test date, newest first, then by key.
    href : str
        Percent-encoded, relative to the site's root.
    heading : str
        The report's title.
    specimen : str
        Maker and model.
    tested : str
        Day of the test.
    headlines : tuple of Headline
        Two figures.
    source : str
        Who paid, in a word.
    invented : bool
        Whether its data are invented.
    """

    campaign: str
    href: str
    heading: str
    specimen: str
    tested: str
    headlines: tuple[Headline, ...]
    source: str
    invented: bool


@dataclass(frozen=True, slots=True)
class IndexContext:
    """Everything ``index.html.j2`` prints.

    Parameters
    ----------
    frame : Frame
        Site and page.
    disclosure : str
        The lab's disclosure.
    reports : tuple of IndexRow
        Newest test first.
    """

    frame: Frame
    disclosure: str
    reports: tuple[IndexRow, ...] = field(default_factory=tuple)
