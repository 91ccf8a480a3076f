"""Figures as they are printed: value, unit and interval, rounded by the GUM's rule."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from benchproof.nomenclature import QUANTITIES, Shown, unit_text
from benchproof.report.words import flag_words
from benchproof.trials.rounding import interval_text, rounded

if TYPE_CHECKING:
    from benchproof.report.records import Figure

CENTRED: Final = 0.05
"""Largest distance of the value from the middle of its interval, in half-widths, for which ± is printed."""

_RAISED: Final = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


@dataclass(frozen=True, slots=True)
class Printed:
    """A figure in words.

    Parameters
    ----------
    value : str
        The rounded value without unit; empty if there is none.
    unit : str
        The unit as print has it; empty for a pure number.
    spread : str
        ``± 0.02``, or ``6.98 to 7.20`` where the interval is not centred on the value; in the same unit.
    text : str
        The whole in one line: ``31.41 g ± 0.02 g``; ``not reached in the test``; ``withheld: …``.
    reached : bool
        Whether there is a value.
    also : tuple of str
        The same in the other units pages show.
    """

    value: str
    unit: str
    spread: str
    text: str
    reached: bool
    also: tuple[str, ...] = ()


def print_figure(figure: Figure) -> Printed:
    """Return a figure of results.json in words, in the unit pages show first, others beside it.

    Parameters
    ----------
    figure : Figure
        One entry of ``quantities``.

    Returns
    -------
    Printed
        ± is half the width of the coverage interval, two significant digits, value to the same place (JCGM 100, 7.2.6).
    """
    if figure.value is None:
        reason = _absence(figure)
        return Printed("", "", "", reason, reached=False)
    first, *others = [_printed_in(figure, shown) for shown in _units(figure)]
    return Printed(first.value, first.unit, first.spread, first.text, reached=True, also=tuple(o.text for o in others))


def _units(figure: Figure) -> list[Shown]:
    """Return the units to print in: those pages show, else the results' own."""
    own = Shown(figure.unit, 1.0)
    term = QUANTITIES.get(figure.name)
    if term is None or term.unit != figure.unit:
        return [own]
    return list(term.shown) or [own]


def _printed_in(figure: Figure, shown: Shown) -> Printed:
    if figure.value is None:
        message = "a figure without value has no unit to print in"
        raise ValueError(message)
    unit = unit_text(shown.unit)
    value = figure.value / shown.per_unit
    if figure.interval is None:
        number = _power(rounded(value, 0.0)[0])
        return Printed(number, unit, "no interval", f"{_with(number, unit)} (no interval)", reached=True)
    low, high = (end / shown.per_unit for end in figure.interval)
    half_width = (high - low) / 2
    if abs((high + low) / 2 - value) <= CENTRED * half_width:
        number, half = (_power(text) for text in rounded(value, half_width))
        text = f"{_with(number, unit)} ± {_with(half, unit)}"
        return Printed(number, unit, f"± {half}", text, reached=True)
    number, below, above = (_power(text) for text in interval_text(value, low, high))
    text = f"{_with(number, unit)} ({_with(below, unit)} to {_with(above, unit)})"
    return Printed(number, unit, f"{below} to {above}", text, reached=True)


def _absence(figure: Figure) -> str:
    """Return why a figure has no value."""
    reasons = [flag for flag in figure.flags if flag == "not_reached" or flag.startswith("withheld:")]
    return "; ".join(flag_words(flag) for flag in reasons) or "no value"


def _with(number: str, unit: str) -> str:
    return f"{number} {unit}" if unit else number


def _power(text: str) -> str:
    """Return a number with its power of ten raised."""
    return re.sub(r"e(-?\d+)$", lambda match: f" × 10{match[1].translate(_RAISED)}", text)
