"""The closed list of unit spellings over pint, and the reading of quantities that people write.

The spellings are ours: pint reads ``1,5 V`` as 15 V, ``22 C`` as coulomb and ``50 %RH`` as henry, so nothing
a person wrote is ever given to it. The factors are pint's, computed on first use: this module imports fast.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, get_args

from benchproof.campaign.spellings import EXAMPLES, INSTEAD, MEANT, QUANTITY_DIMENSIONS, SPELLINGS, Dimension
from benchproof.nomenclature import term

_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_COMMA: Final = re.compile(r"^[+-]?[0-9]*,[0-9]")
_NOT_FINITE: Final = re.compile(r"^[+-]?\.?(?:nan|inf(?:inity)?)\b", re.IGNORECASE)
_LONGEST: Final = 60


class UnitError(ValueError):
    """A quantity or unit cannot be read.

    Parameters
    ----------
    found, expected, remedy : str
        What stands there, what should stand there with a right spelling, and what to do.
    """

    inside: tuple[str, ...] = ()
    """Key of a mapping that holds the quantity, where there is one."""

    def __init__(self, found: str, expected: str, remedy: str) -> None:
        super().__init__(f"found {found}; expected {expected}. {remedy}")
        self.found = found
        self.expected = expected
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class Measured:
    """A quantity as somebody wrote it.

    Parameters
    ----------
    si : float
        Value in the SI unit of its dimension (speed rad/s, temperature K, ratios as 1).
    text : str
        The words of the file.
    unit : str
        The unit's spelling in the file.
    """

    si: float
    text: str
    unit: str


@dataclass(frozen=True, slots=True)
class Scale:
    """How a unit becomes SI: ``si = value * factor + offset``."""

    factor: float
    offset: float


def dimensions() -> tuple[Dimension, ...]:
    """Return all dimensions."""
    return get_args(Dimension)


def spellings(dimension: Dimension) -> tuple[str, ...]:
    """Return the accepted unit spellings of a dimension, the recommended one first."""
    return tuple(SPELLINGS[dimension][1])


def quantity_dimension(name: str) -> Dimension:
    """Return the dimension of a figure by its name in the nomenclature."""
    return QUANTITY_DIMENSIONS[term(name).unit]


def example(dimension: Dimension) -> str:
    """Return a quantity of that dimension, rightly written."""
    return EXAMPLES[dimension]


def scale_of(unit: str, dimension: Dimension, *, difference: bool = False) -> Scale:
    """Return factor and offset that turn a value in `unit` into SI.

    Parameters
    ----------
    unit : str
        One of our spellings.
    dimension : Dimension
        What is measured.
    difference : bool
        True for differences (half-widths, scatter): degC then has no offset.

    Raises
    ------
    UnitError
        If the spelling is not one of the dimension's.
    """
    si_unit, units = SPELLINGS[dimension]
    if unit not in units:
        raise _unknown_unit(unit, dimension)
    scale = _scale(units[unit], si_unit)
    return Scale(scale.factor, 0.0) if difference else scale


def read_measured(text: object, dimension: Dimension, *, difference: bool = False) -> Measured:
    """Read a quantity such as ``"32.41 g"``.

    Parameters
    ----------
    text : object
        What stands in the file; anything but a string with number and unit is refused.
    dimension : Dimension
        What is expected.
    difference : bool
        True where the quantity is a difference, so that ``0.5 degC`` is 0.5 K.

    Raises
    ------
    UnitError
        With what was found, the expected unit, a right spelling and the nearest valid one.
    """
    number, unit = _split(text, dimension)
    if unit not in SPELLINGS[dimension][1]:
        raise _unknown_unit(unit, dimension, str(text))
    scale = scale_of(unit, dimension, difference=difference)
    return _measured(number, unit, scale, str(text), dimension)


def read_any(text: object, *, difference: bool = False) -> Measured:
    """Read a quantity of whatever dimension; `unit` then says which, as no spelling has two factors but Hz.

    Raises
    ------
    UnitError
        If it is not a number with one of our units.
    """
    number, unit = _split(text, None)
    for dimension in dimensions():
        if unit in SPELLINGS[dimension][1]:
            return _measured(number, unit, scale_of(unit, dimension, difference=difference), str(text), dimension)
    raise _unknown_unit(unit, None, str(text))


def shortened(value: object, limit: int = _LONGEST) -> str:
    """Return `value` as one short printable line, for messages."""
    text = value if isinstance(value, str) else _plain(value)
    line = "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text[: limit + 1])
    return line if len(line) <= limit else f"{line[: limit - 1]}\N{HORIZONTAL ELLIPSIS}"


def a(noun: str) -> str:
    """Return a noun with its article."""
    return f"{'an' if noun[:1] in 'aeiou' else 'a'} {noun}"


def nearest(word: str, valid: tuple[str, ...]) -> str | None:
    """Return the valid spelling nearest to `word`, or None if none is near."""
    lowered = {name.casefold(): name for name in reversed(valid)}
    found = difflib.get_close_matches(word[:_LONGEST].casefold(), list(lowered), n=1, cutoff=0.6)
    return lowered[found[0]] if found else None


def _plain(value: object) -> str:
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 10**30:
        return "a number of more than 30 digits"
    return repr(value)


def _quoted(value: object) -> str:
    return f'"{shortened(value)}"' if isinstance(value, str) else shortened(value)


def _expected(dimension: Dimension | None) -> str:
    if dimension is None:
        return 'a number with a unit, such as "0.02 N"'
    return f'{a(dimension)} with its unit, such as "{EXAMPLES[dimension]}"'


def _split(text: object, dimension: Dimension | None) -> tuple[float, str]:
    """Return number and unit spelling, or say what is wrong with the form."""
    if not isinstance(text, str):
        raise UnitError(*_not_text(text, dimension))
    match = _NUMBER.match(text)
    unit = text[match.end() :].strip(" ") if match else ""
    found, remedy = _quoted(text), None
    if len(text) > _LONGEST:
        remedy = f"Write at most {_LONGEST} characters."
    elif _COMMA.match(text.strip()):
        found, remedy = f"{found} with a comma", "Write a decimal point, and no mark between thousands."
    elif _NOT_FINITE.match(text.strip()):
        remedy = "Write the value that was read; leave out what was not measured."
    elif match is None:
        remedy = "Begin with the number, then a space, then the unit."
    elif not unit:
        spelt = spellings(dimension)[0] if dimension else "N"
        found, remedy = f"{found} without a unit", f'Add the unit, such as "{match.group()} {spelt}".'
    if match is None or remedy:
        raise UnitError(found, _expected(dimension), remedy or "")
    return float(match.group()), unit


def _not_text(value: object, dimension: Dimension | None) -> tuple[str, str, str]:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return what(value), _expected(dimension), "Write number and unit as text, in quotes."
    unit = spellings(dimension)[0] if dimension else "N"
    return (
        f"the bare number {shortened(value)}",
        _expected(dimension),
        f'Add the unit, in quotes, such as "{shortened(value)} {unit}".',
    )


def what(value: object) -> str:
    """Say in words what stands in the file."""
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return f"a mapping with the keys {shortened(', '.join(map(str, value)))}" if value else "an empty mapping"
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return f"the number {shortened(value)}"
    return _quoted(value)


def _measured(number: float, unit: str, scale: Scale, text: str, dimension: Dimension) -> Measured:
    si = number * scale.factor + scale.offset
    if not math.isfinite(si):
        raise UnitError(_quoted(text), _expected(dimension), "Write a finite number.")
    if dimension == "temperature" and scale.offset and si < 0:
        raise UnitError(_quoted(text), _expected(dimension), "A temperature is not below absolute zero, -273.15 degC.")
    return Measured(si, text, unit)


def _unknown_unit(unit: str, dimension: Dimension | None, text: str | None = None) -> UnitError:
    """Return the error for a unit that is not in the list, naming the right or nearest spelling."""
    valid = spellings(dimension) if dimension else _all_spellings()
    suggestion = _suggest(unit, dimension, valid)
    listed = ", ".join(valid) if dimension else "the units of the documentation"
    remedy = f"Write {suggestion}." if suggestion else f"Use one of {listed}."
    other = next((d for d in dimensions() if dimension and unit in spellings(d)), None)
    if other:
        remedy = f"{unit} is a unit of {other}. {remedy}"
    found = _quoted(unit) if text is None else _quoted(text)
    if text is not None and other is None:
        found = f"{found} with the unknown unit '{shortened(unit)}'"
    expected = _expected(dimension) if text is not None else f"a unit of {dimension or 'the list'}, one of {listed}"
    return UnitError(found, expected, remedy)


def _all_spellings() -> tuple[str, ...]:
    return tuple(dict.fromkeys(unit for dimension in dimensions() for unit in spellings(dimension)))


def _suggest(unit: str, dimension: Dimension | None, valid: tuple[str, ...]) -> str | None:
    meant = MEANT.get((dimension or "", unit)) or INSTEAD.get(unit)
    return meant if meant in valid else nearest(unit, valid)


@cache
def _registry() -> Any:
    import pint  # 0.1 s, paid on first use only

    return pint.UnitRegistry()


@cache
def _scale(expression: str, si_unit: str) -> Scale:
    """Return pint's factor and offset of one of our spellings, whose expressions are all known to pint."""
    ureg = _registry()
    if expression in ("degC", "degF"):
        factor = ureg.Quantity(1.0, f"delta_{expression}").to(si_unit).magnitude
        return Scale(float(factor), float(ureg.Quantity(0.0, expression).to(si_unit).magnitude))
    unit = ureg.parse_expression(expression)
    quantity = unit if hasattr(unit, "magnitude") else ureg.Quantity(1.0, unit)
    return Scale(float(ureg.Quantity(float(quantity.magnitude), quantity.units).to(si_unit).magnitude), 0.0)
