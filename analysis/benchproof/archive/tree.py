"""Putting a tree of pages in place whole."""

from __future__ import annotations

import os
import shutil
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def exchange(fresh: Path, place: Path) -> None:
    """Put a finished tree in the place of an earlier one.

    Parameters
    ----------
    fresh : Path
        The finished tree, on the same file system.
    place : Path
        Where pages are read from; may not exist yet.
    """
    fresh.chmod(0o755)
    aside = _aside(place)
    if place.exists():
        place.rename(aside)
    fresh.rename(place)
    shutil.rmtree(aside, ignore_errors=True)


def heal(place: Path) -> None:
    """Bring back the earlier tree where an exchange was cut short between its two renames."""
    aside = _aside(place)
    if aside.exists() and not place.exists():
        aside.rename(place)
    shutil.rmtree(aside, ignore_errors=True)


def link_tree(source: Path, target: Path) -> None:
    """Give every file of a tree a second name elsewhere; copy where the file system has no links."""
    shutil.copytree(source, target, copy_function=_link)


def _link(source: str, target: str) -> None:
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)


def _aside(place: Path) -> Path:
    return place.with_name(f".{place.name}-earlier")
