"""Loss budgets as charts and tables."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.findings.counterfactual import Change, efficiency_change, resistance_for, rewound
from benchproof.findings.losses import TERMS
from benchproof.methods.method import Change as Version
from benchproof.methods.method import Method
from benchproof.methods.records import Axis, Chart, Column, Series, Table
from benchproof.trials.quantity import coverage_interval
from benchproof.trials.rounding import rounded

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from benchproof.findings.losses import LossBudget

    FloatArray = NDArray[np.float64]

LABELS: Final = {
    "shaft_power": "Shaft",
    "copper": "Copper",
    "drag": "Drag",
    "drive": "Drive's switches",
    "residual": "Residual",
}
"""Words for the terms."""

CHANGES: Final = (
    Change("Resistance 5 % lower", resistance=-0.05),
    Change("Resistance 10 % lower", resistance=-0.10),
    Change("Drag 10 % lower", drag=-0.10),
    Change("Kv 5 % lower, same resistance", kv=-0.05),
    rewound(-0.05),
)
"""What the counterfactual table asks."""

_COLUMNS: Final = (
    Column("Sample", align="left"),
    Column("At", align="left"),
    *(Column(LABELS[name], "W") for name in TERMS),
    Column("Winding current", "A"),
    Column("Winding", "degC"),
)

POINT: Final = 0.01
"""One percentage point of efficiency."""

METHOD: Final = Method(
    key="losses",
    version="1.0",
    title="Where the watts go",
    order=100,
    summary=(
        "The electrical power of the sweep is split into what leaves the shaft and what is lost in the winding, to the "
        "motor's own drag and in the drive's switches. Each part comes from a measurement of its own: shaft power from "
        "torque and speed, copper loss from the winding's resistance and the current the torque needs, drag from the "
        "run without load. What they do not explain is the residual: switching of the drive, stray losses, and errors. "
        "It should be zero or a few percent; a residual that is surely negative would mean a wrong measurement, and is "
        "said so. Powers are those of the day, not referred to other air."
    ),
    equations=(
        "P_el = T w + I^2 R(t) + T_0(w) w + 2 R_on I^2 + residual",
        "T + T_0 = kt (1 - s I) I: current of the winding, not of the supply; s from the step at full throttle",
        "R(t) = R_20 (234.5 + t) / 254.5,  t = t_air + h (I^2 R(t) + T_0 w)",
        "with other constants, load held: eta' = P_shaft / (P_el + change of the losses)",
    ),
    sources=(
        "Segregation of losses after IEC 60034-2-1 [from memory]",
        "First-order model of the permanent-magnet machine, textbook knowledge [from memory]",
        "Resistance of copper against temperature: IEC 60228 [from memory]",
        "JCGM 101:2008 (propagation by trials)",
    ),
    history=(Version("1.0", "First version."),),
)


def views(
    budgets: Sequence[LossBudget], points: Sequence[tuple[str, float]], coverage: float
) -> tuple[tuple[Chart, ...], tuple[Table, ...]]:
    """Return the charts and tables of some budgets.

    Parameters
    ----------
    budgets : sequence of LossBudget
        One a sample.
    points : sequence of (str, float)
        Electrical powers of the tables, as the lab wrote them and in W; those not reached are left out.
    coverage : float
        Of the intervals.
    """
    charts = tuple(_chart(budget, coverage) for budget in budgets)
    tables = [_table(budgets, points, coverage), _whatif(budgets, points, coverage)]
    return charts, tuple(table for table in tables if table.rows and anywhere(budgets, points))


def _chart(budget: LossBudget, coverage: float) -> Chart:
    power = tuple(float(value) for value in budget.states.electrical_power[:, 0])
    series = []
    for name in TERMS[1:]:
        values = budget.terms[name]
        low, high = budget.interval(values, coverage)
        ends = (tuple(float(v) for v in low), tuple(float(v) for v in high))
        label = LABELS[name]
        # The term takes a sample's place: every loss has a stroke of its own.
        series.append(Series(label, label, "band", power, tuple(float(v) for v in values[:, 0]), *ends))
    return Chart(
        name=f"losses-{re.sub(r'[^A-Za-z0-9_.-]+', '-', budget.sample)}",
        title=f"Losses against electrical power, sample {budget.sample}",
        caption=(
            f"Band: {_percent(coverage)} coverage interval. The residual is what the other terms leave of the "
            "electrical power; it holds the drive's switching. Drawn where the motor's drag is known: at the speeds of "
            "the run without load, and a quarter beyond."
        ),
        x=Axis.of("electrical_power"),
        y=Axis("loss", "Lost", "W"),
        series=tuple(series),
    )


def _table(budgets: Sequence[LossBudget], points: Sequence[tuple[str, float]], coverage: float) -> Table:
    return Table(
        name="losses",
        title="Loss budget",
        caption=(
            f"In watts, with the half-width of the {_percent(coverage)} coverage interval. The rows add up to the "
            "electrical power; points beyond the reach of sweep and drag are left out."
        ),
        columns=_COLUMNS,
        rows=tuple(
            _budget_row(budget, text, place, coverage) for budget in budgets for text, place in reached(budget, points)
        ),
    )


def _budget_row(budget: LossBudget, text: str, place: int, coverage: float) -> tuple[str, ...]:
    return (
        budget.sample,
        text,
        *(with_width(budget.terms[name][place], coverage) for name in TERMS),
        with_width(budget.current[place], coverage),
        with_width(budget.temperature[place], coverage),
    )


def run_table(budgets: Sequence[tuple[LossBudget, Sequence[str]]], coverage: float) -> Table:
    """Return the loss budgets of flywheel runs, each with the speeds of its places as the lab wrote them."""
    return Table(
        name="run_losses",
        title="Loss budget of the flywheel runs",
        caption=(
            f"At speeds on the way up, in watts, with the half-width of the {_percent(coverage)} coverage interval. "
            "What the winding takes up as heat in that second is part of copper."
        ),
        columns=_COLUMNS,
        rows=tuple(
            _budget_row(budget, text, place, coverage) for budget, texts in budgets for place, text in enumerate(texts)
        ),
    )


def _whatif(budgets: Sequence[LossBudget], points: Sequence[tuple[str, float]], coverage: float) -> Table:
    """Return the table of what other constants would do, a column for each operating point."""
    texts = anywhere(budgets, points)
    rows = []
    for budget in budgets:
        for change in CHANGES:
            moved = efficiency_change(budget, change) / POINT
            rows.append((budget.sample, change.label, *cells(budget, moved, texts, points, coverage)))
        needed = 100 * resistance_for(budget, POINT)
        percents = (f"{cell} %" if cell else "" for cell in cells(budget, needed, texts, points, coverage))
        rows.append((budget.sample, "Resistance for one point more", *percents))
    return Table(
        name="what_if",
        title="If the motor were wound otherwise",
        caption=(
            "How far the efficiency would move at the same shaft load, in percentage points, the winding settled at "
            "the temperature that goes with it. Kv alone does nothing for the efficiency of a motor rewound in the "
            "same copper: its resistance falls with the square of Kv, and what counts is Km = kt / sqrt(R)."
        ),
        columns=(
            Column("Sample", align="left"),
            Column("If", align="left"),
            *(Column(f"At {text}", "points") for text in texts),
        ),
        rows=tuple(rows),
    )


def anywhere(budgets: Sequence[LossBudget], points: Sequence[tuple[str, float]]) -> tuple[str, ...]:
    """Return the operating points that at least one budget reaches, as the lab wrote them."""
    found = {text for budget in budgets for text, _ in reached(budget, points)}
    return tuple(text for text, _ in points if text in found)


def cells(
    budget: LossBudget, values: FloatArray, texts: Sequence[str], points: Sequence[tuple[str, float]], coverage: float
) -> tuple[str, ...]:
    """Return the printed values of an array of a budget at some operating points; empty where not reached."""
    places = dict(reached(budget, points))
    return tuple(_signed(values[places[text]], coverage) if text in places else "" for text in texts)


def reached(budget: LossBudget, points: Sequence[tuple[str, float]]) -> Iterator[tuple[str, int]]:
    """Yield the operating points among a budget's places, with the place of each."""
    power = budget.states.electrical_power[:, 0]
    for text, wanted in points:
        place = int(np.argmin(np.abs(power - wanted)))
        if abs(power[place] / wanted - 1) < 1e-9:
            yield text, place


def with_width(row: FloatArray, coverage: float) -> str:
    """Return the value and half-width of one row (best estimate, then trials) as they are printed."""
    low, high = coverage_interval(row[1:], coverage)
    return " ± ".join(rounded(float(row[0]), float(high - low) / 2))


def _signed(row: FloatArray, coverage: float) -> str:
    words = with_width(row, coverage)
    return words if words.startswith("-") else f"+{words}"


def _percent(coverage: float) -> str:
    return f"{100 * coverage:g} %"
