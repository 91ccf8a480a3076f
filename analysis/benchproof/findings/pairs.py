"""Controlled pairs: two specimens that differ in exactly one declared attribute of their design.

Only then may a difference of figures be put down to a cause, and even then only among what was declared. Where more
than one attribute differs, the page lists them all and attributes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from benchproof.findings.comparable import drive_differences
from benchproof.findings.designs import Change, attributes, changes, isolates
from benchproof.findings.differences import Difference, compare
from benchproof.findings.wording import percent_words, title_words
from benchproof.methods.records import Column, Table
from benchproof.trials.quantity import Quantity, combine, mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from benchproof.findings.entrants import Entrant, Settle
    from benchproof.findings.spread import Place

_MAKER = "the maker"


@dataclass(frozen=True, slots=True)
class Pair:
    """Two campaigns, what differs in their designs, and what that does where one thing alone differs.

    Parameters
    ----------
    one, other : str
        The campaigns.
    changes : tuple of Change
        Declared attributes that differ, or that one of them does not declare.
    besides : tuple of str
        What else differs: the maker, the drive.
    effects : tuple of Difference
        On every figure that compares; empty unless exactly one attribute differs.
    """

    one: str
    other: str
    changes: tuple[Change, ...]
    besides: tuple[str, ...] = ()
    effects: tuple[Difference, ...] = ()

    @property
    def of_two_makers(self) -> bool:
        """Whether two makers made the two: what neither declares very likely differs as well."""
        return any(words.startswith(_MAKER) for words in self.besides)

    @property
    def controlled(self) -> bool:
        """Whether exactly one declared attribute differs, and both declare it."""
        return isolates(self.changes)


def pairs(entrants: Sequence[Entrant], settle: Settle) -> tuple[Pair, ...]:
    """Return every two campaigns whose declared designs differ; those that declare no design are passed over."""
    declared = [entrant for entrant in entrants if entrant.specimen.design]
    found = (_pair(one, other, settle) for one, other in combinations(declared, 2))
    return tuple(pair for pair in found if pair.changes)


def _pair(one: Entrant, other: Entrant, settle: Settle) -> Pair:
    differing = changes(attributes(one.specimen), attributes(other.specimen))
    besides = []
    if one.specimen.maker != other.specimen.maker:
        besides.append(f"{_MAKER}: {one.specimen.maker} against {other.specimen.maker}")
    besides += [f"the drive: {words}" for words in drive_differences(one, other)]
    bare = Pair(one.name, other.name, differing, tuple(besides))
    if not bare.controlled:
        return bare
    models = (figure for figure in one.figures if figure.sample is None)
    found = (compare(one, figure, other, settle) for figure in models)
    return Pair(one.name, other.name, differing, tuple(besides), tuple(d for d in found if d.ratio is not None))


@dataclass(frozen=True, slots=True)
class Effect:
    """What one change does to one figure, over all pairs that isolate it.

    Parameters
    ----------
    change : Change
        The change.
    place : tuple
        The figure.
    ratio : Quantity
        The geometric mean of the pairs' ratios, trial by trial.
    pairs : int
        How many pairs stand behind it.
    lowest, highest : float
        The pairs' own ratios.
    """

    change: Change
    place: Place
    ratio: Quantity
    pairs: int
    lowest: float
    highest: float


def pooled_effects(found: Iterable[Pair]) -> tuple[Effect, ...]:
    """Return the effect of every change on every figure, pooled over the pairs that isolate it."""
    groups: dict[tuple[Change, Place], list[Quantity]] = {}
    for pair in found:
        for effect in pair.effects if pair.controlled else ():
            if effect.ratio is not None:
                change, ratio = _turned(pair.changes[0], effect.ratio)
                groups.setdefault((change, (effect.name, _at(effect))), []).append(ratio)
    return tuple(_effect(change, place, ratios) for (change, place), ratios in groups.items())


def _turned(change: Change, ratio: Quantity) -> tuple[Change, Quantity]:
    """Return a change and its effect the same way round in every pair."""
    if change.one <= change.other:
        return change, ratio
    return Change(change.attribute, change.other, change.one), combine(lambda r: 1 / r, ratio)


def _at(effect: Difference) -> tuple[tuple[str, str], ...]:
    return tuple((key, value) for key, value in effect.at.items() if key not in ("propeller", "flywheel"))


def _effect(change: Change, place: Place, ratios: Sequence[Quantity]) -> Effect:
    middle = combine(np.exp, mean(*(combine(np.log, ratio) for ratio in ratios)))
    values = [ratio.value for ratio in ratios]
    return Effect(change, place, middle, len(ratios), min(values), max(values))


def pair_tables(found: Sequence[Pair], coverage: float) -> tuple[Table, ...]:
    """Return a table of effects for each controlled pair, and one of the pairs that attribute nothing."""
    tables = [_effect_table(pair, number, coverage) for number, pair in enumerate(found, 1) if pair.controlled]
    confounded = [pair for pair in found if not pair.controlled]
    return (*tables, *((_confounded_table(confounded),) if confounded else ()))


def _effect_table(pair: Pair, number: int, coverage: float) -> Table:
    change = pair.changes[0]
    beside = f" Beside the design these differ: {'; '.join(pair.besides)}." if pair.besides else ""
    cause = "is no proof of a cause: makers differ" if pair.of_two_makers else "may be put down to this one"
    return Table(
        name=f"pair-{number}",
        title=f"{change.attribute.replace('_', ' ').capitalize()}: {change.one} against {change.other}",
        caption=(
            f"{pair.one} against {pair.other}: all other declared attributes are equal, so what follows {cause}. "
            f"What neither declares may differ as well.{beside}"
        ),
        columns=(Column("Figure", align="left"), Column("Effect"), Column("Beyond its interval", align="left")),
        rows=tuple(_effect_row(effect, coverage) for effect in pair.effects),
    )


def _effect_row(effect: Difference, coverage: float) -> tuple[str, str, str]:
    if effect.ratio is None:
        message = "an effect without a ratio"
        raise ValueError(message)
    low, high = effect.ratio.interval(coverage)
    told = "no" if low <= 1 <= high else "yes"
    said = f"{told}; the drive differs" if "drive_differs" in effect.flags else told
    return title_words(effect.name, effect.at), percent_words(effect.ratio, coverage), said


def _confounded_table(found: Sequence[Pair]) -> Table:
    return Table(
        name="confounded",
        title="Pairs that attribute nothing",
        caption="More than one declared attribute differs, so no difference of figures may be put down to any of them.",
        columns=(Column("Pair", align="left"), Column("What differs", align="left")),
        rows=tuple(
            (f"{pair.one} against {pair.other}", "; ".join((*(c.words for c in pair.changes), *pair.besides)))
            for pair in found
        ),
    )


def effects_table(effects: Sequence[Effect], coverage: float) -> Table | None:
    """Return the pooled effects that more than one pair stands behind; None where there is none."""
    several = [effect for effect in effects if effect.pairs > 1]
    if not several:
        return None
    return Table(
        name="effects",
        title="Effects over all pairs that isolate them",
        caption="The geometric mean of the pairs' ratios, trial by trial, and the pairs' own lowest and highest.",
        columns=(
            Column("Change", align="left"),
            Column("Figure", align="left"),
            Column("Effect"),
            Column("Pairs"),
            Column("From"),
            Column("To"),
        ),
        rows=tuple(
            (
                effect.change.words,
                title_words(effect.place[0], dict(effect.place[1])),
                percent_words(effect.ratio, coverage),
                str(effect.pairs),
                f"{100 * (effect.lowest - 1):+.2f} %",
                f"{100 * (effect.highest - 1):+.2f} %",
            )
            for effect in several
        ),
    )
