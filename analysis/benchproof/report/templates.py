"""Where the templates lie."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path


def templates_folder() -> Path:
    """Return where the templates lie: packed into the wheel, or beside the package in a checkout."""
    packed = Path(str(files("benchproof"))) / "templates"
    return packed if packed.is_dir() else packed.parents[2] / "templates"
