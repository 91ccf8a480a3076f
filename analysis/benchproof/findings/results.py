"""results.json: every figure of a campaign in the contract's shape."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from benchproof.findings.comparison_results import comparison_in_order
from benchproof.nomenclature import OPERATING_POINTS, term

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from benchproof.errors import Remark
    from benchproof.methods.method import Method
    from benchproof.methods.records import Chart, Figure, Series

_TOP: Final = (
    "schema",
    "campaign",
    "methods",
    "software",
    "inputs",
    "quantities",
    "curves",
    "comparison",
    "claims",
    "warnings",
    "pooled_models",
)
_ENTRY: Final = (
    "campaign",
    "name",
    "at",
    "sample",
    "unit",
    "value",
    "standard_uncertainty",
    "degrees_of_freedom",
    "interval",
    "coverage",
    "method",
    "flags",
)
_POOLED: Final = ("name", "at", "unit", "samples", *_ENTRY[5:10], "spread")
_SPREAD: Final = ("standard", "degrees_of_freedom", "campaigns", "samples")
_AT: Final = (
    "part",
    *OPERATING_POINTS,
    "step",
    "rate",
    "pulse",
    "state_of_charge",
    "propeller",
    "flywheel",
    "airflow",
)

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


def in_order(record: Mapping[str, Any]) -> dict[str, Any]:
    """Return results with their keys in the contract's order, which a notebook file does not keep.

    Parameters
    ----------
    record : Mapping
        results.json as plain data.
    """
    ordered = _keyed(record, _TOP)
    ordered["software"] = _keyed(ordered.get("software", {}), ("benchproof", "python"))
    ordered["inputs"] = dict(sorted(ordered.get("inputs", {}).items(), key=lambda item: _input_place(item[0])))
    ordered["quantities"] = [_entry_in_order(each) for each in ordered.get("quantities", ())]
    if "pooled_models" in ordered:
        ordered["pooled_models"] = [_pooled_in_order(each) for each in ordered["pooled_models"]]
    ordered["curves"] = [_keyed(each, ("name", "sample", "file")) for each in ordered.get("curves", ())]
    if "comparison" in ordered:
        ordered["comparison"] = comparison_in_order(ordered["comparison"])
    ordered["claims"] = [_keyed(each, ("say", "verdict", "probability")) for each in ordered.get("claims", ())]
    ordered["warnings"] = [_keyed(each, ("code", "where", "message")) for each in ordered.get("warnings", ())]
    return ordered


def _keyed(record: Mapping[str, Any], first: Sequence[str]) -> dict[str, Any]:
    """Return a mapping with some keys first and the rest by name."""
    return {key: record[key] for key in (*first, *sorted(set(record) - set(first))) if key in record}


def _entry_in_order(each: Mapping[str, Any]) -> dict[str, Any]:
    ordered = _keyed(each, _ENTRY)
    ordered["at"] = _keyed(ordered.get("at", {}), _AT)
    return ordered


def _pooled_in_order(each: Mapping[str, Any]) -> dict[str, Any]:
    ordered = _keyed(each, _POOLED)
    return {**ordered, "at": _keyed(each["at"], _AT), "spread": _keyed(each["spread"], _SPREAD)}


def _input_place(name: str) -> tuple[int, str]:
    """Return where an input stands: the lab, the rig and its calibrations, the campaign, its logs and photos."""
    if name == "runs/lab.yaml":
        return 0, name
    if name.startswith("runs/rigs/"):
        return (1 if name.endswith("/rig.yaml") else 2), name
    return (3 if name.endswith("/campaign.yaml") else 4), name


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
    place = re.sub(r"[^\w.-]+", "-", series.label.removeprefix("Sample ")).strip("-")
    return f"curves/{chart.name}--{place}.csv"
