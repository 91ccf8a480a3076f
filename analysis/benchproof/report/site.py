"""Writing a report's folder and the site's list: here, in `bundle` and in `writing` the room touches the disk."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING, Any, Final

from benchproof.errors import Fault, InputError
from benchproof.findings.archive_results import FromArchive
from benchproof.report.bundle import BUNDLE, write_bundle
from benchproof.report.collect import CollectedComparison, collect
from benchproof.report.comparison import comparison_context
from benchproof.report.framing import Files
from benchproof.report.history import Past
from benchproof.report.indented import indented
from benchproof.report.notebook_page import PAGE as NOTEBOOK_PAGE
from benchproof.report.packing import SUMS, sum_lines
from benchproof.report.page import index_context, notebook_context, report_context, sceptics_context
from benchproof.report.photos import published_photo
from benchproof.report.render import render, render_comparison, render_index, render_report
from benchproof.report.tabular import (
    DESCRIPTION,
    FIGURES,
    curve_csv,
    curve_files,
    curve_parquet,
    figures_csv,
    figures_parquet,
    table_description,
)
from benchproof.report.templates import templates_folder
from benchproof.report.views import Download, DownloadGroup
from benchproof.report.words import href, size_words
from benchproof.report.writing import Writing, digest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from benchproof.campaign.models.lab import Lab
    from benchproof.report.bundle import Sources
    from benchproof.report.collect import Collected
    from benchproof.report.prose import Compare
    from benchproof.report.views import IndexRow

RECORD: Final = "record.jsonl"
_PARQUET: Final = "figures.parquet"
_GROUPS: Final = (
    ("Everything in one file", (BUNDLE,)),
    ("The campaign", ("campaign.yaml", "results.json", RECORD)),
    ("Notebook", (".ipynb",)),
    ("Raw logs, as recorded", ("raw/",)),
    ("All figures as tables", (FIGURES, _PARQUET, DESCRIPTION)),
    ("Curves", ("curves/",)),
    ("Stills of the charts", ("charts/",)),
    ("Photos, without their metadata", ("photos/",)),
)


def assemble_report(
    folder: Path,
    notebook_text: str,
    campaign_folder: Path,
    declared: Sequence[str],
    *,
    preview: bool,
    claims: Sequence[Mapping[str, Any]] = (),
    archive: FromArchive = FromArchive(),  # noqa: B008 - frozen
    compare: Compare | None = None,
    past: Callable[[Collected | CollectedComparison], Past] = lambda _: Past(),
    sources: Sources | None = None,
) -> Collected | CollectedComparison:
    """Write one report into an empty folder.

    Parameters
    ----------
    folder : Path
        Where to; made.
    notebook_text : str
        The executed notebook, as it is put beside the page.
    campaign_folder : Path
        Holds ``campaign.yaml``, ``raw/`` and ``photos/``.
    declared : sequence of str
        Files the campaign declares, relative to its folder.
    preview : bool
        Whether it is a preview.
    claims : sequence of Mapping
        ``claims`` of results.json, from the second pass.
    archive : FromArchive
        What the whole archive adds to results.json.
    compare : callable, optional
        Answers the text's comparing quotes, from the second pass.
    past : callable, optional
        Takes what the report shows and says what was published of it; its record is put beside a published report.
    sources : Sources, optional
        What the report's bundle is made from; without it there is none.

    Returns
    -------
    Collected or CollectedComparison
        What the notebook shows, for the list of reports.

    Raises
    ------
    InputError
        If the notebook's outputs, a photo or a quote cannot be used.
    """
    notebook = json.loads(notebook_text)
    collected = collect(notebook, claims, archive)
    report = Writing(folder)
    report.text("results.json", _json(collected.results_data))
    report.text(f"{collected.page.campaign}.ipynb", notebook_text)
    before = past(collected)
    if before.record:
        report.data(RECORD, before.record)
    photos = _copy_inputs(report, campaign_folder, declared)
    _write_tables(report, collected)
    report.text(
        NOTEBOOK_PAGE,
        render("notebook.html.j2", notebook_context(collected.page, notebook, before, preview=preview)),
    )
    if sources is not None:
        write_bundle(folder, collected, sources)
        report.sum_up(BUNDLE)
    files = _files(folder, report.sums, photos)
    if isinstance(collected, CollectedComparison):
        page = render_comparison(comparison_context(collected, files, before, preview=preview))
    else:
        page = render_report(report_context(collected, files, before, preview=preview, compare=compare))
    report.text("index.html", page)
    report.text(SUMS, sum_lines(report.sums))
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
        notebook = json.loads(path.read_text(encoding="utf-8"))
        return collect(notebook, results.get("claims", ()), FromArchive.of(results))
    except (OSError, ValueError, KeyError, TypeError) as error:
        if isinstance(error, InputError):
            raise
        remedy = "Build the campaign again."
        raise InputError(Fault(path.name, "", "no executed notebook", "the report's notebook", remedy)) from None


def assemble_index(root: Path, lab: Lab, rows: Sequence[IndexRow], *, preview: bool) -> None:
    """Write the list of reports and the assets all pages share."""
    context = index_context(rows, lab.lab, preview=preview)
    _write(root / "index.html", render_index(context))
    _write(root / "sceptics.html", render("sceptics.html.j2", sceptics_context(context.frame)))
    shutil.copytree(templates_folder() / "assets", root / "assets", copy_function=shutil.copyfile)


def _write_tables(report: Writing, collected: Collected | CollectedComparison) -> None:
    """Write stills and curves of all charts, and all figures, as files other programs read."""
    drawn = [chart for section in (*collected.sections, *collected.unsorted) for chart in section.charts]
    for each in drawn:
        report.text(f"charts/{each.record.name}.svg", each.svg)
    charts = [each.record for each in drawn]
    for name, (chart, series) in curve_files(charts).items():
        report.text(name, curve_csv(chart, series))
        report.data(f"{name.removesuffix('.csv')}.parquet", curve_parquet(chart, series))
    report.text(FIGURES, figures_csv(collected.results))
    report.data(_PARQUET, figures_parquet(collected.results))
    report.text(DESCRIPTION, _json(table_description(collected.page, collected.results, charts)))


def _json(data: Mapping[str, Any]) -> str:
    return indented(data, by=2, allow_nan=False) + "\n"


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _copy_inputs(report: Writing, source: Path, declared: Sequence[str]) -> dict[str, tuple[int, int]]:
    """Copy what the campaign declares: logs byte for byte, photos without metadata. Return the photos' sizes."""
    sizes: dict[str, tuple[int, int]] = {}
    for name in declared:
        if name.startswith("photos/"):
            photo = published_photo((source / name).read_bytes(), name=name)
            report.data(name, photo.data)
            sizes[name] = (photo.width, photo.height)
        else:
            report.copy(name, source / name)
    return sizes


def sum_up(folder: Path) -> None:
    """Write the checksums of every file of a folder anew."""
    (folder / SUMS).unlink(missing_ok=True)
    names = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()]
    _write(folder / SUMS, sum_lines({name: digest(folder / name) for name in names}))


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
