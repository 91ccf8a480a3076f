"""The whole archive in small numbers: what every motor campaign tells of the spread of pieces and of design.

A report sees of the archive only what it uses, and sees that rounded: one campaign among many then rarely changes
what another's report sees, and where it does, the report's figures have really changed.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping  # noqa: TC003 - pydantic reads the annotations
from dataclasses import dataclass, field
from functools import cache
from itertools import combinations
from typing import TYPE_CHECKING, Final

from benchproof.findings.designs import Change, changes, isolates
from benchproof.findings.scatter import Scatter, Spread, pooled

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from benchproof.findings.spread import Place

    Group = tuple[tuple[str, ...], tuple[str, ...]]

EXACT: Final = 30
"""Counts from here on are rounded down to one significant digit: Student's factor moves by 1 % at most."""

STEPS: Final = (
    *(10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30),
    *(33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91),
)
"""Two significant digits in 24 steps a decade (the preferred numbers E24 of IEC 60063 [from memory]).

Neighbours lie 10 % apart on average, 15 % at most."""


@dataclass(frozen=True, slots=True)
class Traits:
    """What one motor campaign tells of itself to the archive.

    Parameters
    ----------
    design : Mapping of str to str
        Declared attributes; empty where it declares no design.
    scatter : Mapping of str to Scatter
        What its pieces tell of the spread of each of its figures, by :func:`place_text`.
    """

    design: Mapping[str, str] = field(default_factory=dict)
    scatter: Mapping[str, Scatter] = field(default_factory=dict)


def pairs_of(groups: Iterable[Group]) -> int:
    """Return how many pairs there are: each of the first of a group with each of the second."""
    return sum(len(ones) * len(others) for ones, others in groups)


@dataclass(frozen=True, slots=True)
class Isolated:
    """A change of one attribute, and all campaigns of the archive in pairs that isolate it.

    Parameters
    ----------
    attribute, one, other : str
        The attribute and its two values.
    groups : tuple of (tuple of str, tuple of str)
        Campaigns of one value and of the other that are alike in all else they declare: each of the first with each
        of the second is a pair.
    """

    attribute: str
    one: str
    other: str
    groups: tuple[Group, ...]

    @property
    def change(self) -> Change:
        """The change."""
        return Change(self.attribute, self.one, self.other)

    @property
    def pairs(self) -> int:
        """How many pairs there are."""
        return pairs_of(self.groups)

    @property
    def campaigns(self) -> tuple[str, ...]:
        """Every campaign that takes part, once."""
        return tuple(sorted({name for ones, others in self.groups for name in (*ones, *others)}))


@dataclass(frozen=True, slots=True)
class Glance:
    """What one report sees of the archive.

    Parameters
    ----------
    spreads : Mapping of str to Spread
        The spread of pieces of each figure it uses, rounded, by :func:`place_text`.
    isolated : tuple of Isolated
        For a comparison: each change its pairs isolate, with the archive's pairs that isolate it too.
    """

    spreads: Mapping[str, Spread] = field(default_factory=dict)
    isolated: tuple[Isolated, ...] = ()

    @property
    def key(self) -> str:
        """A digest of it."""
        spreads = [(text, each.standard, each.degrees, each.campaigns) for text, each in sorted(self.spreads.items())]
        isolated = [(each.attribute, each.one, each.other, each.groups) for each in self.isolated]
        return hashlib.sha256(json.dumps([spreads, isolated]).encode()).hexdigest()

    @property
    def by_place(self) -> dict[Place, Spread]:
        """The spreads by the figures they belong to."""
        return {place_of_text(text): spread for text, spread in self.spreads.items()}

    @property
    def campaigns(self) -> frozenset[str]:
        """The campaigns whose trials it needs: those of pairs that stand beside the comparison's own."""
        return frozenset(name for each in self.isolated if each.pairs > 1 for name in each.campaigns)


class Archive:
    """Every motor campaign that could be built.

    Parameters
    ----------
    traits : Mapping of str to Traits
        By campaign.
    """

    def __init__(self, traits: Mapping[str, Traits]) -> None:
        self.traits = dict(sorted(traits.items()))
        rows: dict[str, list[Scatter]] = {}
        for each in self.traits.values():
            for text, scatter in each.scatter.items():
                if scatter.degrees:
                    rows.setdefault(text, []).append(scatter)
        exact = {text: pooled(found) for text, found in rows.items()}
        self._spreads = {text: rounded(each) for text, each in exact.items() if each is not None and each.standard}
        self._alike: dict[tuple[str, ...], Spread] = {}
        for text, spread in sorted(self._spreads.items(), key=lambda item: item[1].standard):
            if (kind := _kind(text)) is not None:
                self._alike[kind] = spread

    def of_motor(self, name: str) -> Glance:
        """Return what a motor campaign's report sees."""
        own = self.traits.get(name, Traits())
        return Glance(dict(self._seen(own.scatter)))

    def of_comparison(self, members: Sequence[str]) -> Glance:
        """Return what a comparison's report sees, by the campaigns it compares in their order."""
        isolated = tuple(self._isolated(members))
        return Glance(dict(sorted(self._spreads.items())) if any(each.pairs > 1 for each in isolated) else {}, isolated)

    def _seen(self, texts: Iterable[str]) -> Iterator[tuple[str, Spread]]:
        """Yield the spread of each figure; at a place where nobody has two pieces, the widest of the same figure."""
        for text in sorted(texts):
            spread = self._spreads.get(text) or self._alike.get(_kind(text) or ())
            if spread is not None:
                yield text, spread

    def _isolated(self, members: Sequence[str]) -> Iterator[Isolated]:
        designs = [self.traits[name].design for name in members if name in self.traits and self.traits[name].design]
        seen: set[tuple[str, frozenset[str]]] = set()
        for first, second in combinations(designs, 2):
            found = changes(first, second)
            if isolates(found) and (key := (found[0].attribute, frozenset((found[0].one, found[0].other)))) not in seen:
                seen.add(key)
                yield Isolated(found[0].attribute, found[0].one, found[0].other, self._groups(found[0]))

    def _groups(self, change: Change) -> tuple[Group, ...]:
        """Return the campaigns that differ in a change alone: grouped by the rest of their design, in one pass."""
        sides: dict[frozenset[tuple[str, str]], tuple[list[str], list[str]]] = {}
        for name, traits in self.traits.items():
            value = traits.design.get(change.attribute)
            if value in (change.one, change.other):
                rest = frozenset(item for item in traits.design.items() if item[0] != change.attribute)
                sides.setdefault(rest, ([], []))[value == change.other].append(name)
        return tuple(sorted((tuple(ones), tuple(others)) for ones, others in sides.values() if ones and others))


def rounded(spread: Spread) -> Spread:
    """Return a spread as reports use it: to the nearest of :data:`STEPS`; counts down to one digit from 30 on.

    Examples
    --------
    >>> rounded(Spread(0.01234, 47, 29))
    Spread(standard=0.012, degrees=40, campaigns=29)
    """
    return Spread(_stepped(spread.standard), _fewer(spread.degrees), _fewer(spread.campaigns))


def _stepped(value: float) -> float:
    """Return the nearest step, on the logarithmic scale."""
    decade = math.floor(math.log10(value)) - 1
    near = (float(f"{step}e{power}") for power in (decade, decade + 1) for step in STEPS)
    return min(near, key=lambda step: abs(math.log(step / value)))


def _fewer(count: int) -> int:
    unit = 1 if count < EXACT else 10 ** (len(str(count)) - 1)
    return count // unit * unit


def place_text(place: Place) -> str:
    """Return what a figure is a figure of as a key of plain data."""
    name, at = place
    return json.dumps([name, *(word for pair in at for word in pair)], ensure_ascii=False)


@cache
def place_of_text(text: str) -> Place:
    """Return a figure's name and place from :func:`place_text`."""
    name, *words = json.loads(text)
    return name, tuple(zip(words[::2], words[1::2], strict=True))


def _kind(text: str) -> tuple[str, ...] | None:
    """Return a figure's name and what it is read at, without the value; None for parts, which are things apart."""
    name, at = place_of_text(text)
    keys = tuple(key for key, _ in at)
    return None if "part" in keys else (name, *keys)
