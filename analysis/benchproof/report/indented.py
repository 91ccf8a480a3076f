"""JSON with line breaks, to the bytes that ``json.dumps`` gives for an indent.

``json.dumps`` leaves its fast encoder as soon as it is asked for an indent. Most of what a report writes are numbers in
long lists, and a list of nothing but numbers and texts can be left to that encoder: its separator holds the line break.
"""

from __future__ import annotations

from functools import cache
from json import JSONEncoder
from types import NoneType
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable

_LEAVES: Final = frozenset({str, float, int, bool, NoneType})


def indented(value: Any, *, by: int, allow_nan: bool = True) -> str:
    """Return data as JSON with every member on a line of its own, letters of any script as they are.

    Parameters
    ----------
    value : Any
        Plain data: dictionaries with texts as keys, lists, tuples, texts, numbers.
    by : int
        Spaces of one step of indentation.
    allow_nan : bool
        Whether numbers that are not finite are written, which JSON does not know.

    Raises
    ------
    ValueError
        If a number is not finite, where that is not allowed.

    Examples
    --------
    >>> print(indented({"x": [1.0, None], "y": []}, by=1))
    {
     "x": [
      1.0,
      null
     ],
     "y": []
    }
    """
    return _text(value, "\n", " " * by, allow_nan)


def _text(value: Any, start: str, step: str, allow_nan: bool) -> str:
    """Return a value whose closing bracket begins a line as ``start``."""
    leaf, inner = _encode(",", allow_nan), start + step
    if not value or not isinstance(value, (dict, list, tuple)):
        return leaf(value)
    if isinstance(value, dict):
        members = [
            f"{leaf(name)}: {leaf(each) if type(each) in _LEAVES else _text(each, inner, step, allow_nan)}"
            for name, each in value.items()
        ]
        return f"{{{inner}{f',{inner}'.join(members)}{start}}}"
    if _LEAVES.issuperset(map(type, value)):
        return f"[{inner}{_encode(f',{inner}', allow_nan)(value)[1:-1]}{start}]"
    return f"[{inner}{f',{inner}'.join([_text(each, inner, step, allow_nan) for each in value])}{start}]"


@cache
def _encode(separator: str, allow_nan: bool) -> Callable[[Any], str]:
    return JSONEncoder(ensure_ascii=False, allow_nan=allow_nan, separators=(separator, ": ")).encode
