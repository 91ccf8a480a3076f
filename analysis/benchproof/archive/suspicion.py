"""What a bundle says of itself, held against itself: a change that comes with new checksums shows here.

Nothing of the bundle is run. Its wheel is opened as the zip file it is, and two of its entries are read.
"""

from __future__ import annotations

import ast
import io
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from zipfile import ZipFile

from benchproof.archive.notebook_files import notebook_path
from benchproof.errors import BenchproofError
from benchproof.findings.scatter import POOLED
from benchproof.report.collect import results_of
from benchproof.report.records import Results
from benchproof.report.tabular import FIGURES, figures_csv
from benchproof.report.wheel import PACKAGE, own_wheel
from benchproof.report.words import visible

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from benchproof.report.records import Figure

_MOST: Final = 16 << 20
_INJECTED: Final = "injected-parameters"


@dataclass(frozen=True, slots=True)
class Packed:
    """What a bundle brought of the software.

    Parameters
    ----------
    notebook : bytes
        The notebook, not run, as its wheel has it; empty where that cannot be read.
    record : bytes
        The wheel's list of files with their digests; empty where that cannot be read.
    """

    notebook: bytes
    record: bytes


def packed_software(folder: Path, kind: str) -> Packed:
    """Return the notebook and the list of files in a bundle's wheel."""
    wheels = sorted(folder.glob(f"{PACKAGE}-*.whl"))
    if len(wheels) != 1:
        return Packed(b"", b"")
    try:
        with ZipFile(wheels[0]) as zipped:
            record = next((n for n in zipped.namelist() if n.endswith(".dist-info/RECORD")), "")
            return Packed(_read(zipped, f"{PACKAGE}/notebooks/{kind}.ipynb"), _read(zipped, record))
    except Exception:  # noqa: BLE001 - a file from a stranger may be anything; what it is not, is said by the caller
        return Packed(b"", b"")


def is_own(packed: Packed) -> bool:
    """Say whether the bundle's wheel holds the same files as the benchproof that runs."""
    name = f"{PACKAGE}-{own_wheel().name.split('-')[1]}.dist-info/RECORD"
    with ZipFile(io.BytesIO(own_wheel().data)) as zipped:
        return _read(zipped, name) == packed.record


def is_own_notebook(folder: Path, kind: str) -> bool:
    """Say whether the bundle's notebook is the one installed here."""
    path = folder / f"{kind}.ipynb"
    return path.is_file() and path.read_bytes() == notebook_path(kind).read_bytes()


def contradictions(folder: Path, published: Results, packed: Packed, kind: str) -> Iterator[str]:
    """Yield what in a bundle contradicts the rest of it.

    Parameters
    ----------
    folder : Path
        The unpacked bundle.
    published : Results
        Its results.json.
    packed : Packed
        Its software.
    kind : str
        Kind of campaign.
    """
    unrun = folder / f"{kind}.ipynb"
    if not packed.notebook:
        yield f"no wheel of {PACKAGE} with the notebook {kind}.ipynb in the bundle"
    elif not unrun.is_file() or unrun.read_bytes() != packed.notebook:
        yield f"the notebook {kind}.ipynb is not the one in the wheel beside it; it was not run"
    yield from _executed(folder / f"{published.campaign}.ipynb", packed.notebook, published)
    tables = folder / FIGURES
    if not tables.is_file() or tables.read_bytes() != figures_csv(published).encode():
        yield f"{FIGURES} does not say what results.json says"


def input_problems(published: Results, inputs: Mapping[str, str]) -> Iterator[str]:
    """Yield the inputs that are not those results.json was computed from; photos are published copies."""
    for name in sorted({*published.inputs, *inputs}):
        if "/photos/" not in name and published.inputs.get(name) != inputs.get(name):
            yield f"{visible(name)} is not the file that results.json was computed from"


def _executed(path: Path, notebook: bytes, published: Results) -> Iterator[str]:
    """Yield what the executed notebook holds that neither the notebook nor the results have."""
    try:
        executed = json.loads(path.read_bytes())
        known = {_source(cell) for cell in json.loads(notebook)["cells"]} if notebook else None
        strange = [cell for cell in executed["cells"] if known is not None and _is_strange(cell, known)]
        shown = Results.model_validate_json(json.dumps({**results_of(executed), "claims": []}))
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError, BenchproofError):
        yield f"{visible(path.name)} is no executed notebook of this campaign"
        return
    for cell in strange:
        place = f"{visible(path.name)}: the cell {visible(str(cell.get('id')))[:80]!r}"
        yield f"{place} has code that the notebook does not have"
    if shown.quantities != tuple(_as_run(shown, published)):
        yield f"{visible(path.name)} shows other figures than results.json"


def _as_run(shown: Results, published: Results) -> Iterator[Figure]:
    """Yield the published figures; those that rest on the archive's spread as the notebook has them.

    The spread widens an interval and leaves the value. That the interval follows from it shows when it is formed again.
    """
    own = {_place(figure): figure for figure in shown.quantities}
    for figure in published.quantities:
        ran = own.get(_place(figure))
        pooled = figure.campaign is None and figure.sample is None and POOLED in figure.flags
        yield ran if pooled and ran is not None and ran.value == figure.value else figure


def _place(figure: Figure) -> tuple[object, ...]:
    return figure.campaign, figure.name, tuple(figure.at.items()), figure.sample


def _is_strange(cell: Mapping[str, Any], known: set[str]) -> bool:
    if cell["cell_type"] != "code":
        return False
    if _INJECTED in cell.get("metadata", {}).get("tags", ()):
        return not _only_values(_source(cell))
    return _source(cell) not in known


def _only_values(source: str) -> bool:
    """Say whether code gives names plain values and does nothing else, as a cell of parameters does."""
    try:
        tree = ast.parse(source)
        for node in tree.body:
            ast.literal_eval(node.value) if isinstance(node, ast.Assign) else ast.literal_eval("-")
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return False
    return True


def _source(cell: Mapping[str, Any]) -> str:
    source = cell["source"]
    return source if isinstance(source, str) else "".join(source)


def _read(zipped: ZipFile, name: str) -> bytes:
    """Return an entry of a zip, as far as a sane one goes."""
    with zipped.open(name) as stream:
        return stream.read(_MOST)
