"""Figures quoted in the reviewer's text: ``{{ quote("mass", sample="A1") }}``.

A closed form of its own, matched literally and never given to a template engine.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from benchproof.campaign.units import nearest, shortened
from benchproof.errors import Fault, InputError
from benchproof.nomenclature import OPERATING_POINTS, QUANTITIES

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

KEYS: Final = (
    "sample",
    "part",
    "than",
    "of",
    *OPERATING_POINTS,
    "step",
    "rate",
    "pulse",
    "state_of_charge",
    "propeller",
    "flywheel",
    "airflow",
)
"""What may stand in a quote after the name of the figure."""

FORM: Final = '{{ quote("thrust", electrical_power="200 W") }}'
"""A quote, rightly written."""

_BRACES: Final = re.compile(r"\{\{(.*?)\}\}", re.DOTALL)
_STRAY: Final = re.compile(r"\{\{|\}\}|\{%|%\}")
_STRING: Final = r'"([^"\\\n]*)"'
_CALL: Final = re.compile(rf"\s*quote\(\s*{_STRING}\s*((?:,\s*[a-z_]+\s*=\s*{_STRING}\s*)*),?\s*\)\s*")
_PAIR: Final = re.compile(rf"([a-z_]+)\s*=\s*{_STRING}")


@dataclass(frozen=True, slots=True)
class Quote:
    """A figure to be put in place of the quote.

    Parameters
    ----------
    name : str
        A quantity of the nomenclature.
    sample : str or None
        One sample; None for the model.
    part : str or None
        Part, for a mass.
    than : str or None
        Another campaign to compare with.
    of : str or None
        The campaign it is a figure of, in a comparison.
    at : Mapping of str to str
        Operating point as written.
    """

    name: str
    sample: str | None = None
    part: str | None = None
    than: str | None = None
    of: str | None = None
    at: Mapping[str, str] = field(default_factory=dict)


def parse(text: str, *, file: str = "campaign.yaml", line: int | None = None) -> tuple[str | Quote, ...]:
    """Return a text as literal pieces and quotes, in order.

    Parameters
    ----------
    text : str
        The reviewer's text.
    file : str
        How faults name its file.
    line : int or None
        Line of the file where the text begins.

    Raises
    ------
    InputError
        For anything else between double braces, an unknown figure or an unknown key.
    """
    pieces: list[str | Quote] = []
    faults: list[Fault] = []
    end = 0
    for match in _BRACES.finditer(text):
        pieces.append(text[end : match.start()])
        end = match.end()
        found = _quote(match.group(1))
        if isinstance(found, Quote):
            pieces.append(found)
        else:
            faults.append(_fault(match.group(), found, file, line, text[: match.start()]))
    pieces.append(text[end:])
    faults += [
        _fault(stray.group(), ("a quote", f"Write {FORM}, or leave the double braces out."), file, line, piece)
        for piece in pieces
        if isinstance(piece, str)
        for stray in _STRAY.finditer(piece)
    ]
    if faults:
        raise InputError(*faults)
    return tuple(piece for piece in pieces if piece != "")


def quotes(text: str, **place: str | int | None) -> Iterator[Quote]:
    """Yield the quotes of a text; faults as `parse`."""
    return (piece for piece in parse(text, **place) if isinstance(piece, Quote))  # type: ignore[arg-type]


def _quote(inside: str) -> Quote | tuple[str, str]:
    """Return the quote, or what was expected and what to do."""
    call = _CALL.fullmatch(inside)
    if call is None:
        return (
            f"a quote, such as {FORM}",
            "Only quote(…) with texts in double quotes may stand in double braces.",
        )
    name, pairs = call.group(1), _PAIR.findall(call.group(2))
    if name not in QUANTITIES:
        return _unlisted(name, tuple(QUANTITIES), "a figure of the nomenclature")
    given: dict[str, str] = {}
    for key, value in pairs:
        if key not in KEYS:
            return _unlisted(key, KEYS, "a key of a quote")
        if key in given:
            return "each key once", f"Delete one {key}=."
        given[key] = value
    own = {key: given.pop(key, None) for key in ("sample", "part", "than", "of")}
    return Quote(name, **own, at=MappingProxyType(given))


def _unlisted(word: str, valid: tuple[str, ...], what: str) -> tuple[str, str]:
    near = nearest(word, valid)
    remedy = f"Write {near}." if near else f"Use one of {', '.join(valid)}."
    return f"{what}, not {shortened(word)}", remedy


def _fault(found: str, said: tuple[str, str], file: str, line: int | None, before: str) -> Fault:
    where = None if line is None else line + before.count("\n")
    return Fault(file, "text", shortened(found), said[0], said[1], where)
