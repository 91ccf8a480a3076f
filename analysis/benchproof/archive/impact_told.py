"""Telling an impact on a terminal: verdicts first, then places, then figures by cause."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from benchproof.report.impact import (
    bridge_view,
    cause_words,
    change_view,
    floor_words,
    headline,
    quiet_words,
    swap_words,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.findings.impact import Impact
    from benchproof.findings.moves import Move

_PLAIN_WIDTH: Final = 200
_LISTED: Final = 12


def tell_impact(impact: Impact, coverage: float) -> None:
    """Print an impact: a table a cause on a terminal, plain lines of the same elsewhere."""
    console = Console(highlight=False)
    if not console.is_terminal:
        console = Console(highlight=False, width=_PLAIN_WIDTH)
    console.print(escape(headline(impact)), style="bold", soft_wrap=True)
    for each in impact.campaigns:
        for flip in each.flips:
            line = f"{each.campaign}: “{flip.say}” {flip.old or 'new'} -> {flip.new or 'gone'}"
            console.print(escape(f"FLIPPED {line} ({cause_words(each.flip_causes)})"), soft_wrap=True)
    for swap in impact.swaps[:_LISTED]:
        console.print(escape(swap_words(swap)), soft_wrap=True)
    _more(console, len(impact.swaps) - _LISTED)
    for causes, moved in impact.by_cause:
        console.print(_table(cause_words(causes), moved[:_LISTED]))
        _more(console, len(moved) - _LISTED)
    for bridge in map(bridge_view, impact.bridges):
        line = f"{bridge.method}: {bridge.title} x {bridge.ratio} over {bridge.campaigns}"
        console.print(escape(line), soft_wrap=True)
    for line in (*quiet_words(impact), floor_words(impact.trials, coverage)):
        console.print(escape(line), soft_wrap=True)


def _table(title: str, moved: Sequence[tuple[str, Move]]) -> Table:
    table = Table(title=escape(title), title_justify="left", box=box.SIMPLE, pad_edge=False)
    for heading in ("report", "figure", "published", "now", "by"):
        table.add_column(heading, justify="left" if heading in {"report", "figure"} else "right")
    for name, move in moved:
        view = change_view(move)
        figure = " ".join(part for part in (view.title, view.point) if part)
        table.add_row(*map(escape, (name, f"{figure}, {view.whose}", view.old, view.new, view.by)))
    return table


def _more(console: Console, count: int) -> None:
    if count > 0:
        console.print(f"and {count} more")
