"""Bundles for tests: read, changed, packed again with checksums that fit."""

from __future__ import annotations

import hashlib
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

SUMS = "SHA256SUMS"


def contents(bundle: Path) -> dict[str, bytes]:
    """Every file of a bundle."""
    with ZipFile(bundle) as zipped:
        return {name: zipped.read(name) for name in zipped.namelist()}


def write(path: Path, files: dict[str, bytes], *, fitting_sums: bool = False) -> Path:
    """Pack files; with checksums that fit, as somebody with a purpose would."""
    if fitting_sums:
        rest = sorted(set(files) - {SUMS})
        lines = (f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in rest)
        files = {**files, SUMS: "".join(lines).encode()}
    with ZipFile(path, "w", ZIP_DEFLATED) as zipped:
        for name, data in files.items():
            zipped.writestr(name, data)
    return path


def changed(bundle: Path, target: Path, **more: object) -> Path:
    """A copy of a bundle with some files replaced (bytes), edited (a function) or left out (None)."""
    edits: dict = more.pop("edits")
    files = contents(bundle)
    for name, edit in edits.items():
        if edit is None:
            del files[name]
        else:
            files[name] = edit(files[name]) if callable(edit) else edit
    return write(target, files, fitting_sums=bool(more.pop("fitting_sums", False)))
