"""Quotes that look at another campaign or at the label: the words of a difference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchproof.findings.differences import compare, ratio
from benchproof.findings.labels import label_value
from benchproof.trials.quantity import Quantity
from benchproof.trials.rounding import interval_text, rounded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.campaign.quoting import Quote
    from benchproof.findings.entrants import Entrant, Settle

CENTRED = 0.05
"""As for figures: how far off the middle a value may lie for ± to be printed."""


@dataclass(frozen=True, slots=True)
class Comparer:
    """Answers ``{{ quote(…, than=…) }}``.

    Parameters
    ----------
    subject : Entrant
        The campaign whose text it is.
    others : Mapping of str to Entrant
        Campaigns by name.
    settle : callable
        Gives a model's quantity.
    coverage : float
        Of the interval.
    """

    subject: Entrant
    others: Mapping[str, Entrant]
    settle: Settle
    coverage: float

    def __call__(self, quote: Quote) -> str:
        """Return the difference in words: ``3.1 % ± 0.8 % more``, or why there is none in brackets."""
        at = {**quote.at, **({"part": quote.part} if quote.part not in (None, "motor") else {})}
        figure = next(iter(self.subject.of(quote.name, at, quote.sample)), None)
        if figure is None or figure.quantity is None:
            return "(not compared: this figure was not reached)"
        if quote.than == "label":
            stated = label_value(self.subject.specimen, quote.name)
            if stated is None:
                return "(not compared: the label does not state it)"
            return self._words(ratio(figure.quantity, Quantity.exact(stated, figure.quantity.trials.size)))
        other = self.others.get(str(quote.than))
        if other is None:
            return f"(not compared: {quote.than} has no figures yet)"
        found = compare(self.subject, figure, other, self.settle)
        return f"(not compared: {found.reason})" if found.reason else self._words(found.ratio)

    def _words(self, of: Quantity | None) -> str:
        return "(not compared: the other may be zero)" if of is None else more_or_less(of, self.coverage)


def more_or_less(of: Quantity, coverage: float) -> str:
    """Return a ratio as so many per cent more or less.

    Examples
    --------
    A ratio of 0.969 with an interval from 0.961 to 0.977 reads ``3.1 % ± 0.8 % less``.
    """
    word = "more" if of.value >= 1 else "less"
    sign = 1 if of.value >= 1 else -1
    value = 100 * abs(of.value - 1)
    low, high = sorted(sign * 100 * (end - 1) for end in of.interval(coverage))
    half = (high - low) / 2
    if abs((high + low) / 2 - value) <= CENTRED * half:
        number, spread = rounded(value, half)
        return f"{number} % ± {spread} % {word}"
    number, below, above = interval_text(value, low, high)
    return f"{number} % {word} ({below} % to {above} %)"
