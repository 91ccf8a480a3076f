"""bundle.zip: a report's inputs, analysis and results in one file, from which a stranger computes the figures again.

It is a workspace of its own, without a folder on top. Photos are the published copies, without what a camera writes
into them: their checksums are in SHA256SUMS, not those that results.json states for the originals.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from benchproof.report.bundle_readme import readme
from benchproof.report.citing import CITATION, CRATE, citation, crate
from benchproof.report.indented import indented
from benchproof.report.packing import SUMS, packing, sum_lines
from benchproof.report.photos import published_photo
from benchproof.report.tabular import DESCRIPTION, FIGURES
from benchproof.report.wheel import LOCK, PACKAGE, lock_file, own_wheel

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from benchproof.report.collect import Collected, CollectedComparison

BUNDLE: Final = "bundle.zip"
README: Final = "README.md"
RESULTS: Final = "results.json"


@dataclass(frozen=True, slots=True)
class Sources:
    """What a campaign's bundle is made from.

    Parameters
    ----------
    files : Mapping of str to Path
        Every file the campaign needs, and those it is compared with, by its path in a workspace.
    kind : str
        Kind of campaign: its notebook's name.
    """

    files: Mapping[str, Path]
    kind: str


def write_bundle(report: Path, collected: Collected | CollectedComparison, sources: Sources) -> None:
    """Write a report's bundle into its folder.

    Parameters
    ----------
    report : Path
        The report's folder, with results, executed notebook, curves and photos in it.
    collected : Collected or CollectedComparison
        What the notebook shows.
    sources : Sources
        The campaign's inputs.

    Raises
    ------
    InputError
        If a photo of a campaign it is compared with cannot be published.
    """
    page, wheel, notebook = collected.page, own_wheel(), f"{sources.kind}.ipynb"
    made = [RESULTS, FIGURES, DESCRIPTION, f"{page.campaign}.ipynb", *_curves(report)]
    names = sorted({*sources.files, *made, notebook, wheel.name, LOCK, README, CITATION})
    own = f"runs/{page.campaign}/"
    texts: dict[str, str | bytes] = {
        notebook: (files(PACKAGE) / "notebooks" / notebook).read_bytes(),
        wheel.name: wheel.data,
        LOCK: lock_file(),
        README: readme(page, notebook=notebook, wheel=wheel.name),
        CITATION: citation(page),
    }
    described = crate(page, names, notebook=notebook, inputs=sorted(sources.files), made=made, wheel=wheel.name)
    with packing(report / BUNDLE) as zipped:
        zipped.add(CRATE, indented(described, by=1) + "\n")
        for name in names:
            if name in texts:
                zipped.add(name, texts[name])
            elif name in made:
                zipped.add_file(name, report / name)
            elif "/photos/" in name and name.startswith(own):
                zipped.add_file(name, report / name.removeprefix(own))
            elif "/photos/" in name:
                zipped.add(name, published_photo(sources.files[name].read_bytes(), name=name).data)
            else:
                zipped.add_file(name, sources.files[name])
        zipped.add(SUMS, sum_lines(zipped.sums))


def _curves(report: Path) -> Sequence[str]:
    return sorted(path.relative_to(report).as_posix() for path in report.glob("curves/*.csv"))
