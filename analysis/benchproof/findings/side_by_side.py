"""Figures of several campaigns side by side, their differences from the first, and what pieces scatter by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.findings.comparable import ALWAYS, DRIVE_DIFFERS, hangs_on_drive, serials
from benchproof.findings.entrants import where
from benchproof.findings.small_samples import prediction_factor, tolerance_factor
from benchproof.findings.spread import place_of
from benchproof.findings.wording import percent_words, shown_unit, spread_words, title_words
from benchproof.methods.records import Column, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.findings.differences import Difference
    from benchproof.findings.entrants import Entrant, Settle
    from benchproof.findings.spread import Place, Pool
    from benchproof.methods.records import Figure

CONTENT = 0.9
"""Share of all pieces that the printed tolerance interval holds."""


def places(entrants: Sequence[Entrant]) -> dict[Place, Figure]:
    """Return every figure that two campaigns or more have, by place, in order of first appearance."""
    found: dict[Place, list[Figure]] = {}
    for entrant in entrants:
        for place, figure in {place_of(f): f for f in entrant.figures if f.sample is None}.items():
            found.setdefault(place, []).append(figure)
    return {place: figures[0] for place, figures in found.items() if len(figures) > 1}


def conditions_table(entrants: Sequence[Entrant], disclosures: Mapping[str, str]) -> Table:
    """Return what stood behind each campaign's figures: rig, drive, firmware, timing, propellers, pieces, who paid."""
    return Table(
        name="conditions",
        title="What was compared, and on what",
        caption="Drive, firmware and timing have a hand in most figures; where they differ, the figures say so.",
        columns=(
            Column("Motor", align="left"),
            Column("Campaign", align="left"),
            Column("Tested", align="left"),
            Column("Pieces", align="left"),
            Column("Rig", align="left"),
            Column("Drive, firmware, timing", align="left"),
            Column("Propellers", align="left"),
            Column("How it came", align="left"),
        ),
        rows=tuple(_condition(entrant, disclosures) for entrant in entrants),
    )


def _condition(entrant: Entrant, disclosures: Mapping[str, str]) -> tuple[str, ...]:
    dates = entrant.campaign.dates
    mounted = frozenset(s for f in entrant.figures if f.sample is None for s in serials(f, entrant))
    count = len(entrant.specimen.samples) - len(entrant.golden)
    golden = f" and golden {', '.join(sorted(entrant.golden))}" if entrant.golden else ""
    return (
        f"{entrant.specimen.maker}, {entrant.label}",
        entrant.name,
        dates.tested.isoformat() if dates else "",
        f"{count}, batch {entrant.batches}{golden}",
        entrant.rig.rig,
        entrant.drive_words,
        ", ".join(f"serial {serial}" for serial in sorted(mounted)) or "none",
        disclosures[entrant.name],
    )


def figures_table(entrants: Sequence[Entrant], settle: Settle, coverage: float) -> Table:
    """Return all common figures side by side, a column a campaign."""
    percent = f"{100 * coverage:g} %"
    return Table(
        name="side_by_side",
        title="All figures side by side",
        caption=(
            f"Models with their {percent} coverage intervals. Do not compare these intervals by eye: errors that two "
            "motors share cancel in the differences below."
        ),
        columns=(
            Column("Figure", align="left"),
            Column("Hangs on", align="left"),
            Column("Unit", align="left"),
            *(Column(entrant.label) for entrant in entrants),
        ),
        rows=tuple(_figure_row(figure, entrants, settle, coverage) for figure in places(entrants).values()),
    )


def _figure_row(figure: Figure, entrants: Sequence[Entrant], settle: Settle, coverage: float) -> tuple[str, ...]:
    unit, per_unit = shown_unit(figure.name)
    cells = []
    for entrant in entrants:
        own = next(iter(entrant.of(figure.name, figure.at)), None)
        quantity = settle(entrant, own) if own is not None else None
        said = "not tested" if own is None else "not reached" if "not_reached" in own.flags else "withheld"
        cells.append(spread_words(quantity, "", per_unit, coverage) if quantity is not None else said)
    return title_words(figure.name, figure.at), _hangs_on(figure, entrants), unit, *cells


def _hangs_on(figure: Figure, entrants: Sequence[Entrant]) -> str:
    if figure.name in ALWAYS:
        return "the motor alone"
    own = ((entrant, f) for entrant in entrants for f in entrant.of(figure.name, figure.at))
    mounted = {serial for entrant, f in own for serial in serials(f, entrant)}
    return ", ".join(
        ([f"propeller {' and '.join(sorted(mounted))}"] if mounted else [])
        + (["drive"] if hangs_on_drive(figure) else [])
    )


def leading_table(
    found: Sequence[Difference], entrants: Sequence[Entrant], leading: Sequence[Figure], coverage: float
) -> Table:
    """Return what a reader asks first: each motor against the first, in the figures that lead the page."""
    chosen = [place_of(figure) for figure in leading]
    by_place = {(each.campaign, place_key(each)): each for each in found}
    return Table(
        name="leading",
        title=f"Against {entrants[0].label}",
        caption="More or less than the first motor, in per cent, with the interval of the difference.",
        columns=(Column("Motor", align="left"), *(Column(title_words(f.name, dict(where(f.at)))) for f in leading)),
        rows=tuple(
            (entrant.label, *(_leading_cell(by_place.get((entrant.name, place)), coverage) for place in chosen))
            for entrant in entrants[1:]
        ),
    )


def place_key(found: Difference) -> Place:
    """Return what a difference is a difference of."""
    return found.name, where(found.at)


def _leading_cell(found: Difference | None, coverage: float) -> str:
    if found is None:
        return "not tested"
    if found.ratio is None:
        return "not compared"
    drive = " (drive differs)" if DRIVE_DIFFERS in found.flags else ""
    return percent_words(found.ratio, coverage) + drive


def difference_table(found: Sequence[Difference], one: Entrant, other: Entrant, cancels: str, coverage: float) -> Table:
    """Return one campaign against another, figure by figure; refused ones stand below with the reason."""
    return Table(
        name=f"difference-{one.name}",
        title=f"{one.label} against {other.label}",
        caption=f"Differences and ratios formed trial by trial. {cancels}",
        columns=(
            Column("Figure", align="left"),
            Column("Difference"),
            Column("In per cent"),
            Column("Told apart", align="left"),
        ),
        rows=(*_difference_rows(found, coverage), *_refused_rows(found)),
    )


def _difference_rows(found: Sequence[Difference], coverage: float) -> Iterator[tuple[str, ...]]:
    for each in found:
        if each.difference is None:
            continue
        low, high = each.difference.interval(coverage)
        told = "no" if low <= 0 <= high else "yes"
        unit, per_unit = shown_unit(each.name)
        yield (
            title_words(each.name, each.at),
            spread_words(each.difference, unit, per_unit, coverage),
            percent_words(each.ratio, coverage) if each.ratio is not None else "",
            f"{told}; the drive differs" if DRIVE_DIFFERS in each.flags else told,
        )


def _refused_rows(found: Sequence[Difference]) -> Iterator[tuple[str, ...]]:
    """Yield one row for each reason, with all figures it holds for."""
    reasons: dict[str, list[str]] = {}
    for each in found:
        if each.reason:
            reasons.setdefault(each.reason, []).append(title_words(each.name, each.at))
    for reason, titles in reasons.items():
        yield "; ".join(titles), "not compared", "", reason


def spread_table(entrants: Sequence[Entrant], pool: Pool, coverage: float) -> Table | None:
    """Return what pieces of one model scatter by, and what that says of a piece the reader may buy."""
    rows = tuple(_spread_rows(entrants, pool, coverage))
    if not rows:
        return None
    return Table(
        name="spread",
        title="From piece to piece",
        caption=(
            "Spread of pieces about their model, pooled over the campaigns compared on the logarithmic scale. Its "
            "degrees of freedom are the pieces beyond the first of each model; repeats of one piece never count. The "
            "last two columns are for a model known from two pieces: where one more piece will lie, and where nine in "
            "ten of all pieces lie with 95 % confidence."
        ),
        columns=(
            Column("Figure", align="left"),
            Column("Spread", "%"),
            Column("Degrees of freedom"),
            Column("One more piece", "± %"),
            Column("Nine pieces in ten", "± %"),
        ),
        rows=rows,
    )


def _spread_rows(entrants: Sequence[Entrant], pool: Pool, coverage: float) -> Iterator[tuple[str, ...]]:
    for place, figure in places(entrants).items():
        spread = pool.spreads.get(place)
        if spread is None:
            continue
        size = 100 * spread.standard
        one_more = prediction_factor(2, spread.degrees, coverage)
        most = tolerance_factor(2, CONTENT, 0.95, spread.degrees)
        yield (
            title_words(figure.name, figure.at),
            f"{size:.2g}",
            str(spread.degrees),
            f"{size * one_more:.2g}",
            f"{size * most:.2g}",
        )
