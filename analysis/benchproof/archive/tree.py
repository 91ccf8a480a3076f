"""Putting a tree of pages in place whole, and knowing what is in it."""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import threading
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Final

from benchproof.report.printing import Printed
from benchproof.report.views import Headline, IndexRow

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

CONTENTS: Final = ".reports.json"
"""Beside the pages, so that it is exchanged together with them."""

_AT_FDCWD: Final = -100
_RENAME_EXCHANGE: Final = 2


@dataclass(frozen=True, slots=True)
class Placed:
    """One report of a tree.

    Parameters
    ----------
    key : str
        Digest of all its page depends on.
    warnings : int
        Warnings it carries.
    row : IndexRow
        Its row in the list of reports.
    """

    key: str
    warnings: int
    row: IndexRow


@dataclass(frozen=True, slots=True)
class Contents:
    """What is in a tree of pages.

    Parameters
    ----------
    index : str
        Digest of all the list of reports depends on beside its rows.
    reports : Mapping of str to Placed
        Its reports by campaign.
    """

    index: str = ""
    reports: Mapping[str, Placed] = field(default_factory=dict)


def contents_of(tree: Path) -> Contents:
    """Return what is in a tree; nothing where it does not say so, or its folders are not there."""
    try:
        found = json.loads((tree / CONTENTS).read_bytes())
        present = {entry.name for entry in os.scandir(tree / "reports")}
        reports = {name: _placed(**each) for name, each in found["reports"].items() if name in present}
    except (OSError, ValueError, KeyError, TypeError):
        return Contents()
    return Contents(found["index"], reports)


def _placed(key: str, warnings: int, row: dict[str, Any]) -> Placed:
    heads = [_headline(head) for head in row.pop("headlines")]
    return Placed(key, warnings, IndexRow(**row, headlines=tuple(heads)))


def _headline(head: dict[str, Any]) -> Headline:
    printed = head.pop("printed")
    return Headline(**head, printed=Printed(**{**printed, "also": tuple(printed["also"])}))


def write_contents(tree: Path, contents: Contents) -> None:
    """Write down what is in a tree."""
    (tree / CONTENTS).write_text(json.dumps(asdict(contents), ensure_ascii=False, sort_keys=True), encoding="utf-8")


def exchange(fresh: Path, place: Path) -> None:
    """Put a finished tree in the place of an earlier one, in one step where the system has one.

    Parameters
    ----------
    fresh : Path
        The finished tree, on the same file system.
    place : Path
        Where pages are read from; may not exist yet.
    """
    fresh.chmod(0o755)
    if not place.exists():
        fresh.rename(place)
    elif _exchanged(fresh, place):
        shutil.rmtree(fresh, ignore_errors=True)
    else:
        aside = _aside(place)
        place.rename(aside)
        fresh.rename(place)
        shutil.rmtree(aside, ignore_errors=True)


def _exchanged(one: Path, other: Path) -> bool:
    """Give each of two folders the other's name in one step; say whether the system could."""
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    return bool(rename(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _RENAME_EXCHANGE) == 0)


def heal(place: Path) -> None:
    """Bring back the earlier tree where an exchange was cut short, and remove trees that were never finished."""
    aside = _aside(place)
    if aside.exists() and not place.exists():
        aside.rename(place)
    shutil.rmtree(aside, ignore_errors=True)
    for unfinished in place.parent.glob(f".{place.name}-*"):
        shutil.rmtree(unfinished, ignore_errors=True)


def link_tree(source: Path, target: Path) -> None:
    """Give every file of a tree a second name elsewhere; copy where the file system has no links."""
    _link_folder(os.fspath(source), os.fspath(target))


class Linking:
    """Gives folders of an earlier tree their second names in a new one, in a thread of its own while others work.

    Parameters
    ----------
    source, target : Path
        Where they lie, and where they go; both hold one folder a report.
    """

    def __init__(self, source: Path, target: Path) -> None:
        self._source, self._target = source, target
        self._stopped = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, names: Iterable[str]) -> None:
        """Begin with some folders that are there."""
        self._thread = threading.Thread(target=self._run, args=(tuple(names),), daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Finish the folder that is being linked, and begin no other."""
        self._stopped.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self, names: Iterable[str]) -> None:
        for name in names:
            if self._stopped.is_set():
                return
            try:
                link_tree(self._source / name, self._target / name)
            except OSError:  # whoever needs the folder makes it, and says what is wrong
                shutil.rmtree(self._target / name, ignore_errors=True)
                return


def _link_folder(source: str, target: str) -> None:
    """Do it for one folder: an archive has ten thousands of files, and the library's way looks at each three times."""
    os.mkdir(target)  # noqa: PTH102 - as above
    with os.scandir(source) as entries:
        for entry in entries:
            place = _link_folder if entry.is_dir(follow_symlinks=False) else _link
            place(entry.path, f"{target}/{entry.name}")


def _link(source: str, target: str) -> None:
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)


def _aside(place: Path) -> Path:
    return place.with_name(f".{place.name}-earlier")
