"""Figures, differences and prices as words of a table or a sentence, rounded by the GUM's rule."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.nomenclature import Shown, term, unit_text
from benchproof.trials.rounding import interval_text, rounded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.trials.quantity import Quantity

CENTRED = 0.05
"""Largest distance of the value from the middle of its interval, in half-widths, for which ± is printed."""


def shown_unit(name: str) -> tuple[str, float]:
    """Return the unit that pages print a quantity in, and how many SI units one of it is."""
    of = term(name)
    shown = of.shown[0] if of.shown else Shown(of.unit, 1.0)
    return unit_text(shown.unit), of.si_per_unit * shown.per_unit


def figure_words(quantity: Quantity, name: str, coverage: float) -> str:
    """Return a figure with its interval: ``31.41 g ± 0.02 g``."""
    unit, per_unit = shown_unit(name)
    return spread_words(quantity, unit, per_unit, coverage)


def spread_words(quantity: Quantity, unit: str, per_unit: float, coverage: float) -> str:
    """Return a quantity with its interval in a unit; both ends where the value is not in their middle."""
    low, high = (end / per_unit for end in quantity.interval(coverage))
    value = quantity.value / per_unit
    half = (high - low) / 2
    tail = f" {unit}" if unit else ""
    if abs((high + low) / 2 - value) <= CENTRED * half:
        number, spread = rounded(value, half)
        return f"{number}{tail} ± {spread}{tail}"
    number, below, above = interval_text(value, low, high)
    return f"{number}{tail} ({below}{tail} to {above}{tail})"


def percent_words(ratio: Quantity, coverage: float) -> str:
    """Return a ratio as a difference in per cent with its sign: ``+2.9 % (+2.1 % to +3.7 %)``."""
    return ratio_words(ratio.value, ratio.interval(coverage))


def ratio_words(ratio: float, interval: Sequence[float]) -> str:
    """Return a ratio and the ends of its interval as a difference in per cent.

    Examples
    --------
    >>> ratio_words(1.029, (1.021, 1.037))
    '+2.90 % (+2.10 % to +3.70 %)'
    """
    value, low, high = (100 * (each - 1) for each in (ratio, *interval))
    number, below, above = interval_text(value, low, high)
    return f"{_signed(number)} % ({_signed(below)} % to {_signed(above)} %)"


def _signed(number: str) -> str:
    return number if number.startswith("-") or not float(number) else f"+{number}"


def place_words(at: Mapping[str, str]) -> str:
    """Return an operating point in a line; empty for none."""
    return ", ".join(f"{value} throttle" if key in ("throttle", "step") else str(value) for key, value in at.items())


def probability_words(value: float) -> str:
    """Return a probability to two places that never reads as certain where it is not known to be."""
    if value > 0.995:
        return "above 0.99"
    return "below 0.01" if value < 0.005 else f"{value:.2f}"


def title_words(name: str, at: Mapping[str, str]) -> str:
    """Return a figure's title with its operating point."""
    where = place_words(at)
    if not where:
        return term(name).title
    return f"{term(name).title} of the {where}" if "part" in at else f"{term(name).title} at {where}"
