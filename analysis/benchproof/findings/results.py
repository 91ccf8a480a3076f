"""results.json: every figure of a campaign in the contract's shape."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from benchproof.nomenclature import term

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from benchproof.errors import Remark
    from benchproof.methods.method import Method
    from benchproof.methods.records import Chart, Figure, Series

SCHEMA: Final = "benchproof-results/1"


def results(
    campaign: str,
    *,
    methods: Iterable[Method],
    software: Mapping[str, str],
    inputs: Mapping[str, str],
    figures: Iterable[Figure],
    charts: Iterable[Chart],
    remarks: Iterable[Remark],
    coverage: float,
) -> dict[str, Any]:
    """Return results.json as plain data, keys in their fixed order; claims are added by ``build``."""
    return {
        "schema": SCHEMA,
        "campaign": campaign,
        "methods": {method.key: method.version for method in methods},
        "software": dict(software),
        "inputs": dict(inputs),
        "quantities": [entry(figure, coverage) for figure in figures],
        "curves": [
            {"name": chart.name, "sample": series.sample, "file": curve_file(chart, series)}
            for chart in charts
            for series in chart.series
            if series.curve
        ],
        "warnings": [{"code": r.code, "where": r.where, "message": r.message} for r in remarks],
    }


def entry(figure: Figure, coverage: float) -> dict[str, Any]:
    """Return one figure in the contract's shape, in the results' unit."""
    quantity, of = figure.quantity, term(figure.name)
    known = quantity is not None
    interval = [of.from_si(end) for end in quantity.interval(coverage)] if quantity is not None else None
    return {
        "name": figure.name,
        "at": dict(figure.at),
        "sample": figure.sample,
        "unit": of.unit,
        "value": of.from_si(quantity.value) if quantity is not None else None,
        "standard_uncertainty": of.from_si(quantity.standard_uncertainty) if quantity is not None else None,
        "degrees_of_freedom": quantity.degrees_of_freedom if quantity is not None else None,
        "interval": interval if known else None,
        "coverage": coverage,
        "method": figure.method,
        "flags": list(figure.flags),
    }


def curve_file(chart: Chart, series: Series) -> str:
    """Return the path of a curve file, relative to the report."""
    place = re.sub(r"[^A-Za-z0-9._-]+", "-", series.label.removeprefix("Sample ")).strip("-")
    return f"curves/{chart.name}--{place}.csv"
