"""Where the installed notebooks lie."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Final

NOTEBOOKS: Final = ("motor", "comparison")
"""Kinds of campaign that have a notebook."""


def notebook_path(kind: str) -> Path:
    """Return where the installed notebook of a kind lies.

    Raises
    ------
    KeyError
        If no notebook of that kind is installed.
    """
    if kind not in NOTEBOOKS:
        raise KeyError(kind)
    return Path(str(files("benchproof"))) / "notebooks" / f"{kind}.ipynb"
