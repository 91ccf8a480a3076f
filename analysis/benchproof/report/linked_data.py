"""What search engines and registries read on a report's page: schema.org Dataset and Review, as JSON-LD.

A review here is words with figures: it carries no stars, because the lab gives none.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.report.citing import description, spdx
from benchproof.report.words import anchor, href, point_words, quantity_title

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.report.records import Figure, Page, Results
    from benchproof.report.views import DownloadGroup

_FORMATS: Final = {
    ".csv": "text/csv",
    ".parquet": "application/vnd.apache.parquet",
    ".json": "application/json",
    ".zip": "application/zip",
}


def linked_data(page: Page, results: Results, verdict: str, downloads: Sequence[DownloadGroup]) -> dict[str, Any]:
    """Return a report as linked data.

    Parameters
    ----------
    page : Page
        The campaign.
    results : Results
        Its figures; those of the model that were reached become measured variables.
    verdict : str
        The reviewer's first paragraph as plain text.
    downloads : sequence of DownloadGroup
        Files beside the page.
    """
    return {"@context": "https://schema.org", "@graph": [_dataset(page, results, downloads), _review(page, verdict)]}


def _dataset(page: Page, results: Results, downloads: Sequence[DownloadGroup]) -> dict[str, Any]:
    record: dict[str, Any] = {
        "@type": "Dataset",
        "@id": "#data",
        "name": page.title,
        "description": description(page),
        "identifier": page.campaign,
        "creator": _lab(page),
        "temporalCoverage": page.dates.tested,
        "isAccessibleForFree": True,
        "variableMeasured": [
            _variable(figure) for figure in results.quantities if figure.sample is None and figure.value is not None
        ],
        "distribution": [
            {
                "@type": "DataDownload",
                "name": file.label,
                "contentUrl": file.href,
                "encodingFormat": _FORMATS[ending],
                **({"sha256": file.sha256} if file.sha256 else {}),
            }
            for group in downloads
            for file in group.files
            if (ending := "." + file.label.rpartition(".")[2]) in _FORMATS and not file.label.startswith("raw/")
        ],
    }
    licence = spdx(page.lab.data_license) or page.lab.data_license
    return {**record, "license": licence} if licence else record


def _variable(figure: Figure) -> dict[str, Any]:
    """Return a figure as a value with its interval."""
    point = point_words(figure.at)
    record: dict[str, Any] = {
        "@type": "PropertyValue",
        "name": f"{quantity_title(figure.name)} {point}".strip(),
        "propertyID": figure.name,
        "url": f"#{href(anchor(figure.name, figure.at))}",
        "value": figure.value,
        "unitText": figure.unit,
        "measurementTechnique": figure.method,
    }
    if figure.interval is not None:
        record |= {"minValue": figure.interval[0], "maxValue": figure.interval[1]}
    return record


def _review(page: Page, verdict: str) -> dict[str, Any]:
    return {
        "@type": "Review",
        "@id": "#review",
        "name": page.title,
        **({"reviewBody": verdict} if verdict else {}),
        "author": _lab(page),
        "itemReviewed": {
            "@type": "Product",
            "name": f"{page.specimen.maker} {page.specimen.model}",
            "model": page.specimen.model,
            "brand": {"@type": "Brand", "name": page.specimen.maker},
        },
        "isBasedOn": {"@id": "#data"},
    }


def _lab(page: Page) -> dict[str, Any]:
    web = page.lab.url if (page.lab.url or "").startswith(("https://", "http://")) else None
    return {"@type": "Organization", "name": page.lab.name, **({"url": web} if web else {})}
