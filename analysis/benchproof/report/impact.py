"""The impact page: what would change in the archive, verdicts first."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from benchproof.findings.moves import SURE, relative_error_of_end
from benchproof.notebooks import plot
from benchproof.notebooks.drawing import MODEL_STROKE, SAMPLE_STROKES, shortened
from benchproof.report.framing import framed
from benchproof.report.history import moved_words, whose
from benchproof.report.printing import print_figure
from benchproof.report.records import Figure
from benchproof.report.render import environment
from benchproof.report.views.history import ChangeView, FlipView
from benchproof.report.views.impact import BridgeView, CauseView, FlippedView, ImpactContext, MovedView
from benchproof.report.views.told import Link
from benchproof.report.words import href, point_words, quantity_title

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from benchproof.campaign.models.lab import Lab
    from benchproof.findings.bridging import Bridge
    from benchproof.findings.causes import Cause
    from benchproof.findings.impact import Impact
    from benchproof.findings.moves import Entry, Move, Swap
    from benchproof.notebooks.drawing import Stroke

STILL: Final = "impact.svg"
_SIGNS: Final = "●■▲◆▼"
"""The markers of the samples' strokes, as letters."""

_LISTED: Final = 30
_ROWS: Final = 40
_TICKS: Final = (1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0)
_WIDTH: Final = 640.0
_ROW: Final = 22.0
_NAME: Final = 28
"""The drawing's width and height of a row, in pixels, and the most letters of a campaign's name."""

_SAID: Final = {
    "same": "not moved",
    "noise": "moved by no more than trial noise",
    "draft": "never published, so held against nothing",
    "withdrawn": "withdrawn",
}


def write_impact(folder: Path, impact: Impact, lab: Lab) -> Path:
    """Write the impact page and its drawing into a preview.

    Returns
    -------
    Path
        The page. It is gone with the next build, which makes it stale.
    """
    pictures = any(each.groups for each in impact.campaigns)
    if pictures:
        _put(folder / STILL, dot_plot(impact))
    context = impact_context(impact, lab, STILL if pictures else "")
    page = folder / "impact.html"
    _put(page, environment().get_template("impact.html.j2").render(page=context))
    return page


def impact_context(impact: Impact, lab: Lab, picture: str) -> ImpactContext:
    """Return everything the impact page prints."""
    frame = framed(
        lab.lab,
        title=f"Impact · {lab.lab.name}",
        description="What would move against what is published.",
        root="",
        preview=True,
        invented=lab.lab.invented,
        mark="Preview.",
        standing="What would change if everything were published now.",
    )
    return ImpactContext(
        frame=frame,
        lead=headline(impact),
        flipped=tuple(
            FlippedView(
                _link(each.campaign),
                FlipView(flip.say, flip.old or "not there", flip.new or "not there"),
                cause_words(each.flip_causes) or "another campaign that it is held against moved",
            )
            for each in impact.campaigns
            for flip in each.flips
        ),
        swapped=tuple(swap_words(swap) for swap in impact.swaps[:_LISTED]),
        more_swapped=f"and {len(impact.swaps) - _LISTED} more" if len(impact.swaps) > _LISTED else "",
        still=picture,
        alt="Every figure that moved, a dot each, by campaign; across: the change in its standard uncertainty.",
        floor=floor_words(impact.trials, lab.coverage),
        causes=tuple(_causes(impact)),
        bridges=tuple(map(bridge_view, impact.bridges)),
        quiet=tuple(quiet_words(impact)),
    )


def headline(impact: Impact) -> str:
    """Return what would change, in one sentence."""
    flipped = sum(len(each.flips) for each in impact.campaigns)
    moved = sum(len(each.moves) for each in impact.campaigns)
    where = sum(bool(each.moves) for each in impact.campaigns)
    if not flipped and not moved and not impact.swaps:
        return "Nothing would move by more than trial noise."
    told = (
        f"{_count(flipped, 'verdict')} would flip, {_count(len(impact.swaps), 'pair')} of motors would change places, "
        f"and {_count(moved, 'figure')} in {_count(where, 'report')} would move."
    )
    return told[:1].upper() + told[1:]


def floor_words(trials: int, coverage: float) -> str:
    """Return what counts as trial noise, in words."""
    value = SURE * math.sqrt(2 / trials)
    end = SURE * math.sqrt(2) * relative_error_of_end(coverage, None) / math.sqrt(trials)
    return (
        f"With {trials} trials, other draws would move a value by up to {value:.2g} of its standard uncertainty and an "
        f"end of its interval by up to {end:.2g} of half the interval's width (more where degrees of freedom are few). "
        "Anything below that is not listed."
    )


def cause_words(causes: Iterable[Cause]) -> str:
    """Return causes in words."""
    return "; ".join(f"{'' if cause.kind == 'unknown' else f'{cause.kind}: '}{cause.what}" for cause in causes)


def swap_words(swap: Swap) -> str:
    """Return a change of places as a sentence."""
    point = point_words(swap.at)
    where = f"{quantity_title(swap.name)}{f' {point}' if point else ''}"
    return f"{where}: {swap.risen} now lies above {swap.fallen}."


def bridge_view(bridge: Bridge) -> BridgeView:
    """Return a bridge in words."""
    low, high = bridge.interval or (None, None)
    spread = (
        f" ({low:.4f} to {high:.4f})" if low is not None and high is not None else " (no interval from one campaign)"
    )
    return BridgeView(
        f"{bridge.method} {bridge.old} to {bridge.new}",
        quantity_title(bridge.name),
        f"{bridge.ratio:.4f}{spread}",
        _count(bridge.campaigns, "campaign"),
    )


def quiet_words(impact: Impact) -> Iterator[str]:
    """Yield what there is to say of campaigns without moves."""
    for state, said in _SAID.items():
        names = [each.campaign for each in impact.campaigns if each.state == state]
        if names:
            yield f"{said[:1].upper()}{said[1:]}: {', '.join(names)}."
    for each in impact.campaigns:
        if each.state == "failed":
            yield f"{each.campaign} failed: {' '.join(each.problems)}"


def change_view(move: Move) -> ChangeView:
    """Return a move as pages print it."""
    return ChangeView(
        title=quantity_title(move.name),
        point=point_words(move.at),
        whose=whose(move.sample, (move.new or move.old or {}).get("campaign")),
        old=_printed(move.old),
        new=_printed(move.new),
        by=moved_words(move.percent, move.in_uncertainties, move.widened_percent),
    )


def dot_plot(impact: Impact) -> str:
    """Return a drawing of every move: a row a campaign, a dot a figure, across in standard uncertainties."""
    groups = impact.by_cause
    weights = {each.campaign: max((_finite(m) for m in each.moves), default=-1.0) for each in impact.campaigns}
    rows = sorted((name for name, weight in weights.items() if weight >= 0), key=lambda name: (-weights[name], name))[
        :_ROWS
    ]
    reach = max(2.0, *(1.3 * _finite(m) for _, moved in groups for _, m in moved))
    left = max(plot.width_of(shortened(name, _NAME)) for name in rows) + 2 * _ROW if rows else _ROW
    x = plot.Scale(-reach, reach, left, _WIDTH - _ROW, _bent)
    places = {name: _ROW * (place + 1.0) for place, name in enumerate(rows)}
    bottom = _ROW * (len(rows) + 0.5)
    dots = (
        plot.marks(
            [
                (x(m.in_uncertainties), places[name])
                for name, m in moved
                if name in places and m.in_uncertainties is not None
            ],
            _stroke(place).marker,
            _stroke(place).light,
        )
        for place, (_, moved) in enumerate(groups)
    )
    shapes = [*_field(impact, x, reach, bottom), *_names(places, left), *dots]
    return plot.document(_WIDTH, bottom + 2.5 * _ROW, "Moves in standard uncertainties", filter(None, shapes))


def _bent(value: float) -> float:
    """Linear within one standard uncertainty, logarithmic beyond."""
    return value if abs(value) <= 1 else math.copysign(1 + math.log10(abs(value)), value)


def _field(impact: Impact, x: plot.Scale, reach: float, bottom: float) -> Iterator[str]:
    """Yield what lies under the dots: the band of trial noise, the grid and its numbers."""
    floor = SURE * math.sqrt(2 / impact.trials)
    corners = [(x(-floor), _ROW / 2), (x(floor), _ROW / 2)]
    yield plot.band([(place, bottom) for place, _ in corners], corners, plot.INK)
    for tick in (0.0, *(sign * tick for tick in _TICKS if tick < reach for sign in (-1, 1))):
        yield plot.line(x(tick), _ROW / 2, x(tick), bottom, plot.FAINT if tick else plot.INK)
        yield plot.words(x(tick), bottom + 0.8 * _ROW, f"{tick:g}".replace("-", "−"))
    yield plot.words((x.start + x.stop) / 2, bottom + 1.9 * _ROW, "change in standard uncertainties (linear within ±1)")


def _names(places: Mapping[str, float], left: float) -> Iterator[str]:
    for name, place in places.items():
        yield plot.words(left - _ROW / 2, place + 0.35 * plot.LETTER, shortened(name, _NAME), "end")


def _causes(impact: Impact) -> Iterator[CauseView]:
    for place, (causes, moved) in enumerate(impact.by_cause):
        yield CauseView(
            title=cause_words(causes),
            stroke=place + 1 if place < len(SAMPLE_STROKES) else 0,
            sign=_SIGNS[place] if place < len(SAMPLE_STROKES) else "",
            count=f"{_count(len(moved), 'figure')} of {_count(len({name for name, _ in moved}), 'campaign')}",
            moved=tuple(MovedView(_link(name), change_view(move)) for name, move in _told_first(moved)[:_LISTED]),
            more=f"and {len(moved) - _LISTED} more" if len(moved) > _LISTED else "",
        )


def _told_first(moved: Sequence[tuple[str, Move]]) -> list[tuple[str, Move]]:
    """Return moves with those of models before those of samples."""
    return sorted(moved, key=lambda pair: pair[1].sample is not None)


def _stroke(place: int) -> Stroke:
    return SAMPLE_STROKES[place] if place < len(SAMPLE_STROKES) else MODEL_STROKE


def _finite(move: Move) -> float:
    return abs(move.in_uncertainties or 0.0)


def _printed(entry: Entry | None) -> str:
    return "not there" if entry is None else print_figure(Figure.model_validate(_tupled(entry))).text


def _tupled(entry: Entry) -> dict[str, Any]:
    interval = None if entry["interval"] is None else tuple(entry["interval"])
    return {**entry, "interval": interval, "flags": tuple(entry["flags"])}


def _link(campaign: str) -> Link:
    return Link(f"reports/{href(campaign)}/index.html", campaign)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number or 'no'} {what}s"


def _put(path: Path, text: str) -> None:
    """Write a file in place of an earlier one, whole; the earlier one may be a link that other trees share."""
    beside = path.with_name(f".{path.name}.new")
    beside.write_text(text, encoding="utf-8", newline="\n")
    beside.replace(path)
