"""What a reader would see changed between two states of a report: printed figures, verdicts, words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from benchproof.findings.causes import all_causes
from benchproof.findings.moves import flips
from benchproof.report.printing import print_figure
from benchproof.report.words import flag_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from benchproof.findings.moves import Flip
    from benchproof.report.records import Figure
    from benchproof.report.revision import Content

_MADE_BY: Final = ("method", "choice")


@dataclass(frozen=True, slots=True)
class Pair:
    """A figure before and now, at least one of them there."""

    old: Figure | None
    new: Figure | None

    @property
    def figure(self) -> Figure:
        """The figure now, or as it last was."""
        found = self.new or self.old
        if found is None:
            message = "a pair of nothing"
            raise ValueError(message)
        return found


@dataclass(frozen=True, slots=True)
class Changes:
    """What differs between two states of a report.

    Parameters
    ----------
    pairs : tuple of Pair
        Figures printed otherwise, in the order of results.json.
    flips : tuple of Flip
        Verdicts, and the order of a comparison's motors.
    compared : bool
        Whether the text's comparisons with other campaigns read otherwise.
    archive : bool
        Whether what is told with the whole archive reads otherwise.
    words : tuple of str
        Parts of the words, by their keys.
    made_by : tuple of str
        Methods with another version and choices that differ, as sentences' ends.
    setup : bool
        Whether the bench is described otherwise; no revision on its own.
    """

    pairs: tuple[Pair, ...] = ()
    flips: tuple[Flip, ...] = ()
    compared: bool = False
    archive: bool = False
    words: tuple[str, ...] = ()
    made_by: tuple[str, ...] = ()
    setup: bool = False

    def __bool__(self) -> bool:
        """Return whether there is anything a revision is owed for."""
        return bool(self.pairs or self.flips or self.compared or self.archive or self.words or self.made_by)


def changes(old: Content, new: Content) -> Changes:
    """Return what differs between a report as it was and as it is.

    Figures are held against each other as they are printed, which is what two machines promise to agree in; a method's
    version and the choices count too, because they are printed beside every figure.
    """
    return Changes(
        pairs=tuple(_pairs(old.quantities, new.quantities)),
        flips=(*flips(old.verdicts(), new.verdicts()), *flips(old.orders(), new.orders())),
        compared=None not in (old.compared, new.compared) and old.compared != new.compared,
        archive=old.archive != new.archive,
        words=tuple(key for key in dict.fromkeys((*new.words, *old.words)) if old.words.get(key) != new.words.get(key)),
        made_by=tuple(cause.what for cause in all_causes(old.origin, new.origin) if cause.kind in _MADE_BY),
        setup=old.setup != new.setup,
    )


def printed(figure: Figure | None) -> str:
    """Return a figure as history prints it: in words, with the flags that a reader must know."""
    if figure is None:
        return "not there"
    text = print_figure(figure).text
    if figure.value is None:
        return text
    return "; ".join([text, *(flag_words(flag) for flag in figure.flags if flag.startswith("withheld"))])


def _pairs(old: Iterable[Figure], new: Iterable[Figure]) -> Iterable[Pair]:
    before = {_key(figure): figure for figure in old}
    after = {_key(figure): figure for figure in new}
    for key in (*after, *(key for key in before if key not in after)):
        pair = Pair(before.get(key), after.get(key))
        if _shown(pair.old) != _shown(pair.new):
            yield pair


def _key(figure: Figure) -> tuple[str, tuple[tuple[str, str], ...], str | None, str | None]:
    return figure.name, tuple(figure.at.items()), figure.sample, figure.campaign


def _shown(figure: Figure | None) -> tuple[str, tuple[str, ...]]:
    return ("", ()) if figure is None else (print_figure(figure).text, tuple(sorted(figure.flags)))
