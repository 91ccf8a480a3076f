"""What each page gets: one frozen record a page."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from markupsafe import Markup

    from benchproof.report.prose import Prose
    from benchproof.report.views.history import History
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
    mark, standing : str
        A word and a sentence on where the page stands; empty for a published report.
    """

    title: str
    description: str
    root: str
    policy: str
    lab: str
    lab_url: str
    preview: bool
    invented: bool
    mark: str = ""
    standing: str = ""


@dataclass(frozen=True, slots=True)
class ReportContext:
    """Everything ``report.html.j2`` prints.

    Parameters
    ----------
    frame : Frame
        Site and page.
    linked : Mapping
        The report as linked data (schema.org).
    campaign : str
        Key of the campaign.
    kind : str
        Its notebook's kind.
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
    labels, uses : tuple of TableView
        What the seller states against what was found; how the motor suits airframes.
    warnings, more_warnings : tuple of WarningView
        The first few, and those that fold away.
    figures : FigureTable
        All figures.
    sample_words : str
        How many samples stand behind the figures, in a sentence.
    spreads : TableView or None
        The archive's spread of pieces behind the model's figures.
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
    history : History
        What was published when, and what changed.
    """

    frame: Frame
    linked: Mapping[str, Any]
    campaign: str
    kind: str
    heading: str
    specimen: str
    tested: str
    provenance: Provenance
    prose: Prose
    headlines: tuple[Headline, ...]
    coverage: str
    main_chart: ChartView | None
    claims: tuple[ClaimView, ...]
    labels: tuple[TableView, ...]
    uses: tuple[TableView, ...]
    warnings: tuple[WarningView, ...]
    more_warnings: tuple[WarningView, ...]
    figures: FigureTable
    sample_words: str
    spreads: TableView | None
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
    history: History


@dataclass(frozen=True, slots=True)
class MemberView:
    """One campaign on a comparison's page.

    Parameters
    ----------
    label, maker : str
        The motor.
    href : str
        Its report, relative to the comparison's page.
    tested : str
        Day of the test.
    notes, exclusions : tuple of str
        What was seen, and which logs count in no figure, a sentence each.
    """

    label: str
    maker: str
    href: str
    tested: str
    notes: tuple[str, ...]
    exclusions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartView:
    """One part of a comparison.

    Parameters
    ----------
    anchor, title, lead : str
        Place on the page, heading, a sentence on how to read it; empty for none.
    tables, more_tables : tuple of TableView
        Its tables: those that stand open, and those that fold away.
    charts, more_charts : tuple of ChartView
        Its charts, likewise.
    """

    anchor: str
    title: str
    lead: str
    tables: tuple[TableView, ...]
    more_tables: tuple[TableView, ...]
    charts: tuple[ChartView, ...]
    more_charts: tuple[ChartView, ...]


@dataclass(frozen=True, slots=True)
class ComparisonContext:
    """Everything ``comparison.html.j2`` prints.

    Parameters
    ----------
    frame : Frame
        Site and page.
    campaign : str
        Key of the comparison.
    kind : str
        Its notebook's kind.
    heading : str
        Its title.
    prose : Prose
        The reviewer's words.
    leaders : tuple of str
        Who leads in what, a sentence each.
    disclosure : str
        Who pays for the lab's tests.
    sources : tuple of Provenance
        Who paid for which motors.
    members : tuple of MemberView
        The campaigns, the reference first.
    coverage : str
        Coverage of the intervals, in percent.
    main_chart : ChartView or None
        The chart at the top.
    parts : tuple of PartView
        Verdict first.
    warnings, more_warnings : tuple of WarningView
        The first few, and those that fold away.
    reply : str
        A maker's answer, word for word; empty if there is none.
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
    history : History
        What was published when, and what changed.
    """

    frame: Frame
    campaign: str
    kind: str
    heading: str
    prose: Prose
    leaders: tuple[str, ...]
    disclosure: str
    sources: tuple[Provenance, ...]
    members: tuple[MemberView, ...]
    coverage: str
    main_chart: ChartView | None
    parts: tuple[PartView, ...]
    warnings: tuple[WarningView, ...]
    more_warnings: tuple[WarningView, ...]
    reply: str
    cautions: tuple[str, ...]
    downloads: tuple[DownloadGroup, ...]
    software: tuple[Fact, ...]
    inputs: tuple[Fact, ...]
    data_license: str
    contents: tuple[Link, ...]
    history: History


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
    stands : str
        In a preview, where it stands: draft, pending revision, as published, withdrawn.
    """

    campaign: str
    href: str
    heading: str
    specimen: str
    tested: str
    headlines: tuple[Headline, ...]
    source: str
    invented: bool
    stands: str = ""


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


@dataclass(frozen=True, slots=True)
class NotebookContext:
    """Everything ``notebook.html.j2`` prints.

    Parameters
    ----------
    frame : Frame
        Site and page.
    campaign : str
        Key of the campaign.
    heading : str
        The report's title.
    body : Markup
        The cells.
    """

    frame: Frame
    campaign: str
    heading: str
    body: Markup


@dataclass(frozen=True, slots=True)
class ScepticsContext:
    """Everything ``sceptics.html.j2`` prints.

    Parameters
    ----------
    frame : Frame
        Site and page.
    """

    frame: Frame
