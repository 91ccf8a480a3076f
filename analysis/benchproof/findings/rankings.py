"""Every figure of merit of a comparison, ranked, among the campaigns whose figures compare."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchproof.findings.comparable import DRIVE_DIFFERS, flags_between, refusal
from benchproof.findings.ranking import LESS_IS_BETTER, Ranked, has_a_better_end, rank
from benchproof.findings.spread import place_of
from benchproof.findings.wording import probability_words, title_words
from benchproof.methods.records import Column, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.findings.entrants import Entrant, Settle
    from benchproof.methods.records import Figure
    from benchproof.trials.engine import Trials
    from benchproof.trials.quantity import Quantity


@dataclass(frozen=True, slots=True)
class Ranking:
    """One figure's ranking.

    Parameters
    ----------
    name, at
        The figure.
    less_is_better : bool
        Which end is best.
    places : tuple of Ranked
        Best first.
    left_out : tuple of str
        Campaigns whose figure does not compare or is not there.
    drive_differs : bool
        Whether drives of the ranked differ in what has a hand in the figure.
    """

    name: str
    at: Mapping[str, str]
    less_is_better: bool
    places: tuple[Ranked, ...]
    left_out: tuple[str, ...]
    drive_differs: bool


def rankings(
    entrants: Sequence[Entrant], settle: Settle, trials: Trials, coverage: float, identity: str
) -> Iterator[Ranking]:
    """Yield the ranking of every figure of merit that two campaigns or more have on equal terms.

    Parameters
    ----------
    entrants : sequence of Entrant
        The campaigns, the reference first: what its figure does not compare with is left out.
    settle : callable
        Gives a model's quantity.
    trials : Trials
        The laboratory's trials.
    coverage : float
        Of the ranks' intervals.
    identity : str
        Names the comparison in its draws.
    """
    for figure in _places(entrants):
        able = list(_able(entrants, figure, settle))
        if len(able) < 2 or any(np.any(quantity.trials <= 0) for _, _, quantity in able):
            continue
        names = [entrant.name for entrant, _, _ in able]
        less = figure.name in LESS_IS_BETTER
        draws = (identity, figure.name, *(value for pair in place_of(figure)[1] for value in pair))
        places = rank(
            names, [quantity for _, _, quantity in able], draws, trials, less_is_better=less, coverage=coverage
        )
        differs = any(DRIVE_DIFFERS in flags_between(own, able[0][0], entrant) for entrant, own, _ in able)
        left_out = tuple(entrant.name for entrant in entrants if entrant.name not in names)
        yield Ranking(figure.name, dict(place_of(figure)[1]), less, places, left_out, differs)


def _places(entrants: Sequence[Entrant]) -> Iterator[Figure]:
    """Yield one figure for each place that has a better end, in order of first appearance."""
    seen = set()
    for figure in (f for entrant in entrants for f in entrant.figures if f.sample is None):
        if figure.quantity is None or place_of(figure) in seen or not has_a_better_end(figure.name, figure.at):
            continue
        seen.add(place_of(figure))
        yield figure


def _able(entrants: Sequence[Entrant], figure: Figure, settle: Settle) -> Iterator[tuple[Entrant, Figure, Quantity]]:
    """Yield the campaigns whose figure compares with the first one's that has it."""
    first: tuple[Entrant, Figure] | None = None
    for entrant in entrants:
        for own in entrant.of(figure.name, figure.at):
            quantity = settle(entrant, own)
            if quantity is None or (first is not None and refusal(own, entrant, first[1], first[0])):
                continue
            first = first or (entrant, own)
            yield entrant, own, quantity
            break


def ranking_table(found: Sequence[Ranking], labels: Mapping[str, str]) -> Table:
    """Return all rankings as a table, one figure a row; ties as groups in brackets."""
    return Table(
        name="ranking",
        title="Who is best at what",
        caption=(
            "Best first, with the probability of being the best and the 95 % interval of the rank. Models in brackets "
            "cannot be told apart from the first of them, all pairs judged together at 5 % (Tukey and Kramer's method "
            "on the joint trials). Values are drawn together against the winner's bias: of several measured values the "
            "best is best partly by luck."
        ),
        columns=(
            Column("Figure", align="left"),
            Column("Order", align="left"),
            Column("Probability of being the best, rank", align="left"),
            Column("Note", align="left"),
        ),
        rows=tuple(_row(ranking, labels) for ranking in found),
    )


def _row(ranking: Ranking, labels: Mapping[str, str]) -> tuple[str, ...]:
    groups: dict[int, list[Ranked]] = {}
    for each in ranking.places:
        groups.setdefault(each.group, []).append(each)
    order = ", ".join(_group_words([labels[r.name] for r in group], group[0].place) for group in groups.values())
    chances = "; ".join(f"{labels[r.name]} {probability_words(r.best)}, rank {_span(r.ranks)}" for r in ranking.places)
    notes = [
        *(["the drives differ"] if ranking.drive_differs else []),
        *([f"without {', '.join(labels[name] for name in ranking.left_out)}"] if ranking.left_out else []),
    ]
    end = "less is better" if ranking.less_is_better else "more is better"
    return title_words(ranking.name, ranking.at), order, chances, "; ".join((end, *notes))


def _group_words(names: Sequence[str], place: int) -> str:
    return f"{place}. {names[0]}" if len(names) == 1 else f"{place}. ({', '.join(names)})"


def _span(ranks: tuple[int, int]) -> str:
    return str(ranks[0]) if ranks[0] == ranks[1] else f"{ranks[0]} to {ranks[1]}"


def leader_words(ranking: Ranking, labels: Mapping[str, str]) -> str:
    """Return who leads a ranking and how surely, in a sentence."""
    first = ranking.places[0]
    group = [labels[r.name] for r in ranking.places if r.group == first.group]
    title = title_words(ranking.name, ranking.at)
    if len(group) == 1:
        return f"{title}: {group[0]} is best, with probability {probability_words(first.best)}."
    others = ", ".join(group[1:])
    return (
        f"{title}: {group[0]} leads (probability {probability_words(first.best)}), but is not told apart from {others}."
    )
