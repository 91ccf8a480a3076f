"""Executed notebooks kept from earlier builds, each under the key of what it came from."""

from __future__ import annotations

import json
import os
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path


class Kept:
    """A folder of executed notebooks.

    Parameters
    ----------
    folder : Path
        ``build/kept``; made when first written to.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def find(self, campaign: str, key: str) -> dict[str, Any] | None:
        """Return the notebook kept under the key; None where there is none, or it cannot be read."""
        try:
            record = json.loads(self._path(campaign).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        if not isinstance(record, dict) or record.get("key") != key:
            return None
        notebook: dict[str, Any] | None = record.get("notebook")
        return notebook

    def keep(self, campaign: str, key: str, notebook: dict[str, Any]) -> None:
        """Keep a notebook in place of the campaign's earlier one; a killed build leaves the earlier one whole."""
        self.folder.mkdir(parents=True, exist_ok=True)
        path = self._path(campaign)
        beside = path.with_suffix(f".{os.getpid()}.new")
        beside.write_text(json.dumps({"key": key, "notebook": notebook}), encoding="utf-8")
        beside.replace(path)

    def _path(self, campaign: str) -> Path:
        return self.folder / f"{campaign}.json"
