"""What a change of one attribute does, over all pairs of the archive that isolate it.

The logarithm of a figure is taken for what its stratum has (all else that is declared, the propeller) plus the effect
plus a specimen's own deviation, equal in size for all: the least-squares effect weighs each stratum's difference of
means by ``a b / (a + b)``, a and b the campaigns of either value (as in a randomised block design; textbook
knowledge [from memory]). A campaign that stands in several pairs so counts once, and pairs that share it do not pass
for independent ones. For separate pairs this is the mean of their logarithms.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.findings.archive import pairs_of
from benchproof.findings.comparable import drive_differences, ground
from benchproof.findings.samples import CORE, drawn_degrees
from benchproof.findings.spread import place_of
from benchproof.trials.distributions import Shape
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from benchproof.findings.archive import Group, Isolated
    from benchproof.findings.entrants import Entrant, Settle
    from benchproof.findings.spread import Place
    from benchproof.methods.records import Figure
    from benchproof.trials.engine import Trials

    Find = Callable[[str], Entrant | None]
    """Gives a campaign by its name; None where it could not be built."""

_FARTHEST: Final = 10.0
"""Draws of one degree of freedom have no bound; beyond this an exponential has none worth having."""


@dataclass(frozen=True, slots=True)
class ArchiveEffect:
    """What a change does to one figure.

    Parameters
    ----------
    name, at : str, Mapping
        The figure.
    ratio : Quantity
        The figure with the change's first value over that with its second.
    groups : tuple of (tuple of str, tuple of str)
        The campaigns it is from: each of the first with each of the second is a pair.
    lowest, highest : float
        The pairs' own ratios.
    """

    name: str
    at: Mapping[str, str]
    ratio: Quantity
    groups: tuple[Group, ...]
    lowest: float
    highest: float

    @property
    def pairs(self) -> int:
        """How many pairs stand behind it."""
        return pairs_of(self.groups)


@dataclass(slots=True)
class _Stratum:
    """Logarithms of one figure by campaign, of either value of the attribute, alike in all else."""

    ones: dict[str, float] = field(default_factory=dict)
    others: dict[str, float] = field(default_factory=dict)

    @property
    def weight(self) -> float:
        """``a b / (a + b)``."""
        a, b = len(self.ones), len(self.others)
        return a * b / (a + b)

    @property
    def step(self) -> float:
        """The difference of means."""
        return float(np.mean(list(self.ones.values())) - np.mean(list(self.others.values())))

    def without(self, names: Iterable[str]) -> _Stratum:
        gone = set(names)
        return _Stratum(*({n: v for n, v in side.items() if n not in gone} for side in (self.ones, self.others)))

    @property
    def group(self) -> Group:
        return tuple(sorted(self.ones)), tuple(sorted(self.others))


def archive_effects(
    isolated: Isolated, values: Find, whole: Find, settle: Settle, trials: Trials
) -> tuple[ArchiveEffect, ...]:
    """Return what a change does to every figure that compares, over all its pairs.

    Parameters
    ----------
    isolated : Isolated
        The change and its pairs.
    values, whole : callable
        Give a campaign with the values of its figures, and with their trials. Each is asked for one campaign after the
        other, and none is held.
    settle : callable
        Gives a model's quantity with the spread of pieces.
    trials : Trials
        The laboratory's trials.

    Returns
    -------
    tuple of ArchiveEffect
        By figure and place. A figure that may be zero has no ratio and is left out.
    """
    strata = {place: used for place, found in _strata(isolated, values).items() if (used := _used(found))}
    sums = _sums(strata, whole, settle, trials.count)
    return tuple(
        _effect(isolated, place, strata[place], total, trials) for place, total in sums.items() if total is not None
    )


def _strata(isolated: Isolated, values: Find) -> dict[Place, list[_Stratum]]:
    """Return the logarithms of every figure, by all that must be alike for two of them to compare."""
    found: dict[Place, dict[object, _Stratum]] = {}
    for number, (ones, others) in enumerate(isolated.groups):
        for name in (*ones, *others):
            entrant = values(name)
            for figure in _models(entrant) if entrant is not None else ():
                common = ground(figure, entrant) if entrant is not None else None
                if common is not None and figure.quantity is not None:
                    stratum = found.setdefault(place_of(figure), {}).setdefault((number, common), _Stratum())
                    side = stratum.ones if name in ones else stratum.others
                    side.setdefault(name, math.log(figure.quantity.value))
    return {place: list(strata.values()) for place, strata in found.items()}


def _models(entrant: Entrant) -> Iterator[Figure]:
    for figure in entrant.figures:
        if figure.sample is None and figure.quantity is not None and figure.quantity.value > 0:
            yield figure


def _used(strata: Sequence[_Stratum]) -> list[_Stratum]:
    """Return the strata with campaigns on both sides; one on two propellers counts in the first of them alone."""
    used: list[_Stratum] = []
    for stratum in strata:
        left = stratum.without(name for each in used for name in (*each.ones, *each.others))
        if left.ones and left.others:
            used.append(left)
    return used


def _sums(
    strata: Mapping[Place, Sequence[_Stratum]], whole: Find, settle: Settle, count: int
) -> dict[Place, NDArray[np.float64] | None]:
    """Return the trials of each effect's logarithm, each campaign's added with its weight; None where one has none."""
    shares = {place: dict(_shares(found)) for place, found in strata.items()}
    sums: dict[Place, NDArray[np.float64] | None] = {place: np.zeros(count) for place in strata}
    for name in sorted({name for each in shares.values() for name in each}):
        entrant = whole(name)
        done: set[Place] = set()
        for figure in _models(entrant) if entrant is not None else ():
            place, total = place_of(figure), sums.get(place_of(figure))
            if entrant is None or total is None or place in done or name not in shares[place]:
                continue
            done.add(place)
            quantity = settle(entrant, figure)
            if quantity is None or bool(np.any(quantity.trials <= 0)):
                sums[place] = None
            else:
                total += shares[place][name] * np.log(quantity.trials)
        for place in {place for place, each in shares.items() if name in each} - done:
            sums[place] = None
    return sums


def _shares(strata: Sequence[_Stratum]) -> Iterator[tuple[str, float]]:
    """Yield what each campaign's logarithm counts for in the effect."""
    whole = sum(stratum.weight for stratum in strata)
    for stratum in strata:
        for sign, side in ((1, stratum.ones), (-1, stratum.others)):
            yield from ((name, sign * stratum.weight / whole / len(side)) for name in side)


def _effect(
    isolated: Isolated, place: Place, strata: Sequence[_Stratum], total: NDArray[np.float64], trials: Trials
) -> ArchiveEffect:
    """Return one effect, with what the specimens scatter by beside it."""
    whole = sum(stratum.weight for stratum in strata)
    middle = sum(stratum.weight * stratum.step for stratum in strata) / whole
    squares = sum(_squares(s.ones) + _squares(s.others) + s.weight * (s.step - middle) ** 2 for s in strata)
    degrees = sum(len(s.ones) + len(s.others) - 1 for s in strata) - 1
    name, at = place
    if degrees > 0 and squares > 0:
        standard = math.sqrt(squares / degrees / whole)
        shape = Shape("student", degrees, drawn_degrees(degrees, standard, _core(total)))
        identity = (
            "scatter of pairs",
            *isolated.change.words.split(": "),
            name,
            *(word for pair in at for word in pair),
        )
        total = total + standard * trials.draw(Source(identity, "scatter of pairs", shape))
    apart = [(s.ones[n] - s.others[m]) for s in strata for n, m in _ends(s)]
    ratio = Quantity(math.exp(middle), np.exp(np.clip(total, -_FARTHEST, _FARTHEST)))
    groups = tuple(sorted(stratum.group for stratum in strata))
    return ArchiveEffect(name, dict(at), ratio, groups, math.exp(min(apart)), math.exp(max(apart)))


def _ends(stratum: _Stratum) -> tuple[tuple[str, str], tuple[str, str]]:
    """Return the pairs with the lowest and the highest ratio of a stratum."""
    ones, others = (sorted(side, key=lambda name: side[name]) for side in (stratum.ones, stratum.others))
    return (ones[0], others[-1]), (ones[-1], others[0])


def _squares(side: Mapping[str, float]) -> float:
    values = np.array(list(side.values()))
    return float(((values - values.mean()) ** 2).sum()) if len(values) > 1 else 0.0


def _core(logs: NDArray[np.float64]) -> float:
    """Return half the width of the middle 68 % of trials, which no heavy tail of one figure's scatter reaches."""
    low, high = Quantity(0.0, logs).interval(CORE)
    return (high - low) / 2


def effect_record(isolated: Isolated, found: Sequence[ArchiveEffect], values: Find, coverage: float) -> dict[str, Any]:
    """Return a change's effects as plain data for results.json."""
    makers, drives = _pairs_apart(isolated, values)
    return {
        "attribute": isolated.attribute,
        "values": [isolated.one, isolated.other],
        "pairs": isolated.pairs,
        "pairs_of_two_makers": makers,
        "pairs_of_two_drives": drives,
        "groups": [[list(ones), list(others)] for ones, others in isolated.groups],
        "figures": [
            {
                "name": each.name,
                "at": dict(each.at),
                "pairs": each.pairs,
                "groups": [[list(ones), list(others)] for ones, others in each.groups],
                "ratio": each.ratio.value,
                "ratio_interval": list(each.ratio.interval(coverage)),
                "coverage": coverage,
                "lowest": each.lowest,
                "highest": each.highest,
            }
            for each in found
        ],
    }


def _pairs_apart(isolated: Isolated, values: Find) -> tuple[int, int]:
    """Return in how many pairs the makers differ, and in how many the drives do; counted by kinds, not by pairs."""
    makers = drives = 0
    for group in isolated.groups:
        ones, others = ([e for name in side if (e := values(name)) is not None] for side in group)
        whole = len(ones) * len(others)
        maker = [Counter(e.specimen.maker for e in side) for side in (ones, others)]
        makers += whole - sum(count * maker[1][name] for name, count in maker[0].items())
        kinds = [{e.drive_words: e for e in side} for side in (ones, others)]
        counted = [Counter(e.drive_words for e in side) for side in (ones, others)]
        drives += sum(
            counted[0][a] * counted[1][b]
            for a, one in kinds[0].items()
            for b, other in kinds[1].items()
            if drive_differences(one, other)
        )
    return makers, drives
