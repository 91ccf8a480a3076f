"""Writing a report's folder and the site's list: the only place of the room that touches the disk."""

from __future__ import annotations

import hashlib
import json
import shutil
from typing import TYPE_CHECKING, Any, Final

from benchproof.errors import Fault, InputError
from benchproof.report.collect import CollectedComparison, collect
from benchproof.report.comparison import comparison_context
from benchproof.report.framing import Files
from benchproof.report.history import Past
from benchproof.report.page import index_context, report_context
from benchproof.report.photos import published_photo
from benchproof.report.render import render_comparison, render_index, render_report, templates_folder
from benchproof.report.views import Download, DownloadGroup
from benchproof.report.words import href, size_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from benchproof.campaign.models.lab import Lab
    from benchproof.report.collect import Collected
    from benchproof.report.prose import Compare
    from benchproof.report.records import Chart, Series
    from benchproof.report.views import IndexRow

SUMS: Final = "SHA256SUMS"
RECORD: Final = "record.jsonl"
_BLOCK: Final = 1 << 20
_GROUPS: Final = (
    ("The campaign", ("campaign.yaml", "results.json", RECORD)),
    ("Notebook", (".ipynb",)),
    ("Raw logs, as recorded", ("raw/",)),
    ("Curves", ("curves/",)),
    ("Stills of the charts", ("charts/",)),
    ("Photos, without their metadata", ("photos/",)),
)


def assemble_report(
    folder: Path,
    notebook: Mapping[str, Any],
    campaign_folder: Path,
    declared: Sequence[str],
    *,
    preview: bool,
    claims: Sequence[Mapping[str, Any]] = (),
    compare: Compare | None = None,
    past: Callable[[Collected | CollectedComparison], Past] = lambda _: Past(),
) -> Collected | CollectedComparison:
    """Write one report into an empty folder.

    Parameters
    ----------
    folder : Path
        Where to; made.
    notebook : Mapping
        The executed notebook.
    campaign_folder : Path
        Holds ``campaign.yaml``, ``raw/`` and ``photos/``.
    declared : sequence of str
        Files the campaign declares, relative to its folder.
    preview : bool
        Whether it is a preview.
    claims : sequence of Mapping
        ``claims`` of results.json, from the second pass.
    compare : callable, optional
        Answers the text's comparing quotes, from the second pass.
    past : callable, optional
        Takes what the report shows and says what was published of it; its record is put beside a published report.

    Returns
    -------
    Collected or CollectedComparison
        What the notebook shows, for the list of reports.

    Raises
    ------
    InputError
        If the notebook's outputs, a photo or a quote cannot be used.
    """
    collected = collect(notebook, claims)
    folder.mkdir(parents=True)
    _write(folder / "results.json", _json(collected.results_data))
    _write(folder / f"{collected.page.campaign}.ipynb", json.dumps(notebook, indent=1, ensure_ascii=False) + "\n")
    before = past(collected)
    if before.record:
        (folder / RECORD).write_bytes(before.record)
    photos = _copy_inputs(folder, campaign_folder, declared)
    for section in (*collected.sections, *collected.unsorted):
        for chart in section.charts:
            _write(folder / "charts" / f"{chart.record.name}.svg", chart.svg)
            for series in chart.record.series:
                if series.file:
                    _write(folder / series.file, curve_csv(chart.record, series))
    sums = _checksums(folder)
    files = _files(folder, sums, photos)
    if isinstance(collected, CollectedComparison):
        page = render_comparison(comparison_context(collected, files, before, preview=preview))
    else:
        page = render_report(report_context(collected, files, before, preview=preview, compare=compare))
    _write(folder / "index.html", page)
    sums["index.html"] = _digest(folder / "index.html")
    _write(folder / SUMS, "".join(sum_line(name, sums[name]) for name in sorted(sums)))
    return collected


def read_report(folder: Path) -> Collected | CollectedComparison:
    """Return what a report written earlier shows, from its own notebook.

    Raises
    ------
    InputError
        If it is no report.
    """
    path = folder / f"{folder.name}.ipynb"
    try:
        results = json.loads((folder / "results.json").read_text(encoding="utf-8"))
        return collect(json.loads(path.read_text(encoding="utf-8")), results.get("claims", ()))
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        remedy = "Build the campaign again."
        raise InputError(Fault(path.name, "", "no executed notebook", "the report's notebook", remedy)) from None


def assemble_index(root: Path, lab: Lab, rows: Sequence[IndexRow], *, preview: bool) -> None:
    """Write the list of reports and the assets all pages share."""
    _write(root / "index.html", render_index(index_context(rows, lab.lab, preview=preview)))
    shutil.copytree(templates_folder() / "assets", root / "assets", copy_function=shutil.copyfile)


def curve_csv(chart: Chart, series: Series) -> str:
    """Return a curve file: one row a grid point, in the results' units, shortest digits that read back the same."""
    heads = [f"{chart.x.name} [{chart.x.unit}]", f"{chart.y.name} [{chart.y.unit}]"]
    columns = [series.x, series.y]
    if series.low is not None and series.high is not None:
        heads += [f"{chart.y.name}_low [{chart.y.unit}]", f"{chart.y.name}_high [{chart.y.unit}]"]
        columns += [series.low, series.high]
    rows = [",".join("" if value is None else repr(value) for value in row) for row in zip(*columns, strict=True)]
    return "\n".join([",".join(heads), *rows]) + "\n"


def sum_line(name: str, digest: str) -> str:
    """Return a line of SHA256SUMS as coreutils write it: with a backslash in front where the name needs escapes."""
    escaped = name.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
    return f"{'' if escaped == name else chr(92)}{digest}  {escaped}\n"


def _json(data: Mapping[str, Any]) -> str:
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")


def _copy_inputs(folder: Path, source: Path, declared: Sequence[str]) -> dict[str, tuple[int, int]]:
    """Copy what the campaign declares: logs byte for byte, photos without metadata. Return the photos' sizes."""
    sizes: dict[str, tuple[int, int]] = {}
    for name in declared:
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if name.startswith("photos/"):
            photo = published_photo((source / name).read_bytes(), name=name)
            target.write_bytes(photo.data)
            sizes[name] = (photo.width, photo.height)
        else:
            _place(source / name, target)
    return sizes


def _place(source: Path, target: Path) -> None:
    """Copy a file without reading it into memory."""
    with source.open("rb") as reading, target.open("wb") as writing:
        shutil.copyfileobj(reading, writing, _BLOCK)


def _checksums(folder: Path) -> dict[str, str]:
    """Return the SHA-256 of every file there is so far, sorted by path."""
    names = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    return {name: _digest(folder / name) for name in names}


def _digest(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _files(folder: Path, sums: Mapping[str, str], photos: Mapping[str, tuple[int, int]]) -> Files:
    groups = tuple(_grouped(folder, sums))
    checks = DownloadGroup("Checksums", (Download(SUMS, SUMS, "sha256sum -c SHA256SUMS checks all files", "", ""),))
    return Files((*groups, checks), photos)


def _grouped(folder: Path, sums: Mapping[str, str]) -> Iterator[DownloadGroup]:
    for title, kinds in _GROUPS:
        names = [name for name in sums if any(_is_kind(name, kind) for kind in kinds)]
        if names:
            yield DownloadGroup(title, tuple(_download(folder, name, sums[name]) for name in names))


def _is_kind(name: str, kind: str) -> bool:
    return name.startswith(kind) if kind.endswith("/") else name.endswith(kind) and "/" not in name


def _download(folder: Path, name: str, digest: str) -> Download:
    return Download(name, href(name), "", size_words((folder / name).stat().st_size), digest)
