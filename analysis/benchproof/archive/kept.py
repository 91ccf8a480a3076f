"""Executed notebooks and their figures' trials kept from earlier builds, each under the key of what it came from."""

from __future__ import annotations

import hashlib
import json
import secrets
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from benchproof.errors import Fault, InputError
from benchproof.report.indented import indented

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

    @property
    def manifest(self) -> Path:
        """Where builds write down what they saw."""
        return self.folder / "manifest.json"

    def has(self, campaign: str) -> bool:
        """Say whether any run of a campaign is kept."""
        return all(self._path(campaign, what).is_file() for what in _KEPT)

    def holds(self, campaign: str, key: str) -> bool:
        """Say whether a notebook and its trials are kept under the key, by the heads of their files."""
        return all(self._begins(campaign, what).startswith(_key(key)) for what in _KEPT)

    def whole(self, campaign: str, key: str) -> bool:
        """Say whether they are, and are as they were written: no disk cut them short."""
        return self.holds(campaign, key) and all(self._content(campaign, what) is not None for what in _KEPT)

    def notebook(self, campaign: str) -> dict[str, Any]:
        """Return a campaign's executed notebook.

        Raises
        ------
        InputError
            If none is kept.
        """
        record: dict[str, Any] = json.loads(self.notebook_text(campaign))
        return record

    def notebook_text(self, campaign: str) -> str:
        """Return a campaign's executed notebook as the file that a report publishes.

        Raises
        ------
        InputError
            If none is kept.
        """
        return f"{self._whole(campaign, 'notebook').decode()}\n"

    def figures(self, campaign: str) -> tuple[Figure, ...]:
        """Return a campaign's figures with their trials.

        Raises
        ------
        InputError
            If none are kept.
        """
        # They bring what an unchanged build has no use for.
        from benchproof.findings.stored import unpacked
        from benchproof.report.collect import results_of

        results = results_of(self.notebook(campaign))
        return unpacked(results["quantities"], self._whole(campaign, "trials"))

    def values(self, campaign: str) -> tuple[Figure, ...]:
        """Return a campaign's figures with their values alone; read once a process.

        Raises
        ------
        InputError
            If none are kept.
        """
        try:
            stamp = self._path(campaign, "notebook").stat().st_mtime_ns
        except OSError:
            stamp = 0
        return _values(self, campaign, stamp)

    def keep(self, campaign: str, key: str, notebook: dict[str, Any], trials: bytes) -> None:
        """Keep a run in place of the campaign's earlier one; a killed build leaves the earlier one whole, or none."""
        self.folder.mkdir(parents=True, exist_ok=True)
        for what, content in (("trials", trials), ("notebook", indented(notebook, by=1).encode())):
            path = self._path(campaign, what)
            beside = path.with_suffix(f".{secrets.token_hex(8)}.new")
            try:
                beside.write_bytes(_head(key, content) + content + b"}")
                beside.replace(path)
            except OSError:
                beside.unlink(missing_ok=True)  # a full disk needs the room
                raise

    def _begins(self, campaign: str, what: str) -> bytes:
        """Return the head of a kept file, without reading megabytes of trials."""
        try:
            with self._path(campaign, what).open("rb") as stream:
                return stream.read(len(_head("0" * 64, b"")))
        except OSError:
            return b""

    def _content(self, campaign: str, what: str) -> bytes | None:
        """Return what was kept; None where it is not there, or not as it was written."""
        try:
            data = self._path(campaign, what).read_bytes()
        except OSError:
            return None
        length = len(_head("0" * 64, b""))
        head, content = data[:length], data[length:-1]
        return content if head.endswith(_digest(content)) else None

    def _whole(self, campaign: str, what: str) -> bytes:
        content = self._content(campaign, what)
        if content is None:
            remedy = "Build the campaign again."
            raise InputError(Fault(f"build/kept/{campaign}", "", f"no {what}", "what an earlier build kept", remedy))
        return content

    def _path(self, campaign: str, what: str) -> Path:
        return self.folder / f"{campaign}.{_KEPT[what]}"


@lru_cache(maxsize=1024)
def _values(kept: Kept, campaign: str, stamp: int) -> tuple[Figure, ...]:
    from benchproof.findings.stored import without_trials
    from benchproof.report.collect import results_of

    return without_trials(results_of(kept.notebook(campaign))["quantities"])


_KEPT: Final = {"notebook": "notebook.json", "trials": "trials"}


def _head(key: str, content: bytes) -> bytes:
    return _key(key) + _digest(content)


def _key(key: str) -> bytes:
    return f'{{"key": "{key}", '.encode()


def _digest(content: bytes) -> bytes:
    return f'"sha256": "{hashlib.sha256(content).hexdigest()}", "content": '.encode()
