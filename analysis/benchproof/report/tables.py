"""Tables of a page: all figures, the headline, and whatever tables a notebook shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.nomenclature import QUANTITIES
from benchproof.notebooks.drawing import unit_text
from benchproof.report.printing import print_figure
from benchproof.report.views import (
    Cell,
    FigureGroup,
    FigureRow,
    FigureTable,
    Headline,
    PointRows,
    TableColumn,
    TableRow,
    TableView,
)
from benchproof.report.words import anchor, flag_words, point_words, quantity_title, slug, visible

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.report.records import Figure, HeadlineName, Page, Results, Table

_SAID_BY_THE_CELL = ("not_reached",)


def headlines_of(page: Page, results: Results) -> tuple[Headline, ...]:
    """Return the first three figures the campaign asks to stand at the top, those that were reached."""
    found = [figure for wanted in page.headline if (figure := _headline(wanted, results)) is not None]
    return tuple(
        Headline(quantity_title(f.name), point_words(f.at), print_figure(f), anchor(f.name, f.at)) for f in found[:3]
    )


def _headline(wanted: str | HeadlineName, results: Results) -> Figure | None:
    name = wanted if isinstance(wanted, str) else wanted.name
    at = None if isinstance(wanted, str) else dict(wanted.at)
    models = [f for f in results.quantities if f.name == name and f.sample is None and f.value is not None]
    if at is None:
        return next((f for f in models if "part" not in f.at), None)
    return next((f for f in models if dict(f.at) == at), None)


def figure_table(results: Results, titles: Mapping[str, str]) -> FigureTable:
    """Return the table of all figures: a row for each quantity and operating point, a column for each sample.

    Parameters
    ----------
    results : Results
        The figures.
    titles : Mapping of str to str
        Title of each method's section, by its key.
    """
    samples = tuple(dict.fromkeys(f.sample for f in results.quantities if f.sample is not None))
    columns: tuple[str | None, ...] = (None, *samples) if len(samples) > 1 else samples or (None,)
    groups: dict[str, dict[str, list[Figure]]] = {}
    for figure in results.quantities:
        groups.setdefault(figure.method, {}).setdefault(anchor(figure.name, figure.at), []).append(figure)
    headings = tuple("Model" if sample is None else f"Sample {visible(sample)}" for sample in columns)
    if len(samples) == 1:
        headings = ("This sample",)
    return FigureTable(headings, tuple(_group(method, rows, columns, titles) for method, rows in groups.items()))


def _group(
    method: str,
    rows: Mapping[str, Sequence[Figure]],
    columns: Sequence[str | None],
    titles: Mapping[str, str],
) -> FigureGroup:
    key, _, version = method.partition("/")
    flags = [set(figure.flags) for figures in rows.values() for figure in figures]
    shared = tuple(flag for flag in next(iter(rows.values()))[0].flags if all(flag in each for each in flags))
    points: dict[str, list[FigureRow]] = {}
    for name, figures in rows.items():
        points.setdefault(point_words(figures[0].at), []).append(_row(name, figures, columns, shared))
    return FigureGroup(
        title=titles.get(key, key),
        version=version,
        link=f"section-{slug(key)}" if key in titles else "",
        points=tuple(PointRows(point, tuple(listed)) for point, listed in points.items()),
        notes=tuple(map(flag_words, shared)),
    )


def _row(name: str, figures: Sequence[Figure], columns: Sequence[str | None], said: Sequence[str]) -> FigureRow:
    first = figures[0]
    by_sample = {figure.sample: figure for figure in figures}
    shared = [flag for flag in first.flags if all(flag in figure.flags for figure in figures)]
    noted = [f for f in shared if f not in (*said, *_SAID_BY_THE_CELL) and not f.startswith("withheld")]
    return FigureRow(
        anchor=name,
        title=quantity_title(first.name),
        meaning=QUANTITIES[first.name].meaning if first.name in QUANTITIES else "",
        cells=tuple(_cell(name, sample, by_sample.get(sample), shared) for sample in columns),
        notes=tuple(map(flag_words, noted)),
    )


def _cell(name: str, sample: str | None, figure: Figure | None, shared: Sequence[str]) -> Cell:
    own = f"{name}-{slug(sample) if sample is not None else 'model'}"
    if figure is None:
        return Cell(own, None)
    said = (*shared, *_SAID_BY_THE_CELL)
    notes = tuple(flag_words(f) for f in figure.flags if f not in said and not f.startswith("withheld"))
    return Cell(own, print_figure(figure), notes)


def table_view(table: Table) -> TableView:
    """Return a notebook's table as a page prints it."""
    columns = tuple(
        TableColumn(visible(column.label), unit_text(column.unit or ""), column.align == "right")
        for column in table.columns
    )
    return TableView(
        anchor=f"table-{slug(table.section)}-{slug(table.name)}",
        title=visible(table.title),
        caption=visible(table.caption),
        columns=columns,
        rows=tuple(TableRow(tuple(zip(columns, map(visible, row), strict=True))) for row in table.rows),
    )
