"""Rounding for print: two significant digits of the expanded uncertainty, the value to the same place.

JCGM 100, 7.2.6. Rounding is half to even on the shortest decimal form of the number, which is what a reader
who checks it by hand sees.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Context, Decimal
from typing import Final

_DIGITS: Final = 2
_EXACT_DIGITS: Final = 6
_WIDE: Final = Context(prec=700, rounding=ROUND_HALF_EVEN)
_SMALLEST_PLAIN: Final = -4
_LARGEST_PLAIN: Final = 6
_LARGEST_PLAIN_TO_THE_UNIT: Final = 14


def rounded(value: float, expanded: float) -> tuple[str, str]:
    """Return value and expanded uncertainty as they are printed.

    Parameters
    ----------
    value : float
    expanded : float
        Expanded uncertainty, not negative. If it is 0, the value is printed to six significant digits.

    Returns
    -------
    (str, str)
        Plain decimals (``"9.84", "0.14"``); with one power of ten for both (``"1.2346e-9", "0.0012e-9"``) for
        numbers below 1e-4, or above 1e7 with zeros at the end that only hold the place.

    Raises
    ------
    ValueError
        If a number is not finite, or the uncertainty is negative.
    """
    if not (math.isfinite(value) and math.isfinite(expanded) and expanded >= 0):
        message = f"{value} with expanded uncertainty {expanded} cannot be rounded"
        raise ValueError(message)
    first, second = _printed([value, expanded], _place(value, expanded))
    return first, second if expanded else "0"


def interval_text(value: float, low: float, high: float) -> tuple[str, str, str]:
    """Return value and both ends of its coverage interval as printed.

    Half the width of the interval sets the place, with two significant digits.

    Raises
    ------
    ValueError
        If a number is not finite, or the ends are the wrong way round.
    """
    if not all(math.isfinite(x) for x in (value, low, high)) or low > high:
        message = f"{value} in [{low}, {high}] cannot be rounded"
        raise ValueError(message)
    first, second, third = _printed([value, low, high], _place(value, high / 2 - low / 2))
    return first, second, third


def _place(value: float, expanded: float) -> int:
    """Return the power of ten of the last printed digit."""
    if expanded == 0:
        return _decade(value) - _EXACT_DIGITS + 1 if value else 0
    place = _decade(expanded) - _DIGITS + 1
    # 0.0996 becomes 0.10, not 0.100: rounding up a decade moves the place with it.
    return _quantized(expanded, place).adjusted() - _DIGITS + 1


def _decade(number: float) -> int:
    return Decimal(repr(float(number))).adjusted()


def _quantized(number: float, place: int) -> Decimal:
    exact = Decimal(repr(float(number))).quantize(Decimal(1).scaleb(place), context=_WIDE)
    return exact if exact else abs(exact)


def _printed(numbers: list[float], place: int) -> list[str]:
    exact = [_quantized(number, place) for number in numbers]
    top = max((number.adjusted() for number in exact if number), default=0)
    largest = _LARGEST_PLAIN_TO_THE_UNIT if place <= 0 else _LARGEST_PLAIN
    if _SMALLEST_PLAIN <= top <= largest:
        return [format(number, "f") for number in exact]
    return [f"{format(number.scaleb(-top, context=_WIDE), 'f')}e{top}" for number in exact]
