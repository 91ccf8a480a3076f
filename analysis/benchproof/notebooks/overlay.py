"""Curves of several campaigns laid over each other."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from benchproof.findings.comparable import propellers_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchproof.findings.entrants import Entrant
    from benchproof.methods.records import Chart, Series
    from benchproof.notebooks.session import OpenBench


def overlays(benches: Sequence[OpenBench], entrants: Sequence[Entrant]) -> Iterator[Chart]:
    """Yield every chart of curves that two campaigns or more have; another propeller's curves are left out and named.

    Parameters
    ----------
    benches : sequence of OpenBench
        The campaigns' benches.
    entrants : sequence of Entrant
        The same campaigns, in the same order.
    """
    found: dict[str, list[tuple[Entrant, str, Chart]]] = {}
    for bench, entrant in zip(benches, entrants, strict=True):
        for section in bench.sections():
            for chart in section.reduction.charts:
                if any(series.role == "band" for series in chart.series):
                    found.setdefault(chart.name, []).append((entrant, section.method.key, chart))
    for charts in found.values():
        if (laid := _overlay(charts)) is not None:
            yield laid


def _overlay(charts: Sequence[tuple[Entrant, str, Chart]]) -> Chart | None:
    """Return one chart of those on the first one's propeller; None where fewer than two are."""
    mounted = [propellers_of(entrant, key) for entrant, key, _ in charts]
    alike = [each for each, propellers in zip(charts, mounted, strict=True) if propellers == mounted[0]]
    if len(alike) < 2:
        return None
    first = charts[0][2]
    left_out = [entrant.label for entrant, _, _ in charts if entrant not in [one for one, _, _ in alike]]
    said = f" On another propeller, and so left out: {', '.join(left_out)}." if left_out else ""
    propeller = f" Propeller {', '.join(sorted(mounted[0]))}." if mounted[0] else ""
    reading = first.caption.split(" Band:")[0]
    return replace(
        first,
        name=f"compared_{first.name}",
        caption=(
            f"{reading} One curve a piece, with its coverage interval; pieces of one model share a colour."
            f"{propeller}{said}"
        ),
        series=tuple(curve for entrant, _, chart in alike for curve in _curves(entrant, chart)),
    )


def _curves(entrant: Entrant, chart: Chart) -> Iterator[Series]:
    for series in chart.series:
        if series.role == "band":
            piece = series.label.removeprefix("Sample ")
            yield replace(series, label=f"{entrant.label}, {piece}", sample=entrant.label, curve=False)
