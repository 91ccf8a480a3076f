"""What a figure costs: each motor's figures against its price on the day it was seen.

Currencies are never mixed: prices in one currency stand together, the others apart. No weighted score is made; the
chart shows which motors no other beats in both price and figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from benchproof.findings.wording import shown_unit, spread_words
from benchproof.methods.records import Axis, Chart, Column, Series, Table
from benchproof.nomenclature import term
from benchproof.trials.quantity import Quantity, combine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.findings.entrants import Entrant, Settle
    from benchproof.methods.records import Figure

PER_PRICE: Final = frozenset({"thrust", "peak_torque", "continuous_current", "capacity", "energy"})
"""Figures of which one may buy more: half the price for half of it would be as good."""

CHANNELS: Final = {"direct": "direct from the maker", "retail": "in a shop"}


@dataclass(frozen=True, slots=True)
class Offer:
    """A motor's price as it was seen.

    Parameters
    ----------
    campaign, label : str
        The campaign and the model's name.
    amount, shipping : float
        Price and shipping in its currency; shipping is 0 where none is stated.
    currency, channel, seen : str
        ISO 4217 code, direct or retail, the day.
    margin : float or None
        Share of the price that stays with the shop, where the lab states it.
    """

    campaign: str
    label: str
    amount: float
    shipping: float
    currency: str
    channel: str
    seen: str
    margin: float | None

    @property
    def total(self) -> float:
        """What one costs with shipping."""
        return self.amount + self.shipping

    @property
    def without_margin(self) -> float | None:
        """What is left of the price without the shop's share and shipping; None where no margin is stated."""
        return None if self.margin is None else self.amount * (1 - self.margin)


def offer(entrant: Entrant) -> Offer | None:
    """Return the price of a campaign's motor; None where none was seen."""
    price = entrant.specimen.price
    if price is None:
        return None
    margin = price.margin.si if price.margin is not None else None
    shipping, seen = price.shipping or 0.0, price.seen.isoformat()
    return Offer(entrant.name, entrant.label, price.amount, shipping, price.currency, price.channel, seen, margin)


def per_price(quantity: Quantity, price: Offer) -> Quantity:
    """Return a figure per unit of money, shipping included."""
    return combine(lambda q: q / price.total, quantity)


def front(prices: Sequence[float], worths: Sequence[float], *, less_is_better: bool = False) -> tuple[int, ...]:
    """Return which points no other beats: none is as cheap and as good, and better in one of the two.

    Parameters
    ----------
    prices, worths : sequence of float
        One a motor.
    less_is_better : bool
        Which end of the worth is good.
    """
    sign = -1.0 if less_is_better else 1.0
    points = [(price, -sign * worth) for price, worth in zip(prices, worths, strict=True)]
    kept = (
        k for k, one in enumerate(points) if not any(o != one and o[0] <= one[0] and o[1] <= one[1] for o in points)
    )
    return tuple(sorted(kept, key=lambda k: prices[k]))


def by_currency(entrants: Sequence[Entrant]) -> dict[str, list[tuple[Entrant, Offer]]]:
    """Return the motors with a price, apart by currency."""
    groups: dict[str, list[tuple[Entrant, Offer]]] = {}
    for entrant in entrants:
        if (price := offer(entrant)) is not None and price.total > 0:
            groups.setdefault(price.currency, []).append((entrant, price))
    return groups


def value_tables(entrants: Sequence[Entrant], chosen: Sequence[Figure], settle: Settle, coverage: float) -> list[Table]:
    """Return a table of prices and figures per price for each currency.

    Parameters
    ----------
    entrants : sequence of Entrant
        The campaigns.
    chosen : sequence of Figure
        What to divide by the price: name and operating point.
    settle : callable
        Gives a model's quantity.
    coverage : float
        Of the intervals.
    """
    groups = by_currency(entrants)
    return [
        _value_table(code, group, chosen, settle, coverage, alone=len(groups) == 1) for code, group in groups.items()
    ]


def _value_table(
    currency: str,
    group: Sequence[tuple[Entrant, Offer]],
    chosen: Sequence[Figure],
    settle: Settle,
    coverage: float,
    *,
    alone: bool,
) -> Table:
    apart = "" if alone else " Prices in other currencies stand in a table of their own: no rate is assumed."
    columns = [
        Column("Motor", align="left"),
        Column("Price", currency),
        Column("Shipping", currency),
        Column("Sold", align="left"),
        Column("Seen", align="left"),
    ]
    if any(price.margin is not None for _, price in group):
        columns.append(Column("Without the shop's margin", currency))
    columns += [_per_price_column(figure, currency) for figure in chosen]
    return Table(
        name=f"value-{currency}",
        title=f"Value for money, {currency}",
        caption=(
            "Figures per price, shipping of one piece included, at the price seen on the day stated. Prices change; "
            f"figures do not.{apart}"
        ),
        columns=tuple(columns),
        rows=tuple(
            _value_row(pair, chosen, settle, coverage, margins=len(columns) > 5 + len(chosen)) for pair in group
        ),
    )


def _per_price_column(figure: Figure, currency: str) -> Column:
    unit, _ = shown_unit(figure.name)
    where = ", ".join(figure.at.values())
    return Column(f"{term(figure.name).title}{f' at {where}' if where else ''} per price", f"{unit}/{currency}")


def _value_row(
    pair: tuple[Entrant, Offer], chosen: Sequence[Figure], settle: Settle, coverage: float, *, margins: bool
) -> tuple[str, ...]:
    entrant, price = pair
    cells = [
        entrant.label,
        f"{price.amount:.2f}",
        f"{price.shipping:.2f}" if price.shipping else "none stated",
        CHANNELS[price.channel],
        price.seen,
    ]
    if margins:
        left = price.without_margin
        cells.append("not stated" if left is None else f"{left:.2f}")
    for figure in chosen:
        found = next(iter(entrant.of(figure.name, figure.at)), None)
        quantity = settle(entrant, found) if found is not None else None
        _, per_unit = shown_unit(figure.name)
        cells.append(spread_words(per_price(quantity, price), "", per_unit, coverage) if quantity else "not tested")
    return tuple(cells)


def pareto_chart(
    entrants: Sequence[Entrant], chosen: Figure, settle: Settle, coverage: float, currency: str, *, less: bool
) -> Chart | None:
    """Return the chart of a figure against the price, with the motors that no other beats; None with fewer than two."""
    points = []
    for entrant, price in by_currency(entrants).get(currency, ()):
        figure = next(iter(entrant.of(chosen.name, chosen.at)), None)
        quantity = settle(entrant, figure) if figure is not None else None
        if quantity is not None:
            points.append((entrant, price, quantity))
    if len(points) < 2:
        return None
    of = term(chosen.name)
    best = front([p.total for _, p, _ in points], [q.value for _, _, q in points], less_is_better=less)
    shown = [_point(entrant, price, quantity, chosen.name, coverage) for entrant, price, quantity in points]
    line = Series(
        "No other is cheaper and better",
        None,
        "line",
        tuple(points[k][1].total for k in best),
        tuple(of.from_si(points[k][2].value) for k in best),
    )
    where = ", ".join(chosen.at.values())
    return Chart(
        name=f"value_{chosen.name}_{currency}",
        title=f"{of.title}{f' at {where}' if where else ''} against price",
        caption=(
            f"Price of one with shipping, each on the day it was seen ({_days(points)}). "
            f"{'Lower' if less else 'Higher'} and further left is better; the line joins the motors that no other "
            "beats in both. Bars are coverage intervals."
        ),
        x=Axis("price", "Price with shipping", currency),
        y=Axis.of(chosen.name),
        series=(*shown, line),
    )


def _point(entrant: Entrant, price: Offer, quantity: Quantity, name: str, coverage: float) -> Series:
    of = term(name)
    low, high = quantity.interval(coverage)
    ends = (of.from_si(quantity.value), of.from_si(low), of.from_si(high))
    return Series(entrant.label, entrant.name, "points", (price.total,), (ends[0],), (ends[1],), (ends[2],))


def _days(points: Sequence[tuple[Entrant, Offer, Quantity]]) -> str:
    days = sorted({price.seen for _, price, _ in points})
    return days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
