"""How a bundle is cited, and what its RO-Crate says of it."""

from __future__ import annotations

from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any, Final

import yaml

from benchproof.report.comparison_records import ComparisonPage
from benchproof.report.words import href

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.report.records import Page

CRATE: Final = "ro-crate-metadata.json"
CITATION: Final = "CITATION.cff"

_SPDX: Final = "https://spdx.org/licenses/"
_RUN_PROFILE: Final = "https://w3id.org/ro/wfrun/process/0.5"
_TYPES: Final = {
    ".csv": "text/csv",
    ".yaml": "application/yaml",
    ".json": "application/json",
    ".ipynb": "application/x-ipynb+json",
    ".md": "text/markdown",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".whl": "application/zip",
}
NO_LICENCE: Final = "The lab states no licence for its data: all rights are reserved."


def spdx(licence: str | None) -> str:
    """Return a licence's address by its SPDX identifier; empty where the lab wrote something else, or nothing."""
    known = licence and licence.isascii() and all(letter.isalnum() or letter in ".-+" for letter in licence)
    return f"{_SPDX}{licence}" if known else ""


def specimen_words(page: Page | ComparisonPage) -> str:
    """Return maker and model; of a comparison, every motor's."""
    compared = page.members if isinstance(page, ComparisonPage) else (page.specimen,)
    return ", ".join(f"{each.maker} {each.model}" for each in compared)


def tested(page: Page | ComparisonPage) -> str:
    """Return the day of the tests; of a comparison, the last one."""
    return max(each.tested for each in page.members) if isinstance(page, ComparisonPage) else page.dates.tested


def description(page: Page | ComparisonPage) -> str:
    """Return what a bundle holds, in two sentences."""
    made_up = " The data are invented; a simulator wrote them." if page.invented else ""
    when = f"tested {tested(page)} by {page.lab.name}"
    return f"Bench test of {specimen_words(page)}, {when}: raw logs, analysis, figures.{made_up}"


def citation(page: Page | ComparisonPage) -> str:
    """Return CITATION.cff (Citation File Format 1.2.0)."""
    record: dict[str, Any] = {
        "cff-version": "1.2.0",
        "message": "If you use these data, please cite the report.",
        "type": "dataset",
        "title": page.title,
        "authors": [{"name": page.lab.name}],
        "abstract": description(page),
        "identifiers": [{"type": "other", "value": page.campaign, "description": "key of the campaign"}],
    }
    if spdx(page.lab.data_license):
        record["license"] = page.lab.data_license
    if (page.lab.url or "").startswith(("https://", "http://")):
        record["url"] = page.lab.url
    return yaml.safe_dump(record, sort_keys=False, allow_unicode=True, width=120)


def crate(
    page: Page | ComparisonPage,
    names: Sequence[str],
    *,
    notebook: str,
    inputs: Sequence[str],
    made: Sequence[str],
    wheel: str,
) -> dict[str, Any]:
    """Return the metadata of a bundle as an RO-Crate 1.1 (Process Run Crate 0.5).

    Parameters
    ----------
    page : Page or ComparisonPage
        What the report is about.
    names : sequence of str
        Every file of the bundle.
    notebook : str
        The notebook that was run: the action's instrument.
    inputs, made : sequence of str
        What went into the run, what came out of it.
    wheel : str
        The software that the notebook calls.

    Notes
    -----
    ``datePublished`` must be there and must not come from a clock: it is the day of the tests. The day of publication
    stands in the lab's record.
    """
    files = [_file(name, notebook, wheel) for name in names]
    licence = _licence(page)
    root = {
        "@id": "./",
        "@type": "Dataset",
        "name": page.title,
        "description": description(page),
        "identifier": page.campaign,
        "datePublished": tested(page),
        "license": {"@id": licence["@id"]},
        "author": {"@id": "#lab"},
        "publisher": {"@id": "#lab"},
        "conformsTo": {"@id": _RUN_PROFILE},
        "hasPart": [{"@id": each["@id"]} for each in files],
        "mentions": [{"@id": "#run"}],
    }
    run = {
        "@id": "#run",
        "@type": "CreateAction",
        "name": f"Analysis of {page.campaign}",
        "description": "The notebook was run on the campaign's inputs with the packed version of benchproof.",
        "agent": {"@id": "#lab"},
        "instrument": {"@id": _id(notebook)},
        "object": [{"@id": _id(name)} for name in inputs],
        "result": [{"@id": _id(name)} for name in made],
    }
    return {
        "@context": "https://w3id.org/ro/crate/1.1/context",
        "@graph": [*_about(), root, licence, _lab(page), *files, run],
    }


def _about() -> list[dict[str, Any]]:
    """Return the entities that say what this file is, and what it keeps to."""
    return [
        {
            "@id": CRATE,
            "@type": "CreativeWork",
            "about": {"@id": "./"},
            "conformsTo": {"@id": "https://w3id.org/ro/crate/1.1"},
        },
        {"@id": _RUN_PROFILE, "@type": "CreativeWork", "name": "Process Run Crate", "version": "0.5"},
    ]


def _licence(page: Page | ComparisonPage) -> dict[str, Any]:
    stated = page.lab.data_license
    known = {"@type": "CreativeWork", "name": stated or "no licence", "description": stated or NO_LICENCE}
    return {"@id": spdx(stated) or "#licence", **known}


def _lab(page: Page | ComparisonPage) -> dict[str, Any]:
    web = page.lab.url if (page.lab.url or "").startswith(("https://", "http://")) else None
    return {"@id": "#lab", "@type": "Organization", "name": page.lab.name, **({"url": web} if web else {})}


def _file(name: str, notebook: str, wheel: str) -> dict[str, Any]:
    kind: str | list[str] = "File"
    more: Mapping[str, Any] = {}
    if name == notebook:
        kind, more = ["File", "SoftwareSourceCode"], {"softwareRequirements": {"@id": _id(wheel)}}
    if name == wheel:
        kind = ["File", "SoftwareApplication"]
        more = {"softwareVersion": wheel.split("-")[1], "license": {"@id": f"{_SPDX}MIT"}}
    known = _TYPES.get(PurePosixPath(name).suffix.lower(), "text/plain")
    return {"@id": _id(name), "@type": kind, "name": name, "encodingFormat": known, **more}


def _id(name: str) -> str:
    """Return a file's identifier: its path as part of an address."""
    return href(name)
