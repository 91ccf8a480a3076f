"""Executed notebooks and their figures' trials kept from earlier builds, each under the key of what it came from."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchproof.errors import Fault, InputError
from benchproof.findings.stored import unpacked
from benchproof.report.collect import results_of

if TYPE_CHECKING:
    from pathlib import Path

    from benchproof.methods.records import Figure


@dataclass(frozen=True, slots=True)
class Kept:
    """A folder of executed notebooks.

    Parameters
    ----------
    folder : Path
        ``build/kept``; made when first written to.
    """

    folder: Path

    def holds(self, campaign: str, key: str) -> bool:
        """Say whether a notebook and its trials are kept under the key."""
        return all(self._begins(campaign, what) == _head(key) for what in ("notebook", "trials"))

    def notebook(self, campaign: str) -> dict[str, Any]:
        """Return a campaign's executed notebook.

        Raises
        ------
        InputError
            If none is kept.
        """
        return self._content(campaign, "notebook")

    def figures(self, campaign: str) -> tuple[Figure, ...]:
        """Return a campaign's figures with their trials.

        Raises
        ------
        InputError
            If none are kept.
        """
        results = results_of(self.notebook(campaign))
        return unpacked(results["quantities"], self._content(campaign, "trials"))

    def keep(self, campaign: str, key: str, notebook: dict[str, Any], trials: str) -> None:
        """Keep a run in place of the campaign's earlier one; a killed build leaves the earlier one whole, or none."""
        self.folder.mkdir(parents=True, exist_ok=True)
        for what, content in (("trials", trials), ("notebook", json.dumps(notebook))):
            path = self._path(campaign, what)
            beside = path.with_suffix(f".{os.getpid()}.new")
            beside.write_text(_head(key) + content + "}", encoding="utf-8")
            beside.replace(path)

    def _begins(self, campaign: str, what: str) -> str:
        """Return the head of a kept file, without reading megabytes of trials."""
        try:
            with self._path(campaign, what).open(encoding="utf-8") as stream:
                return stream.read(len(_head("0" * 64)))
        except (OSError, ValueError):
            return ""

    def _content(self, campaign: str, what: str) -> dict[str, Any]:
        content: dict[str, Any] | None = self._read(campaign, what).get("content")
        if content is None:
            remedy = "Build the campaign again."
            raise InputError(Fault(f"build/kept/{campaign}", "", f"no {what}", "what an earlier build kept", remedy))
        return content

    def _read(self, campaign: str, what: str) -> dict[str, Any]:
        try:
            record = json.loads(self._path(campaign, what).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return record if isinstance(record, dict) else {}

    def _path(self, campaign: str, what: str) -> Path:
        return self.folder / f"{campaign}.{what}.json"


def _head(key: str) -> str:
    return f'{{"key": "{key}", "content": '
