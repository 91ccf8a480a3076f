"""What a method hands out: figures, charts, tables, remarks. Frozen, and with no way to redo or draw themselves."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Literal

from benchproof.nomenclature import term

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.errors import Remark
    from benchproof.trials.quantity import Quantity

NO_POINT: Final[Mapping[str, str]] = MappingProxyType({})
"""The operating point of a figure that has none."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One published figure.

    Parameters
    ----------
    name : str
        A quantity of the nomenclature.
    at : Mapping of str to str
        Operating point as the lab wrote it, in the order of results.json.
    sample : str or None
        The sample; None for the model.
    quantity : Quantity or None
        Value and trials, SI; None where the figure was not reached or is withheld.
    method : str
        ``key/version`` of the method that made it.
    flags : tuple of str
        What a reader must know: ``air_referred``, ``not_reached``, ``withheld:...``, ``one_sample``.
    """

    name: str
    at: Mapping[str, str]
    sample: str | None
    quantity: Quantity | None
    method: str
    flags: tuple[str, ...] = ()

    @property
    def key(self) -> tuple[str, tuple[tuple[str, str], ...]]:
        """Return what the figure is a figure of: name and operating point, without the sample."""
        return self.name, tuple(self.at.items())

    def flagged(self, *flags: str) -> Figure:
        """Return the figure with more flags, each once."""
        return replace(self, flags=tuple(dict.fromkeys((*self.flags, *flags))))

    def withheld(self, code: str) -> Figure:
        """Return the figure without its value, and why."""
        return replace(self, quantity=None, flags=tuple(dict.fromkeys((*self.flags, f"withheld:{code}"))))


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis of a chart: a quantity of the nomenclature, or words and a unit."""

    name: str
    label: str
    unit: str
    scale: Literal["linear", "log"] = "linear"

    @classmethod
    def of(cls, name: str, scale: Literal["linear", "log"] = "linear") -> Axis:
        """Return the axis of a quantity, with its title and its unit in results."""
        quantity = term(name)
        return cls(name, quantity.title, quantity.unit, scale)


@dataclass(frozen=True, slots=True)
class Series:
    """One curve or set of points, in the units of the chart's axes.

    Parameters
    ----------
    label : str
        Words in the legend.
    sample : str or None
        The sample it belongs to; decides its colour.
    role : str
        ``band`` (curve with interval), ``line`` or ``points``.
    x, y, low, high : tuple of float
        Values; low and high are empty without interval.
    """

    label: str
    sample: str | None
    role: Literal["band", "line", "points"]
    x: tuple[float, ...]
    y: tuple[float, ...]
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    curve: bool = False


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart as data; series with ``curve`` are also written as curve files."""

    name: str
    title: str
    caption: str
    x: Axis
    y: Axis
    series: tuple[Series, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table."""

    label: str
    unit: str = ""
    align: Literal["left", "right"] = "right"


@dataclass(frozen=True, slots=True)
class Table:
    """A table as data; cells are text as it is to be read."""

    name: str
    title: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Reduction:
    """All that a method makes of a campaign's tests of its kind.

    Parameters
    ----------
    figures : tuple of Figure
        One for each sample, name and operating point; repeats are combined.
    charts, tables : tuple
        For the page and the notebook.
    remarks : tuple of Remark
        Warnings.
    """

    figures: tuple[Figure, ...] = ()
    charts: tuple[Chart, ...] = ()
    tables: tuple[Table, ...] = ()
    remarks: tuple[Remark, ...] = ()
    notes: Mapping[str, Sequence[str]] = field(default_factory=dict)
