"""What the pieces tested tell of their model, in words and in a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.findings.archive import EXACT
from benchproof.report.printing import print_figure
from benchproof.report.views import TableColumn, TableRow, TableView
from benchproof.report.words import point_words, quantity_title

if TYPE_CHECKING:
    from benchproof.report.records import Page, Results


def sample_words(page: Page, results: Results) -> str:
    """Return how many samples stand behind the figures, and what they tell of the model."""
    count, pooled = len(page.specimen.samples), bool(results.pooled_models)
    if count == 1 and not pooled:
        return (
            "One sample was tested: the figures are of this sample and say nothing of the spread from piece to piece."
        )
    if count == 1:
        return (
            f"One sample was tested. Figures of the model are its value with the spread from piece to piece that "
            f"{_models(results)} show; where there is no such spread, they say so."
        )
    more = (
        f" What they tell with the spread of {_models(results)} stands under “From piece to piece”." if pooled else ""
    )
    return (
        f"{count} samples were tested. Figures of the model are the mean over samples, with what they differ by in the "
        f"interval; with so few pieces that interval is wide.{more}"
    )


def _models(results: Results) -> str:
    """Return how many models the archive's spread is from, in words."""
    known = sorted({each.spread.campaigns for each in results.pooled_models})
    several = f"{at_least(known[0])} model{'' if known == [1] else 's'}"
    if len(known) > 1:
        several = f"{known[0]} to {at_least(known[-1])} models"
    return f"{several} of this lab's archive"


def spread_view(results: Results) -> TableView | None:
    """Return what the samples tell of the model with the archive's spread of pieces; None where there is none."""
    if not results.pooled_models:
        return None
    headings = ("Figure", ""), ("This model", ""), ("Spread", "%"), ("Degrees of freedom", ""), ("Models", "")
    columns = tuple(TableColumn(label, unit, label != "Figure") for label, unit in (*headings, ("Samples", "")))
    rows = tuple(
        (
            f"{quantity_title(each.name)} {point_words(each.at)}".strip(),
            print_figure(each.figure()).text,
            f"{100 * each.spread.standard:.2g}",
            at_least(each.spread.degrees_of_freedom),
            at_least(each.spread.campaigns),
            at_least(each.spread.samples),
        )
        for each in results.pooled_models
    )
    return TableView(
        anchor="table-pooled-models",
        title="This model by the spread of all",
        caption=(
            "This model: what its samples tell, with the pooled spread over the square root of their number in the "
            "interval. Spread: standard deviation from piece to piece, pooled over every motor of this lab of which "
            "two pieces or more were tested; repeats of one piece never count. Its degrees of freedom are the pieces "
            "beyond the first of each model. Spreads are rounded to one of 24 steps a decade, counts of "
            f"{EXACT} and more downward."
        ),
        columns=columns,
        rows=tuple(TableRow(tuple(zip(columns, row, strict=True))) for row in rows),
    )


def at_least(count: int) -> str:
    """Return a count that may have been rounded downward."""
    return str(count) if count < EXACT else f"{count} or more"
