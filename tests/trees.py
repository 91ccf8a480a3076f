"""Trees of pages: their bytes, and what is wrong with them."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from pathlib import Path


def tree_of(folder: Path) -> dict[str, bytes]:
    """Return every file of a tree by its path."""
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def damage(folder: Path) -> list[str]:
    """Return what is wrong with a tree: a page or file cut short, missing, or of another build than its checksums."""
    return list(_damage(folder))


def _damage(folder: Path) -> Iterator[str]:
    index = (folder / "index.html").read_text(encoding="utf-8")
    listed = set(re.findall(r'href="reports/([^/"]+)/index.html"', index))
    present = {path.name for path in (folder / "reports").iterdir()}
    if listed != present:
        yield f"listed {sorted(listed)}, present {sorted(present)}"
    for report in sorted((folder / "reports").iterdir()):
        yield from _damage_of(report)


def _damage_of(report: Path) -> Iterator[str]:
    sums = {}
    for line in (report / "SHA256SUMS").read_text(encoding="utf-8").splitlines():
        digest, name = line.split("  ", 1)
        sums[name] = digest
    found = {p.relative_to(report).as_posix() for p in report.rglob("*") if p.is_file()} - {"SHA256SUMS"}
    if found != set(sums):
        yield f"{report.name}: files {sorted(found ^ set(sums))} do not stand in both folder and checksums"
    for name in sorted(found & set(sums)):
        if hashlib.sha256((report / name).read_bytes()).hexdigest() != sums[name]:
            yield f"{report.name}: {name} is not what its checksum says"
    for name in sorted(name for name in found if name.endswith("index.html")):
        if not (report / name).read_text(encoding="utf-8").rstrip().endswith("</html>"):
            yield f"{report.name}: {name} is cut short"
    json.loads((report / "results.json").read_text(encoding="utf-8"))
