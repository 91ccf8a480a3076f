"""What the templates get: one frozen record for each page and each thing on it.

Templates print these and compute nothing. A test holds the fields below against the names that the templates use.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.report.printing import Printed
    from benchproof.report.prose import Prose
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
class Headline:
    """One of the figures at the top.

    Parameters
    ----------
    title : str
        The quantity in words.
    point : str
        Its operating point in words.
    printed : Printed
        Value, unit, interval.
    anchor : str
        Where its row is on the page.
    """

    title: str
    point: str
    printed: Printed
    anchor: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One figure in the table of all figures.

    Parameters
    ----------
    anchor : str
        Its own anchor.
    printed : Printed or None
        None if there is no such entry.
    notes : tuple of str
        Flags in words that the row does not say already.
    """

    anchor: str
    printed: Printed | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One quantity at one operating point.

    Parameters
    ----------
    anchor : str
        Stable: made of name and operating point.
    title : str
        The quantity in words.
    meaning : str
        What the quantity is.
    cells : tuple of Cell
        In the order of the table's columns.
    notes : tuple of str
        Flags that all cells share, in words.
    """

    anchor: str
    title: str
    meaning: str
    cells: tuple[Cell, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PointRows:
    """The figures at one operating point.

    Parameters
    ----------
    point : str
        The operating point in words; empty for figures that have none.
    rows : tuple of FigureRow
        One a quantity.
    """

    point: str
    rows: tuple[FigureRow, ...]


@dataclass(frozen=True, slots=True)
class FigureGroup:
    """The figures of one method.

    Parameters
    ----------
    title : str
        The method's title.
    version : str
        The method's version.
    link : str
        Anchor of the method's section; empty if the page has none.
    points : tuple of PointRows
        By operating point.
    notes : tuple of str
        Flags that all figures share, in words.
    """

    title: str
    version: str
    link: str
    points: tuple[PointRows, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FigureTable:
    """All figures.

    Parameters
    ----------
    columns : tuple of str
        Headings of the figure columns: the model, then each sample; or the only sample.
    groups : tuple of FigureGroup
        By method, in the order of results.json.
    """

    columns: tuple[str, ...]
    groups: tuple[FigureGroup, ...]


@dataclass(frozen=True, slots=True)
class TableColumn:
    """Heading of a column.

    Parameters
    ----------
    label : str
        Words.
    unit : str
        Unit as print has it.
    numeric : bool
        Whether cells stand to the right.
    """

    label: str
    unit: str
    numeric: bool


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row, its cells beside the columns they stand in.

    Parameters
    ----------
    cells : tuple of (TableColumn, str)
        Column and printed cell.
    """

    cells: tuple[tuple[TableColumn, str], ...]


@dataclass(frozen=True, slots=True)
class TableView:
    """One table.

    Parameters
    ----------
    anchor : str
        Its anchor.
    title : str
        Its heading.
    caption : str
        What it shows.
    columns : tuple of TableColumn
        Headings.
    rows : tuple of TableRow
        Rows.
    """

    anchor: str
    title: str
    caption: str
    columns: tuple[TableColumn, ...]
    rows: tuple[TableRow, ...]


@dataclass(frozen=True, slots=True)
class Key:
    """One entry of a chart's key: a sample that can be shown or hidden.

    Parameters
    ----------
    label : str
        Words.
    sample : str
        The value by which the script finds its traces.
    stroke : int
        Number of its stroke in the style sheet, from 1; 0 for the model.
    """

    label: str
    sample: str
    stroke: int


@dataclass(frozen=True, slots=True)
class Download:
    """A file to take away.

    Parameters
    ----------
    label : str
        Words, or the file's name.
    href : str
        Percent-encoded, relative to the page.
    note : str
        What it is.
    size : str
        Size in words.
    sha256 : str
        Checksum.
    """

    label: str
    href: str
    note: str = ""
    size: str = ""
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class PointGroup:
    """The points of one series, for the table under a chart.

    Parameters
    ----------
    label : str
        The series.
    rows : tuple of tuple of str
        Abscissa, value, low end, high end.
    """

    label: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class ChartView:
    """One chart.

    Parameters
    ----------
    anchor : str
        Its anchor.
    title : str
        Its heading.
    caption : str
        What it shows.
    alt : str
        What the still shows, in words.
    still : str
        Percent-encoded path of the still, relative to the page.
    live : Mapping
        The figure that the script draws, for both themes.
    keys : tuple of Key
        Samples to show or hide.
    headings : tuple of str
        Headings of the data table.
    points : tuple of PointGroup
        The data.
    downloads : tuple of Download
        Curve files.
    """

    anchor: str
    title: str
    caption: str
    alt: str
    still: str
    live: Mapping[str, object]
    keys: tuple[Key, ...]
    headings: tuple[str, ...]
    points: tuple[PointGroup, ...]
    downloads: tuple[Download, ...]


@dataclass(frozen=True, slots=True)
class ChoiceView:
    """One choice of the analysis.

    Parameters
    ----------
    name : str
        Key in the campaign file.
    value : str
        What was used.
    default : str
        What is used when nothing is said; empty where that is what was used.
    meaning : str
        What it changes.
    """

    name: str
    value: str
    default: str
    meaning: str


@dataclass(frozen=True, slots=True)
class MethodView:
    """How a section's figures were made.

    Parameters
    ----------
    title : str
        The method's name.
    version : str
        Its version.
    summary : str
        What is done.
    equations, sources : tuple of str
        One a line.
    choices : tuple of ChoiceView
        What could have been chosen otherwise.
    history : tuple of Fact
        Version and what changed.
    """

    title: str
    version: str
    summary: str
    equations: tuple[str, ...]
    sources: tuple[str, ...]
    choices: tuple[ChoiceView, ...]
    history: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class InspectionView:
    """What was seen.

    Parameters
    ----------
    sample : str
        On which sample.
    about : str
        What it concerns.
    finding : str
        The words.
    photo : str
        Percent-encoded path of the published photo; empty if there is none.
    width, height : int
        Its size in pixels, 0 without photo.
    """

    sample: str
    about: str
    finding: str
    photo: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class SectionView:
    """What one test shows.

    Parameters
    ----------
    key : str
        The method's key.
    anchor : str
        Its anchor.
    title : str
        Its heading.
    template : str
        The partial that prints it.
    method : MethodView or None
        How its figures were made.
    charts : tuple of ChartView
        Without the one at the top.
    tables : tuple of TableView
        In order.
    moved : ChartView or None
        The chart that stands at the top instead.
    inspections : tuple of InspectionView
        What was seen, for the inspection.
    """

    key: str
    anchor: str
    title: str
    template: str
    method: MethodView | None
    charts: tuple[ChartView, ...]
    tables: tuple[TableView, ...]
    moved: ChartView | None = None
    inspections: tuple[InspectionView, ...] = ()


@dataclass(frozen=True, slots=True)
class Provenance:
    """Who paid and who says so.

    Parameters
    ----------
    word : str
        Bought, supplied or on loan.
    sentence : str
        The same as a sentence.
    price : str
        Price, channel and the day it was seen.
    disclosure : str
        The lab's own words.
    """

    word: str
    sentence: str
    price: str
    disclosure: str


@dataclass(frozen=True, slots=True)
class Thing:
    """A named thing of the bench with facts about it.

    Parameters
    ----------
    name : str
        Its name.
    facts : tuple of Fact
        What is known of it.
    """

    name: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Setup:
    """What was tested, where, with what.

    Parameters
    ----------
    specimen, label, design : tuple of Fact
        The specimen, what its seller states, and how it is made.
    samples : tuple of Fact
        Sample and batch.
    dates : tuple of Fact
        Received, tested.
    rig : Thing
        The bench.
    drive : Thing or None
        The drive, if stated.
    propellers, flywheels : tuple of Thing
        Loads.
    instruments : TableView or None
        Instruments, what they measure, error statements.
    calibrations : TableView or None
        Those in force.
    conditions : TableView or None
        Air and other conditions, by test.
    tables : tuple of TableView
        Further tables of the campaign as a whole.
    charts : tuple of ChartView
        Further charts of the campaign as a whole.
    """

    specimen: tuple[Fact, ...]
    label: tuple[Fact, ...]
    design: tuple[Fact, ...]
    samples: tuple[Fact, ...]
    dates: tuple[Fact, ...]
    rig: Thing
    drive: Thing | None
    propellers: tuple[Thing, ...]
    flywheels: tuple[Thing, ...]
    instruments: TableView | None
    calibrations: TableView | None
    conditions: TableView | None
    tables: tuple[TableView, ...]
    charts: tuple[ChartView, ...]


@dataclass(frozen=True, slots=True)
class WarningView:
    """A warning.

    Parameters
    ----------
    where : str
        What it concerns.
    message : str
        A sentence.
    """

    where: str
    message: str


@dataclass(frozen=True, slots=True)
class ExclusionView:
    """A log that counts in no figure.

    Parameters
    ----------
    test : str
        The test in words.
    sample : str
        The sample.
    log : Download or None
        The log, kept.
    name : str
        The log's name.
    reason : str
        The lab's words.
    """

    test: str
    sample: str
    log: Download | None
    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class ClaimView:
    """A sentence and whether the data carry it.

    Parameters
    ----------
    say : str
        The sentence.
    verdict : str
        supported, not shown, contradicted.
    probability : str
        In words.
    """

    say: str
    verdict: str
    probability: str


@dataclass(frozen=True, slots=True)
class DownloadGroup:
    """Files of one kind.

    Parameters
    ----------
    title : str
        What they are.
    files : tuple of Download
        The files.
    """

    title: str
    files: tuple[Download, ...]


@dataclass(frozen=True, slots=True)
class Link:
    """A place on the page.

    Parameters
    ----------
    anchor : str
        The place.
    title : str
        Words.
    """

    anchor: str
    title: str


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
