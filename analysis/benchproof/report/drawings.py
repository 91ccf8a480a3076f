"""Stills of charts: let shapes through, nothing else.

A still is shown by ``<img>``, where nothing in it can run; but it is also a file that a reader may open on its own, so
anything but plain shapes is refused.
"""

from __future__ import annotations

import re
from typing import Final
from xml.etree import ElementTree as ET

from benchproof.errors import Fault, InputError

_ELEMENTS: Final = frozenset(
    {
        "svg",
        "g",
        "defs",
        "use",
        "path",
        "rect",
        "circle",
        "line",
        "polyline",
        "polygon",
        "clipPath",
        "style",
        "text",
    }
    | {"tspan", "title", "desc", "marker"}
)
_LIMIT: Final = 8_000_000
"""Longest still, in characters."""


def inert_drawing(svg: str, *, place: str) -> str:
    """Return the drawing unchanged if it holds plain shapes only.

    Parameters
    ----------
    svg : str
        The text of an SVG file.
    place : str
        Where it was found, for the message.

    Raises
    ------
    InputError
        If it is missing, is not SVG, or holds a script, an event handler, a link out or an entity.
    """
    trouble = _trouble(svg)
    if trouble:
        raise InputError(
            Fault(
                file="executed notebook",
                place=f"{place}: image/svg+xml",
                found=trouble,
                expected="a drawing of plain shapes",
                remedy="Draw it with benchproof.notebooks.drawing.svg.",
            )
        )
    return svg


def _trouble(svg: str) -> str:
    """Say what is wrong with a drawing; empty if nothing is."""
    if not svg.strip():
        return "no drawing"
    if len(svg) > _LIMIT:
        return f"{len(svg)} characters"
    # Entities are refused before any parser sees them: they can expand without bound.
    if "<!ENTITY" in svg.upper():
        return "an entity declaration"
    try:
        root = ET.fromstring(svg)  # noqa: S314 - entity declarations were refused above
    except ET.ParseError as error:
        return f"text that is not SVG ({error})"
    return next((fault for element in root.iter() if (fault := _element_trouble(element))), "")


def _element_trouble(element: ET.Element) -> str:
    name = str(element.tag).rpartition("}")[2]
    if name not in _ELEMENTS:
        return f"the element {name!r:.40}"
    if name == "style" and re.search(r"@import|url\s*\((?!\s*#)", element.text or "", re.IGNORECASE):
        return "a style that loads something"
    for key, value in element.attrib.items():
        attribute = key.rpartition("}")[2].lower()
        if attribute.startswith("on") or (attribute == "href" and not value.startswith("#")):
            return f"the attribute {attribute!r:.40}"
    return ""
