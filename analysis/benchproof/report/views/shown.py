"""What templates print of figures, charts and tables: frozen records, ready to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.report.printing import Printed
    from benchproof.report.words import Fact


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
    column : str
        Heading of the column it stands in.
    printed : Printed or None
        None if there is no such entry.
    notes : tuple of str
        Flags in words that the row does not say already.
    """

    anchor: str
    column: str
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
    cells : tuple of Cell
        In the order of the table's columns.
    notes : tuple of str
        Flags that all cells share, in words.
    """

    anchor: str
    title: str
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
    meanings : tuple of Fact
        What each quantity is.
    """

    columns: tuple[str, ...]
    groups: tuple[FigureGroup, ...]
    meanings: tuple[Fact, ...]


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
    note : str
        Which of its points are printed, if not all.
    rows : tuple of tuple of str
        Abscissa, value, low end, high end.
    """

    label: str
    note: str
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
    computed : str
        Link to the notebook's cell that shows it.
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
    computed: str
    keys: tuple[Key, ...]
    headings: tuple[str, ...]
    points: tuple[PointGroup, ...]
    downloads: tuple[Download, ...]
