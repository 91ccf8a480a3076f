"""What all models share: strictness, documented fields, lists as tuples, frozen mappings, safe names and paths."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from datetime import date
from types import MappingProxyType
from typing import Annotated, Any, Final, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainValidator,
    WithJsonSchema,
)

from benchproof.campaign.problems import Problem, refuse
from benchproof.campaign.units import a, nearest, shortened, what

T = TypeVar("T")
K = TypeVar("K", bound=str)


class Model(BaseModel):
    """A strict, frozen record that knows every one of its keys."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False, hide_input_in_errors=True)


def doc(description: str, example: Any, **more: Any) -> Any:
    """Return a pydantic field whose description and example the messages, the schema and `new` use."""
    return Field(description=description, examples=[example], **more)


def _frozen(mapping: Mapping[str, T]) -> Mapping[str, T]:
    return MappingProxyType(dict(mapping))


def _nothing(value: object) -> object:
    """Read a key without a value as the empty list it looks like."""
    return () if value is None else value


Many = Annotated[tuple[T, ...], Field(strict=False), BeforeValidator(_nothing)]
"""A list in the file, a tuple in the model."""

Table = Annotated[Mapping[K, T], AfterValidator(_frozen)]
"""A mapping in the file, a read-only one in the model."""

_NAME: Final = re.compile(r"[^\W_][\w.+-]*", re.UNICODE)
_LONGEST_NAME: Final = 80
_NAME_RULE: Final = "Use letters, digits and . _ + - (first a letter or digit, no spaces, at most 80)."
_UNSAFE: Final = frozenset('<>:"|?*\\')


def _name(value: object) -> str:
    """Return a name that is safe as a part of a path, an address and a page."""
    expected = "a name, such as north-bench"
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        refuse([Problem(what(value), expected, f'Put it in quotes: "{shortened(value)}".')])
    elif not isinstance(value, str):
        refuse([Problem(what(value), expected, "Write the name.")])
    elif len(value) > _LONGEST_NAME or not _NAME.fullmatch(value) or ".." in value or value.endswith("."):
        refuse([Problem(what(value), expected, _NAME_RULE)])
    return str(value)


Name = Annotated[
    str,
    PlainValidator(_name),
    WithJsonSchema({"type": "string", "pattern": r"^[\p{L}\p{N}][\p{L}\p{N}_.+-]*$"}),
]
"""A name of a campaign, rig, instrument, sample or part."""


def unprintable(letter: str) -> bool:
    """Return whether a character is invisible, or turns the text around it: a control or a format character.

    Line ends are not; nor are the joiners that scripts and emoji are written with.
    """
    joiners = "\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}\N{SOFT HYPHEN}"
    return letter not in f"\n{joiners}" and unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Co", "Cn")


def _words(longest: int) -> Callable[[object], str]:
    def check(value: object) -> str:
        expected = "words"
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            refuse([Problem(what(value), expected, f'Put it in quotes: "{shortened(value)}".')])
        elif not isinstance(value, str):
            refuse([Problem(what(value), expected, "Write the words, in quotes if in doubt.")])
        elif not value.strip():
            refuse([Problem("an empty text", expected, "Write the words, or delete the key.")])
        elif letter := next((each for each in value if unprintable(each)), None):
            found = f"the invisible character U+{ord(letter):04X}"
            refuse([Problem(found, "printable text", "Delete the character.")])
        elif len(value) > longest:
            found = f"{len(value)} characters"
            refuse([Problem(found, f"at most {longest} characters", "Shorten it; long prose belongs in text:.")])
        return str(value)

    return check


Words = Annotated[str, PlainValidator(_words(500)), WithJsonSchema({"type": "string", "maxLength": 500})]
"""A line of literal text."""

Prose = Annotated[str, PlainValidator(_words(100_000)), WithJsonSchema({"type": "string", "maxLength": 100_000})]
"""Paragraphs."""


def _scalar(value: object) -> str | int | float:
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        refuse([Problem(what(value), "a word or a number", "Write a single word or number.")])
    return value  # type: ignore[return-value]


Scalar = Annotated[str | int | float, PlainValidator(_scalar), WithJsonSchema({"type": ["string", "number"]})]
"""A word or a number, kept as it is."""


def _day(value: object) -> date:
    expected, remedy = "a date, such as 2026-03-02", "Write year-month-day."
    if isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            remedy = "There is no such day in the calendar."
    refuse([Problem(what(value), expected, remedy)])
    raise AssertionError  # pragma: no cover - refuse has raised


Day = Annotated[
    date, PlainValidator(_day), WithJsonSchema({"type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"})
]
"""A date, as ISO 8601 writes it."""


def _path_fault(value: object, folder: str, suffixes: tuple[str, ...]) -> str | None:
    """Return what is wrong with a path, or None."""
    if not isinstance(value, str):
        return "Write the path as text."
    parts = value.split("/")
    if not value.startswith(f"{folder}/") or len(parts) < 2 or not all(parts):
        return f"Put the file under {folder}/ and write its path from there, with forward slashes."
    if any(part.startswith(".") or part.endswith((" ", ".")) for part in parts):
        return "Leave out . and .. parts, hidden files, and names that end in a dot or a space."
    if not value.isprintable() or _UNSAFE & set(value) or len(value) > 200:
        return 'Use printable characters other than < > : " | ? * and backslash, at most 200.'
    if suffixes and not value.lower().endswith(suffixes):
        return f"Use a file that ends in {', '.join(suffixes)}."
    return None


def path_under(folder: str, example: str, *suffixes: str) -> Any:
    """Return the type of a path that lies under `folder`."""

    def check(value: object) -> str:
        if remedy := _path_fault(value, folder, suffixes):
            refuse([Problem(what(value), f"a path under {folder}/, such as {example}", remedy)])
        return str(value)

    return PlainValidator(check)


LogPath = Annotated[
    str, path_under("raw", "raw/a1-sweep-1.csv"), WithJsonSchema({"type": "string", "pattern": "^raw/"})
]
PhotoPath = Annotated[
    str,
    path_under("photos", "photos/a1-bell.jpg", ".jpg", ".jpeg", ".png"),
    WithJsonSchema({"type": "string", "pattern": "^photos/"}),
]
CalibrationPath = Annotated[
    str,
    path_under("calibration", "calibration/thrust-2026-02.csv"),
    WithJsonSchema({"type": "string", "pattern": "^calibration/"}),
]


def required(value: T | None) -> T:
    """Return what every motor campaign has and a comparison has not.

    Raises
    ------
    TypeError
        If it is not there: a comparison was taken for a campaign with tests.
    """
    if value is None:
        message = "a campaign with tests was expected"
        raise TypeError(message)
    return value


def unknown(word: object, valid: tuple[str, ...], kind: str) -> Problem:
    """Return the problem of a word that is not in a closed list, with the nearest that is."""
    near = nearest(word, valid) if isinstance(word, str) else None
    expected = f"one of {', '.join(valid)}" if valid else f"{a(kind)}; none is declared"
    remedy = f"Write {near}." if near else f"Use {a(kind)} that exists, or declare it."
    return Problem(what(word), expected, remedy)
