"""Whether a figure or a curve came out again: to the printed digits, within trial noise, or not."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from benchproof.report.printing import print_figure
from benchproof.report.words import point_words, quantity_title

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from benchproof.report.records import Figure

State = Literal["identical", "within trial noise", "differs"]

ROUNDING_EDGE: Final = 0.002
"""Standard uncertainties that a figure may be off where the versions are the same: another machine's last bits can
carry a number over the edge of a rounding."""

TRIAL_NOISE: Final = 0.08
"""Standard uncertainties that a figure may be off where versions differ, at 20 000 trials: five times as far as the
ends of an interval wander from seed to seed (0.016, measured)."""

_TRIALS: Final = 20_000
_ALIKE: Final = 0.025
"""Largest relative difference of two uncertainties that are the same to two digits."""

_CURVE_DIGITS: Final = 4
_EXPANDED: Final = 1.96
_WITHOUT_ENDS: Final = 2


@dataclass(frozen=True, slots=True)
class Agreement:
    """How one thing came out.

    Parameters
    ----------
    kind : str
        figure or curve.
    name : str
        Which, in words.
    state : State
        How it came out.
    published, here : str
        As the report has it, as it came out here; empty for what is absent.
    uncertainties : float or None
        By how many standard uncertainties it differs; None where that cannot be said.
    reason : str
        Why it differs where that is no number; empty else.
    """

    kind: str
    name: str
    state: State
    published: str
    here: str
    uncertainties: float | None = None
    reason: str = ""

    def record(self) -> dict[str, Any]:
        """Return it as plain data for ``--json``."""
        return asdict(self)


def noise_of(trials: int, *, same_versions: bool) -> float:
    """Return how many standard uncertainties count as noise."""
    return ROUNDING_EDGE if same_versions else TRIAL_NOISE * math.sqrt(_TRIALS / trials)


def compare_figures(published: Sequence[Figure], here: Sequence[Figure], noise: float) -> tuple[Agreement, ...]:
    """Return how every figure of either side came out, in the report's order."""
    ours, theirs = {_key(figure): figure for figure in here}, {_key(figure): figure for figure in published}
    return tuple(_figure(theirs.get(key), ours.get(key), noise) for key in {**theirs, **ours})


def _key(figure: Figure) -> tuple[object, ...]:
    return figure.campaign, figure.name, tuple(sorted(figure.at.items())), figure.sample


def _figure(published: Figure | None, here: Figure | None, noise: float) -> Agreement:
    known = published or here
    if known is None:
        message = "a figure of neither side"
        raise ValueError(message)
    whose = "the model" if known.sample is None else f"sample {known.sample}"
    what = f"{quantity_title(known.name)} {point_words(known.at)}".strip()
    name = ", ".join(filter(None, (what, known.campaign, whose)))
    theirs, ours = (print_figure(figure).text if figure else "" for figure in (published, here))
    if published is None or here is None:
        reason = "not in the report" if published is None else "did not come out here"
        return Agreement("figure", name, "differs", theirs, ours, reason=reason)
    if reason := _otherwise(published, here):
        return Agreement("figure", name, "differs", theirs, ours, reason=reason)
    distance = _distance(published, here)
    if theirs == ours and _uncertainty_alike(published, here):
        return Agreement("figure", name, "identical", theirs, ours, distance)
    state: State = "within trial noise" if distance is not None and distance <= noise else "differs"
    return Agreement("figure", name, state, theirs, ours, distance)


def _otherwise(published: Figure, here: Figure) -> str:
    """Return what differs beside the numbers; empty for nothing."""
    for what, one, other in (
        ("unit", published.unit, here.unit),
        ("coverage", published.coverage, here.coverage),
        ("flags", sorted(published.flags), sorted(here.flags)),
        ("presence of a value", published.value is None, here.value is None),
        ("presence of an interval", published.interval is None, here.interval is None),
    ):
        if one != other:
            return f"the {what} differs"
    return ""


def _uncertainty_alike(published: Figure, here: Figure) -> bool:
    pairs = (
        (published.standard_uncertainty, here.standard_uncertainty, _ALIKE),
        (published.degrees_of_freedom, here.degrees_of_freedom, 2 * _ALIKE),
    )
    return all(
        one == other or (one is not None and other is not None and math.isclose(one, other, rel_tol=tolerance))
        for one, other, tolerance in pairs
    )


def _distance(published: Figure, here: Figure) -> float | None:
    """Return by how many standard uncertainties value, interval or uncertainty differ, whichever most."""
    if published.value is None or here.value is None:
        return None
    unit = max(published.standard_uncertainty or 0.0, here.standard_uncertainty or 0.0)
    ends = zip(published.interval or (), here.interval or (), strict=True)
    apart = [abs(one - other) for one, other in ((published.value, here.value), *ends)]
    apart.append(abs((published.standard_uncertainty or 0.0) - (here.standard_uncertainty or 0.0)))
    if unit == 0.0:
        return 0.0 if max(apart) == 0.0 else None
    return max(apart) / unit


def compare_curves(published: Mapping[str, str], here: Mapping[str, str], noise: float) -> tuple[Agreement, ...]:
    """Return how every curve file of either side came out; a curve is compared at the digits a page prints."""
    return tuple(_curve(name, published.get(name), here.get(name), noise) for name in sorted({*published, *here}))


def _curve(name: str, published: str | None, here: str | None, noise: float) -> Agreement:
    if published is None or here is None:
        reason = "not in the report" if published is None else "did not come out here"
        return Agreement("curve", name, "differs", "", "", reason=reason)
    one, other = (list(csv.reader(io.StringIO(text))) for text in (published, here))
    theirs, ours = (f"{len(table) - 1} points" for table in (one, other))
    if one[:1] != other[:1] or [len(row) for row in one] != [len(row) for row in other]:
        return Agreement("curve", name, "differs", theirs, ours, reason="other columns or another number of points")
    try:
        distance, digits = _curve_distance(one[1:], other[1:])
    except ValueError:
        return Agreement("curve", name, "differs", theirs, ours, reason="a cell that is no number")
    state: State = "identical" if digits else "within trial noise" if distance <= noise else "differs"
    return Agreement("curve", name, state, theirs, ours, distance if math.isfinite(distance) else None)


def _curve_distance(one: Sequence[Sequence[str]], other: Sequence[Sequence[str]]) -> tuple[float, bool]:
    """Return the largest distance in standard uncertainties, and whether all printed digits are the same.

    Raises
    ------
    ValueError
        If a cell is not a number.
    """
    theirs, ours = (_columns(rows) for rows in (one, other))
    same = all(_printed_alike(a, b) for a, b in zip(theirs, ours, strict=True))
    if same or not len(theirs[0]):
        return 0.0, same
    known = np.isfinite(theirs[0]) & np.isfinite(theirs[1])
    again = np.isfinite(ours[0]) & np.isfinite(ours[1])
    if not known.any() or not again.any() or (np.diff(ours[0][again]) <= 0).any():
        return math.inf, False
    # Where the grid moved, the curve is read at the report's points, as far as both go.
    inside = known & (theirs[0] >= ours[0][again].min()) & (theirs[0] <= ours[0][again].max())
    width = np.abs(theirs[3] - theirs[2]) / (2 * _EXPANDED) if len(theirs) > _WITHOUT_ENDS else np.zeros(len(known))
    apart = [
        abs(np.interp(theirs[0], ours[0][again], b[again]) - a)[inside]
        for a, b in zip(theirs[1:], ours[1:], strict=True)
    ]
    if not inside.any():
        return math.inf, False
    with np.errstate(divide="ignore", invalid="ignore"):
        ratios = np.max(apart, axis=0) / width[inside]
    return float(np.max(np.nan_to_num(ratios, nan=0.0, posinf=math.inf))), False


def _columns(rows: Sequence[Sequence[str]]) -> list[NDArray[np.float64]]:
    """Return a table's columns, not a number where a cell is empty."""
    return [np.array([float(cell) if cell else math.nan for cell in column]) for column in zip(*rows, strict=True)]


def _printed_alike(one: NDArray[np.float64], other: NDArray[np.float64]) -> bool:
    return [f"{value:.{_CURVE_DIGITS}g}" for value in one] == [f"{value:.{_CURVE_DIGITS}g}" for value in other]
