"""Tables of a page: all figures, the headline, and whatever tables a notebook shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.findings.scatter import POOLED
from benchproof.nomenclature import QUANTITIES, unit_text
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
from benchproof.report.words import Fact, anchor, flag_words, point_words, quantity_title, slug

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.report.records import Figure, HeadlineName, Page, Results, Table
    from benchproof.report.revision import Content

_SAID_BY_THE_CELL = ("not_reached",)


def headlines_of(page: Page | Content, results: Results | Content) -> tuple[Headline, ...]:
    """Return the first three figures the campaign asks to stand at the top, those that were reached."""
    found = [figure for wanted in page.headline if (figure := _headline(wanted, results)) is not None]
    return tuple(
        Headline(quantity_title(f.name), point_words(f.at), print_figure(f), anchor(f.name, f.at)) for f in found[:3]
    )


def _headline(wanted: str | HeadlineName, results: Results | Content) -> Figure | None:
    name = wanted if isinstance(wanted, str) else wanted.name
    at = None if isinstance(wanted, str) else dict(wanted.at)
    models = [f for f in results.quantities if f.name == name and f.sample is None and f.value is not None]
    if at is None:
        return next((f for f in models if "part" not in f.at), None)
    return next((f for f in models if dict(f.at) == at), None)


def figure_table(
    results: Results | Content, titles: Mapping[str, str], columns: Mapping[str | None, str] | None = None
) -> FigureTable:
    """Return the table of all figures: a row for each quantity and operating point, a column for each sample.

    Parameters
    ----------
    results : Results
        The figures.
    titles : Mapping of str to str
        Title of each method's section, by its key.
    columns : Mapping, optional
        Headings of the columns by what stands in them as sample; by default the model and each sample.
    """
    columns = columns or _columns(results)
    groups: dict[str, dict[str, list[Figure]]] = {}
    for figure in results.quantities:
        groups.setdefault(figure.method, {}).setdefault(anchor(figure.name, figure.at), []).append(figure)
    listed = tuple(_group(method, rows, columns, titles) for method, rows in groups.items())
    return FigureTable(tuple(columns.values()), listed, _meanings(results))


def _columns(results: Results | Content) -> dict[str | None, str]:
    """Return the heading of each sample's column, the model's (None) first; one column where there is one sample."""
    samples = tuple(dict.fromkeys(f.sample for f in results.quantities if f.sample is not None))
    if len(samples) == 1 and not any(POOLED in f.flags for f in results.quantities):
        return {samples[0]: "This sample"}
    if len(samples) == 1:
        return {None: "Model", samples[0]: "This sample"}
    return {None: "Model", **{sample: f"Sample {sample}" for sample in samples}}


def _meanings(results: Results | Content) -> tuple[Fact, ...]:
    """Return what each quantity is, once."""
    names = dict.fromkeys(figure.name for figure in results.quantities if figure.name in QUANTITIES)
    return tuple(Fact(QUANTITIES[name].title, QUANTITIES[name].meaning) for name in names)


def _group(
    method: str,
    rows: Mapping[str, Sequence[Figure]],
    columns: Mapping[str | None, str],
    titles: Mapping[str, str],
) -> FigureGroup:
    key, _, version = method.partition("/")
    listed = [figure for figures in rows.values() for figure in figures]
    shared = tuple(flag for flag in listed[0].flags if all(flag in figure.flags for figure in listed))
    models = [figure for figure in listed if figure.sample is None and figure.value is not None]
    pooled = bool(models) and all(POOLED in figure.flags for figure in models)
    said = tuple(dict.fromkeys((*shared, *((POOLED,) if pooled else ()))))
    points: dict[str, list[FigureRow]] = {}
    for name, figures in rows.items():
        points.setdefault(point_words(figures[0].at), []).append(_row(name, figures, columns, said))
    return FigureGroup(
        title=titles.get(key, key),
        version=version,
        link=f"section-{slug(key)}" if key in titles else "",
        points=tuple(PointRows(point, tuple(found)) for point, found in points.items()),
        notes=tuple(flag_words(flag) if flag in shared else f"the model {flag_words(flag)}" for flag in said),
    )


def _row(name: str, figures: Sequence[Figure], columns: Mapping[str | None, str], said: Sequence[str]) -> FigureRow:
    first = figures[0]
    by_sample = {figure.sample: figure for figure in figures}
    shared = [flag for flag in first.flags if all(flag in figure.flags for figure in figures)]
    noted = [f for f in shared if f not in (*said, *_SAID_BY_THE_CELL) and not f.startswith("withheld")]
    return FigureRow(
        anchor=name,
        title=quantity_title(first.name),
        cells=tuple(
            _cell(f"{name}-{slug(sample or 'model')}", heading, by_sample.get(sample), (*shared, *said))
            for sample, heading in columns.items()
        ),
        notes=tuple(map(flag_words, noted)),
    )


def _cell(own: str, heading: str, figure: Figure | None, shared: Sequence[str]) -> Cell:
    if figure is None:
        return Cell(own, heading, None)
    said = (*shared, *_SAID_BY_THE_CELL)
    notes = tuple(flag_words(f) for f in figure.flags if f not in said and not f.startswith("withheld"))
    return Cell(own, heading, print_figure(figure), notes)


def table_view(table: Table) -> TableView:
    """Return a notebook's table as a page prints it."""
    columns = tuple(
        TableColumn(column.label, unit_text(column.unit or ""), column.align == "right") for column in table.columns
    )
    return TableView(
        anchor=f"table-{slug(table.section)}-{slug(table.name)}",
        title=table.title,
        caption=table.caption,
        columns=columns,
        rows=tuple(TableRow(tuple(zip(columns, row, strict=True))) for row in table.rows),
    )
