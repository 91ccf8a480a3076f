"""An executed notebook as the report room gets it: two invented samples, three tests, plausible figures, no bench.

``sample_notebook(wrap)`` passes every text that comes from outside through ``wrap``, so that a test can make it hostile.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from benchproof.notebooks.drawing import svg

CAMPAIGN = "2026-03-yarrow-2207"
SAMPLES = ("A1", "A2")
_GRID = (20.0, 50.0, 100.0, 150.0, 200.0, 300.0, 400.0)

Wrap = Callable[[str], str]


def as_it_is(text: str) -> str:
    """Leave outside text alone."""
    return text


def sample_notebook(wrap: Wrap = as_it_is, *, text: str | None = None, photo: str | None = None) -> dict[str, Any]:
    """Return the notebook; ``text`` replaces the reviewer's words, ``photo`` is what the inspection shows."""
    cells = [
        _cell(page(wrap, text, photo), "page"),
        _cell(_method("inspection", "Inspection", wrap), "method"),
        _cell(_method("weighing", "Weighing", wrap), "method"),
        _cell(_table("weighing", "readings", wrap), "table"),
        _cell(_method("thrust_sweep", "Thrust sweep", wrap), "method"),
        *(_cell(each, "chart") for each in charts(wrap)),
        _cell(_table("thrust_sweep", "plateaus", wrap), "table"),
        _cell(_table("page", "budget_thrust", wrap), "table"),
        _cell(results(wrap), "results"),
    ]
    for number, cell in enumerate(cells):
        cell["id"] = f"c{number}"
    return {"cells": [_other(), *cells], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}


def _cell(record: dict[str, Any], kind: str) -> dict[str, Any]:
    data = {f"application/vnd.benchproof.{kind}+json": record, "text/plain": ["<record>"]}
    # A file on disk holds text as a list of lines.
    data |= {"image/svg+xml": svg(record).splitlines(keepends=True)} if kind == "chart" else {}
    output = {"output_type": "display_data", "data": data, "metadata": {}}
    return {"cell_type": "code", "id": "c", "metadata": {}, "execution_count": 1, "source": [], "outputs": [output]}


def _other() -> dict[str, Any]:
    """Return outputs that are none of the page's business."""
    data = {"text/html": "<script>window.ran = 'html'</script>", "application/javascript": "window.ran = 'js'"}
    outputs = [
        {"output_type": "display_data", "data": data, "metadata": {}},
        {"output_type": "stream", "name": "stdout", "text": "<script>window.ran = 'stdout'</script>"},
    ]
    return {"cell_type": "code", "id": "o", "metadata": {}, "execution_count": 1, "source": [], "outputs": outputs}


def page(wrap: Wrap, text: str | None, photo: str | None) -> dict[str, Any]:
    words = 'Light and honest. It weighs {{ quote("mass") }}.\n\n## Why\n\nMakes {{ quote("thrust", electrical_power="200 W") }}.'
    return {
        "section": "page",
        "name": "page",
        "campaign": CAMPAIGN,
        "title": wrap("Yarrow 2207 on the bench"),
        "dates": {"received": "2026-02-24", "tested": "2026-03-02"},
        "lab": {"name": wrap("Fernlea Bench (invented)"), "url": wrap("https://example.org"), "currency": "EUR",
                "disclosure": wrap("Bought with reader money."), "data_license": wrap("CC-BY-4.0")},
        "specimen": {
            "maker": wrap("Moss & Daughters (invented)"), "model": wrap("Yarrow 2207"), "label": {"kv": wrap("1750 rpm/V")},
            "price": {"amount": 24.0, "currency": "EUR", "channel": "direct", "seen": "2026-02-20", "shipping": 4.0},
            "source": "bought", "pole_pairs": 7, "connection": "wye", "design": {"bell": wrap("two-piece")},
            "samples": [{"id": sample, "batch": wrap("2026-01")} for sample in SAMPLES],
        },
        "rig": {"name": wrap("north-bench"), "latitude": "54.1 deg"},
        "drive": {"name": wrap("drive-1"), "model": wrap("Invented 45"), "on_resistance": "2 mohm"},
        "propellers": [{"name": wrap("ref-5x45"), "serial": wrap("P3"), "diameter": "129.5 mm"}],
        "instruments": [
            {"name": wrap("thrust_cell"), "measures": "thrust", "full_scale": "30 N",
             "errors": [{"scale": "0.15 %"}, {"per": "run", "offset": "0.02 N"}],
             "calibration": {"file": wrap("calibration/thrust.csv"), "dated": "2026-02-10", "expires": "2026-08-10"}},
        ],
        "conditions": [
            {"test": "weighing", "sample": "A1", "part": "motor"},
            {"test": "thrust_sweep", "sample": "A1", "log": "raw/a1.csv", "humidity": "41 %", "temperature": "22.5 degC"},
        ],
        "exclusions": [{"test": "thrust_sweep", "sample": "A2", "log": "raw/a2-slip.csv", "reason": wrap("nut slipped")}],
        "inspections": [{"sample": "A1", "finding": wrap("Clean glue."), "photo": photo, "about": wrap("bell")}],
        "reply": wrap("Thank you.\n  We disagree."),
        "text": words if text is None else text,
        "headline": ["mass", {"name": "thrust", "at": {"electrical_power": "200 W"}}, "thrust_per_power"],
        "invented": True,
    }  # fmt: skip


def charts(wrap: Wrap) -> list[dict[str, Any]]:
    return [_chart("thrust", "N", 0.5, wrap), _chart("thrust_per_power", "N/W", -0.5, wrap)]


def _chart(name: str, unit: str, power: float, wrap: Wrap) -> dict[str, Any]:
    scale = 0.49 if name == "thrust" else 0.5
    series = []
    for number, sample in enumerate(SAMPLES):
        y = [scale * (1 - 0.01 * number) * x**power for x in _GRID]
        band = {"low": [0.99 * v for v in y], "high": [1.01 * v for v in y]}
        file = f"curves/{name}_vs_electrical_power--{sample}.csv"
        common = {"sample": sample, "x": list(_GRID), "y": y}
        series.append({**common, **band, "label": wrap(f"Sample {sample}"), "role": "band", "file": file})
        series.append({**common, "label": wrap(f"Sample {sample}, steps"), "role": "points", "low": None, "high": None})
    return {
        "section": "thrust_sweep", "name": f"{name}_vs_electrical_power", "title": wrap("A curve"), "caption": wrap("Bands."),
        "x": {"name": "electrical_power", "label": "Electrical power", "unit": "W", "scale": "linear"},
        "y": {"name": name, "label": wrap("Ordinate"), "unit": unit, "scale": "linear"},
        "samples": list(SAMPLES), "series": series,
    }  # fmt: skip


def _table(section: str, name: str, wrap: Wrap) -> dict[str, Any]:
    columns = [
        {"label": wrap("Log"), "unit": "", "align": "left"},
        {"label": "Thrust", "unit": "N*m", "align": "right"},
    ]
    rows = [[wrap(f"raw/a{k}.csv"), f"{k}.0"] for k in range(1, 4)]
    return {"section": section, "name": name, "title": wrap(f"Table {name}"), "caption": wrap("Rows."), "columns": columns,
            "rows": rows}  # fmt: skip


def _method(key: str, title: str, wrap: Wrap) -> dict[str, Any]:
    choice = {"name": "air", "value": wrap("as_tested"), "default": "reference", "meaning": "which air"}
    cautions = ["propeller", "lithium"] if key == "thrust_sweep" else []
    return {
        "section": key, "title": title, "version": "1.0", "summary": f"How {key} works.", "equations": ["a = b"],
        "sources": ["A standard"], "choices": [choice] if key == "thrust_sweep" else [], "cautions": cautions,
        "history": [{"version": "1.0", "note": "First."}],
    }  # fmt: skip


def _figure(name: str, unit: str, value: float | None, half: float, sample: str | None, **more: Any) -> dict[str, Any]:
    interval = None if value is None else [value - half, value + half]
    method = "weighing/1.0" if name == "mass" else "thrust_sweep/1.0"
    return {
        "name": name, "at": more.get("at", {}), "sample": sample, "unit": unit, "value": value,
        "standard_uncertainty": None if value is None else half / 2, "degrees_of_freedom": None, "interval": interval,
        "coverage": 0.95, "method": method, "flags": more.get("flags", []),
    }  # fmt: skip


def results(wrap: Wrap) -> dict[str, Any]:
    at, far = {"electrical_power": "200 W"}, {"thrust": "80 N"}
    quantities = []
    for sample, shift in ((None, 1.0), ("A1", 1.005), ("A2", 0.995)):
        quantities += [
            _figure("mass", "kg", 0.031412 * shift, 2e-5, sample),
            _figure("thrust", "N", 6.93 * shift, 0.055, sample, at=at, flags=["air_referred"]),
            _figure("thrust_per_power", "N/W", 0.03465 * shift, 0.0003, sample, at=at, flags=["air_referred"]),
            _figure("electrical_power", "W", None, 0.0, sample, at=far, flags=["not_reached"]),
        ]
    return {
        "schema": "benchproof-results/1", "campaign": CAMPAIGN, "methods": {"weighing": "1.0", "thrust_sweep": "1.0"},
        "software": {"benchproof": "0.1.0", "python": "3.11"},
        "inputs": {f"runs/{CAMPAIGN}/raw/a1.csv": "sha256:" + "0" * 64},
        "quantities": quantities,
        "curves": [{"name": "thrust_vs_electrical_power", "sample": s, "file": f"curves/thrust--{s}.csv"} for s in SAMPLES],
        "warnings": [{"code": "gap", "where": wrap(f"raw/a{k}.csv"), "message": wrap("a gap of 0.8 s")} for k in range(6)],
    }  # fmt: skip


def sample_claims(wrap: Wrap = as_it_is) -> list[dict[str, Any]]:
    """Return ``claims`` of results.json as the second pass adds them."""
    return [{"say": wrap("Lifts 6 N at 200 W"), "verdict": "supported", "probability": 0.999}]
