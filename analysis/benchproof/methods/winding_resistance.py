"""Resistance of the winding between its three pairs of terminals, at 20 degrees Celsius."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.campaign.models.base import required
from benchproof.errors import Remark
from benchproof.methods.constants.copper import ZERO_CELSIUS, resistance_ratio
from benchproof.methods.constants.repeats import combined
from benchproof.methods.method import Change, Method
from benchproof.methods.records import NO_POINT, Column, Figure, Reduction, Table
from benchproof.methods.sanity import judged
from benchproof.trials.quantity import Quantity, combine, mean
from benchproof.trials.rounding import rounded

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.methods.bench import Bench

METHOD: Final = Method(
    key="winding_resistance",
    version="1.0",
    title="Winding resistance",
    order=20,
    summary=(
        "The resistance between each pair of the three terminals, the leads of the meter taken off, and their mean "
        "referred to 20 degC as copper goes. The three pairs are three different things: what they differ by is shown, "
        "and is no error of their mean; its uncertainty is that of the meter and of the winding's temperature."
    ),
    equations=(
        "R = mean(R_ab, R_bc, R_ca) - R_leads, between two phases",
        "R_20 = R (234.5 + 20) / (234.5 + t), t the temperature of the winding in degC",
        "one phase: R / 2 in wye, 1.5 R in delta",
    ),
    sources=(
        (
            "Resistance of annealed copper against temperature with 234.5 degC: common practice; the factors that IEC "
            "60228:2004 tabulates, read in a secondary source, lie within 0.5 % of it from 5 to 100 degC"
        ),
        "IEC 60034-1 (resistance method; it uses 235) [from memory]",
    ),
    history=(Change("1.0", "First version."),),
)

UNEQUAL: Final = 0.02
"""Pairs further apart than this share of their mean point at a bad joint or a wrong number of turns."""

PHASE_OF: Final[Mapping[str, float]] = {"wye": 0.5, "delta": 1.5}
"""Resistance of one phase over that between two terminals, by connection."""

PAIRS: Final = ("ab", "bc", "ca")


@dataclass(frozen=True, slots=True)
class WindingReading:
    """Readings of the three pairs of one sample, leads taken off.

    Parameters
    ----------
    sample : str
        The sample.
    pairs : tuple of Quantity
        Between two terminals, ohm, at the winding's temperature: ab, bc, ca.
    leads : Quantity or None
        What was subtracted, ohm; None for a four-wire reading.
    temperature : Quantity
        Of the winding, K.
    """

    sample: str
    pairs: tuple[Quantity, ...]
    leads: Quantity | None
    temperature: Quantity

    @property
    def at_20(self) -> Quantity:
        """Mean of the pairs at 20 degC, ohm."""
        return combine(lambda r, t: r / resistance_ratio(t), mean(*self.pairs), self.temperature)

    @property
    def spread(self) -> float:
        """Largest less smallest pair, over their mean."""
        values = [pair.value for pair in self.pairs]
        return float(np.ptp(values) / np.mean(values))


def gather(test: Any, bench: Bench) -> WindingReading:
    """Return the readings of the three pairs.

    Leads of zero are a four-wire reading: nothing is subtracted. A reading of the leads was made on the resistance
    meter, so the meter's offset cancels between it and the pairs.

    Raises
    ------
    InputError
        If the rig has no meter or no thermometer for it.
    """
    leads = _leads(test, bench)
    read = [_resistance(getattr(test.pairs, pair), test, bench, f"pair {pair}") for pair in PAIRS]
    pairs = tuple(read if leads is None else (combine(np.subtract, pair, leads) for pair in read))
    temperature = bench.read(
        "temperature", test.winding_temperature, test, "winding temperature", "winding_temperature"
    )
    return WindingReading(test.sample, pairs, leads, temperature)


def _leads(test: Any, bench: Bench) -> Quantity | None:
    written = test.leads
    if written is None or not getattr(written, "value", written).si:
        return None
    return _resistance(written, test, bench, "leads")


def _resistance(written: Any, test: Any, bench: Bench, key: str) -> Quantity:
    return bench.read("resistance", written, test, key, "resistance")


def reduce(inputs: Sequence[WindingReading], bench: Bench) -> Reduction:
    """Return the resistance of each sample at 20 degC, repeats combined.

    Parameters
    ----------
    inputs : sequence of WindingReading
        The readings that count.
    bench : Bench
        For coverage and the connection.

    Returns
    -------
    Reduction
        ``winding_resistance_20c``; a table of the pairs.
    """
    figures, remarks = figures_of(inputs, bench)
    return Reduction(figures, tables=(_table(inputs, bench),), remarks=(*_unequal(inputs), *remarks))


def figures_of(inputs: Sequence[WindingReading], _: Bench) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return the figures alone, and remarks on them; see :func:`reduce`."""
    figures: list[Figure] = []
    remarks: list[Remark] = []
    for sample in dict.fromkeys(each.sample for each in inputs):
        repeats = [each.at_20 for each in inputs if each.sample == sample]
        quantity, found = combined("winding resistance", sample, repeats)
        figures.append(Figure("winding_resistance_20c", NO_POINT, sample, quantity, METHOD.label))
        remarks.extend(found)
    kept, unusual = judged(figures)
    return kept, (*remarks, *unusual)


def _unequal(inputs: Sequence[WindingReading]) -> Iterator[Remark]:
    for each in inputs:
        if each.spread > UNEQUAL:
            sentence = (
                f"the three pairs differ by {each.spread:.1%} of their mean, more than {UNEQUAL:.0%}: "
                "a bad joint, a wrong number of turns, or a contact of the meter"
            )
            yield Remark("pairs_unequal", f"sample {each.sample}", sentence)


def _table(inputs: Sequence[WindingReading], bench: Bench) -> Table:
    connection = required(bench.campaign.specimen).connection
    known = f"connected in {connection}" if connection else "of a connection that was not stated"
    return Table(
        name="winding_pairs",
        title="Pairs of terminals",
        caption=(
            f"Resistance between two terminals at the winding's temperature, leads taken off, of a winding {known}; "
            "the mean of the pairs at 20 degC with its interval, and what one phase has of it."
        ),
        columns=(
            Column("Sample", align="left"),
            *(Column(f"Pair {pair}", "mohm") for pair in PAIRS),
            Column("Leads", "mohm"),
            Column("Largest less smallest", "%"),
            Column("Winding", "degC"),
            Column("Mean at 20 degC", "mohm"),
            Column("Half-width", "mohm"),
            Column("One phase at 20 degC", "mohm"),
        ),
        rows=tuple(_row(each, connection, bench.lab.coverage) for each in inputs),
    )


def _row(each: WindingReading, connection: str | None, coverage: float) -> tuple[str, ...]:
    low, high = each.at_20.interval(coverage)
    value, half_width = rounded(each.at_20.value * 1e3, (high - low) / 2 * 1e3)
    phase = "connection not stated"
    if connection:
        share = PHASE_OF[connection]
        phase = rounded(each.at_20.value * share * 1e3, (high - low) / 2 * share * 1e3)[0]
    return (
        each.sample,
        *(f"{pair.value * 1e3:.2f}" for pair in each.pairs),
        "four-wire" if each.leads is None else f"{each.leads.value * 1e3:.2f}",
        f"{100 * each.spread:.2f}",
        f"{each.temperature.value - ZERO_CELSIUS:.1f}",
        value,
        half_width,
        phase,
    )
