"""What templates print of methods, specimen, bench and words: frozen records, ready to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchproof.report.views.shown import ChartView, Download, TableView
    from benchproof.report.words import Fact


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
    detail : str
        What was compared, or why nothing could be.
    """

    say: str
    verdict: str
    probability: str
    detail: str = ""


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
