"""Formulas of a notebook as MathML, which browsers set without a script."""

from __future__ import annotations

from functools import lru_cache
from typing import Final
from xml.etree import ElementTree as ET

_NAMESPACE: Final = "{http://www.w3.org/1998/Math/MathML}"
_ELEMENTS: Final = frozenset(
    {"math", "mrow", "mi", "mo", "mn", "mtext", "ms", "mspace", "mfrac", "msqrt", "mroot", "msub", "msup", "msubsup"}
    | {"munder", "mover", "munderover", "mtable", "mtr", "mtd", "mpadded", "mphantom", "mstyle"}
)
_ATTRIBUTES: Final = frozenset(
    {"display", "stretchy", "accent", "accentunder", "width", "fence", "form", "mathvariant", "separator", "lspace"}
    | {"rspace", "linethickness", "columnalign", "minsize", "maxsize", "symmetric", "displaystyle", "movablelimits"}
    | {"scriptlevel", "columnspacing", "rowspacing", "columnlines", "rowlines"}
)


@lru_cache(maxsize=1024)
def mathml(latex: str, *, block: bool) -> str:
    """Return a formula as MathML; empty where it cannot be set.

    Parameters
    ----------
    latex : str
        The formula between its dollar signs.
    block : bool
        Whether it stands on a line of its own.

    Examples
    --------
    >>> mathml("x^2", block=False)
    '<math display="inline"><mrow><msup><mi>x</mi><mn>2</mn></msup></mrow></math>'
    """
    from latex2mathml.converter import convert

    try:
        tree = ET.fromstring(convert(latex, display="block" if block else "inline"))  # noqa: S314 - no entities in it
    except Exception:  # noqa: BLE001 - whatever a formula does to the converter, its source can still be shown
        return ""
    for element in tree.iter():
        element.tag = element.tag.removeprefix(_NAMESPACE)
        if element.tag not in _ELEMENTS or set(element.attrib) - _ATTRIBUTES:
            return ""
    return ET.tostring(tree, encoding="unicode")
