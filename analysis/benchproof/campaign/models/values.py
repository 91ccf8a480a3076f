"""Annotated types of quantities: readings, stated values, values with uncertainty, money."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import PlainValidator, WithJsonSchema

from benchproof.campaign.currencies import CURRENCIES
from benchproof.campaign.models.base import unknown
from benchproof.campaign.problems import Problem, refuse
from benchproof.campaign.units import (
    Measured,
    UnitError,
    a,
    example,
    nearest,
    read_any,
    read_measured,
    scale_of,
    shortened,
    spellings,
    what,
)

if TYPE_CHECKING:
    from benchproof.campaign.spellings import Dimension

Sign = Literal["any", "positive", "not negative"]

_STATEMENTS: Final = ("standard", "half_width", "expanded")


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A value whose uncertainty the file states.

    Parameters
    ----------
    value : Measured
        The value.
    standard : float
        Standard uncertainty, SI.
    shape : {"normal", "rectangular"}
        Distribution of the error.
    stated : str
        The statement as written, for budgets and pages.
    """

    value: Measured
    standard: float
    shape: Literal["normal", "rectangular"]
    stated: str


def measured(text: object, dimension: Dimension, sign: Sign = "any", *, difference: bool = False) -> Measured:
    """Return the quantity, or refuse it.

    Raises
    ------
    PydanticCustomError
        With found, expected and remedy.
    """
    try:
        value = read_measured(text, dimension, difference=difference)
    except UnitError as error:
        refuse([Problem(error.found, error.expected, error.remedy)])
        raise AssertionError from error  # pragma: no cover - refuse has raised
    if (sign == "positive" and value.si <= 0) or (sign == "not negative" and value.si < 0):
        expected = f'{a(dimension)} that is {sign}, such as "{example(dimension)}"'
        refuse([Problem(what(text), expected, "Check the sign and the value.")])
    return value


def quantity(dimension: Dimension, sign: Sign = "any", *, difference: bool = False) -> Any:
    """Return the validator of a plain quantity."""
    return PlainValidator(lambda text: measured(text, dimension, sign, difference=difference))


def anything(*, difference: bool) -> Any:
    """Return the validator of a quantity whose dimension its model checks later."""

    def check(text: object) -> Measured:
        try:
            return read_any(text, difference=difference)
        except UnitError as error:
            refuse([Problem(error.found, error.expected, error.remedy)])
            raise AssertionError from error  # pragma: no cover - refuse has raised

    return PlainValidator(check)


def uncertain(dimension: Dimension, sign: Sign = "any") -> Callable[[object], Measured | Uncertain]:
    """Return the reader of a quantity with or without uncertainty of its own."""

    def check(value: object) -> Measured | Uncertain:
        if isinstance(value, Mapping):
            return _with_uncertainty(value, dimension, sign)
        return measured(value, dimension, sign)

    return check


def _with_uncertainty(value: Mapping[Any, Any], dimension: Dimension, sign: Sign) -> Uncertain:
    refuse(_form(value, dimension))
    try:
        centre = _inner(value, "value", dimension)
        kind = next(key for key in _STATEMENTS if key in value)
        spread = _spread(value[kind], centre, dimension, kind)
    except UnitError as error:
        refuse([Problem(error.found, error.expected, error.remedy, error.inside)])
        raise AssertionError from error  # pragma: no cover - refuse has raised
    refuse(_limits(centre, spread, sign, kind))
    stated = f"{kind} {value[kind]}" + (f", k {value['k']}" if kind == "expanded" else "")
    divisor = {"standard": 1.0, "half_width": math.sqrt(3.0), "expanded": float(value.get("k", 1.0))}[kind]
    return Uncertain(centre, spread / divisor, "rectangular" if kind == "half_width" else "normal", stated)


def _form(value: Mapping[Any, Any], dimension: Dimension) -> list[Problem]:
    """Return what is wrong with the keys of a value with uncertainty."""
    right = f'{{value: "{example(dimension)}", standard: "0.4 %"}}'
    valid = ("value", *_STATEMENTS, "k")
    problems = [_unknown_key(key, valid) for key in value if key not in valid]
    kinds = [key for key in _STATEMENTS if key in value]
    if "value" not in value:
        problems.append(Problem("no value:", right, "Add value: with number and unit."))
    if len(kinds) != 1 and not problems:
        found = f"{' and '.join(kinds)} together" if kinds else "no uncertainty"
        problems.append(Problem(found, f"one of {', '.join(_STATEMENTS)}", f"Write it as {right}."))
    return problems + _coverage_factor(value)


def _coverage_factor(value: Mapping[Any, Any]) -> list[Problem]:
    k = value.get("k")
    if "expanded" in value and not (isinstance(k, (int, float)) and not isinstance(k, bool) and 0 < k < math.inf):
        found = "expanded: without k:" if k is None else f"k: {shortened(k)}"
        return [Problem(found, "the coverage factor as a number, such as k: 2", "Add k: from the certificate.")]
    if "k" in value and "expanded" not in value:
        return [Problem("k: without expanded:", "k: beside expanded: only", "Delete k:, or write expanded:.", ("k",))]
    return []


def _unknown_key(key: object, valid: tuple[str, ...]) -> Problem:
    near = nearest(key, valid) if isinstance(key, str) else None
    remedy = f"Write {near}." if near else "Delete it."
    return Problem(f"the unknown key '{shortened(str(key))}'", f"one of {', '.join(valid)}", remedy, (str(key),))


def _inner(value: Mapping[Any, Any], key: str, dimension: Dimension) -> Measured:
    try:
        return read_measured(value[key], dimension)
    except UnitError as error:
        error.inside = (key,)
        raise


def _spread(text: object, centre: Measured, dimension: Dimension, kind: str) -> float:
    """Return an uncertainty in SI; a percentage is relative unless the value's own unit is %."""
    try:
        if isinstance(text, str) and text.rstrip().endswith(("%", "ppm")) and _relative(centre, dimension, text):
            if dimension == "temperature":
                raise _relative_temperature(text)
            return read_measured(text, "ratio").si * abs(centre.si)
        return read_measured(text, dimension, difference=True).si
    except UnitError as error:
        error.inside = (kind,)
        raise


def _relative(centre: Measured, dimension: Dimension, text: str) -> bool:
    own = spellings(dimension)
    return centre.unit != "%" if text.rstrip().endswith("%") else "ppm" not in own


def _relative_temperature(text: str) -> UnitError:
    remedy = 'Write it in degrees, such as "0.5 degC".'
    return UnitError(what(text), "an uncertainty in degC or K", remedy)


def _limits(centre: Measured, spread: float, sign: Sign, kind: str) -> list[Problem]:
    problems = []
    if (sign == "positive" and centre.si <= 0) or (sign == "not negative" and centre.si < 0):
        problems.append(Problem(what(centre.text), f"a value that is {sign}", "Check the sign.", ("value",)))
    if not 0 <= spread < math.inf:
        problems.append(Problem("a negative uncertainty", "one that is not negative", "Check it.", (kind,)))
    return problems


def _pattern(dimension: Dimension) -> dict[str, Any]:
    units = "|".join(_escaped(unit) for unit in spellings(dimension))
    return {
        "type": "string",
        "pattern": rf"^[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)? *({units})$",
        "examples": [example(dimension)],
    }


def _escaped(unit: str) -> str:
    return "".join(f"\\{letter}" if letter in "*./" else letter for letter in unit)


def text_schema(dimension: Dimension) -> WithJsonSchema:
    """Return the JSON Schema of a quantity."""
    return WithJsonSchema(_pattern(dimension))


def value_schema(dimension: Dimension) -> WithJsonSchema:
    """Return the JSON Schema of a quantity with or without uncertainty."""
    text = {"type": "string"}
    keys = {"value": _pattern(dimension), "standard": text, "half_width": text, "expanded": text}
    mapping = {
        "type": "object",
        "properties": keys | {"k": {"type": "number", "exclusiveMinimum": 0}},
        "required": ["value"],
        "additionalProperties": False,
    }
    return WithJsonSchema({"anyOf": [_pattern(dimension), mapping]})


def _currency(value: object) -> str:
    if not isinstance(value, str) or value not in CURRENCIES:
        problem = unknown(value, ("EUR", "USD", "GBP", "CHF"), "currency")
        refuse([Problem(problem.found, "an ISO 4217 code, such as EUR", "Write the three capital letters.")])
    return str(value)


def convertible(unit: str, dimension: Dimension) -> bool:
    """Return whether a log column or calibration in `unit` can be read as `dimension`."""
    try:
        scale_of(unit, dimension)
    except UnitError:
        return False
    return True


Currency = Annotated[str, PlainValidator(_currency), WithJsonSchema({"type": "string", "pattern": "^[A-Z]{3}$"})]

Mass = Annotated[Measured, quantity("mass", "positive"), text_schema("mass")]
Force = Annotated[Measured, quantity("force", "positive"), text_schema("force")]
Voltage = Annotated[Measured, quantity("voltage", "positive"), text_schema("voltage")]
Current = Annotated[Measured, quantity("current", "positive"), text_schema("current")]
Resistance = Annotated[Measured, quantity("resistance", "not negative"), text_schema("resistance")]
Speed = Annotated[Measured, quantity("speed", "positive"), text_schema("speed")]
Power = Annotated[Measured, quantity("power", "positive"), text_schema("power")]
Ratio = Annotated[Measured, quantity("ratio", "not negative"), text_schema("ratio")]
Length = Annotated[Measured, quantity("length", "positive"), text_schema("length")]
Elevation = Annotated[Measured, quantity("length"), text_schema("length")]
Time = Annotated[Measured, quantity("time", "not negative"), text_schema("time")]
Angle = Annotated[Measured, quantity("angle"), text_schema("angle")]
Kv = Annotated[Measured, quantity("kv", "positive"), text_schema("kv")]
Frequency = Annotated[Measured, quantity("frequency", "positive"), text_schema("frequency")]
Energy = Annotated[Measured, quantity("energy", "positive"), text_schema("energy")]
Charge = Annotated[Measured, quantity("charge", "positive"), text_schema("charge")]
Temperature = Annotated[Measured, quantity("temperature"), text_schema("temperature")]
Pressure = Annotated[Measured, quantity("pressure", "positive"), text_schema("pressure")]
Humidity = Annotated[Measured, quantity("humidity", "not negative"), text_schema("humidity")]
AnyQuantity = Annotated[Measured, anything(difference=False), WithJsonSchema({"type": "string"})]
AnyDifference = Annotated[Measured, anything(difference=True), WithJsonSchema({"type": "string"})]

Value = Measured | Uncertain
"""A reading typed without uncertainty of its own, or a value with it."""

MassValue = Annotated[Value, PlainValidator(uncertain("mass", "positive")), value_schema("mass")]
VoltageValue = Annotated[Value, PlainValidator(uncertain("voltage", "positive")), value_schema("voltage")]
CurrentValue = Annotated[Value, PlainValidator(uncertain("current", "positive")), value_schema("current")]
ResistanceValue = Annotated[Value, PlainValidator(uncertain("resistance", "not negative")), value_schema("resistance")]
SpeedValue = Annotated[Value, PlainValidator(uncertain("speed", "positive")), value_schema("speed")]
LengthValue = Annotated[Value, PlainValidator(uncertain("length", "positive")), value_schema("length")]
AngleValue = Annotated[Value, PlainValidator(uncertain("angle")), value_schema("angle")]
TimeValue = Annotated[Value, PlainValidator(uncertain("time", "positive")), value_schema("time")]
InertiaValue = Annotated[Value, PlainValidator(uncertain("inertia", "positive")), value_schema("inertia")]
TemperatureValue = Annotated[Value, PlainValidator(uncertain("temperature")), value_schema("temperature")]
PressureValue = Annotated[Value, PlainValidator(uncertain("pressure", "positive")), value_schema("pressure")]
HumidityValue = Annotated[Value, PlainValidator(uncertain("humidity", "not negative")), value_schema("humidity")]
