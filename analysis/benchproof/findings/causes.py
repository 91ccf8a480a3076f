"""Why a figure is not what it was: what it came from, recorded then and found now, held side by side."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

Kind = Literal[
    "method", "choice", "calibration", "rig", "lab", "campaign", "log", "other", "spread", "software", "unknown"
]

KINDS: Final = (
    "method",
    "choice",
    "calibration",
    "rig",
    "lab",
    "campaign",
    "log",
    "other",
    "spread",
    "software",
    "unknown",
)
"""Kinds of cause in the order they are told."""


@dataclass(frozen=True, slots=True)
class Origin:
    """What a campaign's figures came from.

    Parameters
    ----------
    methods : Mapping of str to str
        Version of each method.
    choices : Mapping of str to Mapping
        Choices in force, by method and name.
    software : Mapping of str to str
        Versions.
    inputs : Mapping of str to str
        Digest of each input file by its path.
    measured : str
        Digest of what the campaign file says of specimen and tests, apart from words and choices.
    spreads : Mapping of str to str
        The archive's spread of pieces behind each model figure, in words, by :func:`spread_key`.
    """

    methods: Mapping[str, str]
    choices: Mapping[str, Mapping[str, Any]]
    software: Mapping[str, Any]
    inputs: Mapping[str, str]
    measured: str
    spreads: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, order=True)
class Cause:
    """One thing that changed under a figure.

    Parameters
    ----------
    place : int
        Its kind's place in the telling.
    kind : str
        ``method``, ``choice``, ``calibration``, ``rig``, ``lab``, ``campaign``, ``log``, ``other``, ``spread``,
        ``software``, or ``unknown`` where nothing that is recorded changed.
    what : str
        What changed, and from what to what.
    """

    place: int
    kind: Kind
    what: str

    @classmethod
    def of(cls, kind: Kind, what: str) -> Cause:
        """Return a cause with its place."""
        return cls(KINDS.index(kind), kind, what)

    @property
    def general(self) -> Cause:
        """The cause without the file of the one campaign it is about, so that campaigns can be told of together."""
        if self.kind not in _OF_ONE_CAMPAIGN:
            return self
        return Cause(self.place, self.kind, _OF_ONE_CAMPAIGN[self.kind])


_OF_ONE_CAMPAIGN: Final = {
    "campaign": "what the campaign file says of specimen or tests",
    "log": "raw logs",
    "other": "other files of the campaign",
}

_SPREAD: Final = "the archive's spread of pieces"

NOTHING_RECORDED: Final = Cause.of(
    "unknown", "nothing that is recorded: a method or a library changed without a new version"
)
"""Where a figure moved and all that is recorded stayed: worth looking into before it is published."""


def causes(old: Origin, new: Origin, method: str, spread: str = "") -> tuple[Cause, ...]:
    """Return what changed that a figure of one method hangs on.

    Parameters
    ----------
    old, new : Origin
        What was recorded, and what is there now.
    method : str
        The figure's method, ``key/version`` or its key.
    spread : str
        For a figure of the model, its :func:`spread_key`.

    Returns
    -------
    tuple of Cause
        Versions and choices of this method alone; files and software that all figures share. Several causes at once
        cannot be told apart from their result, so they are named together.
    """
    key = method.partition("/")[0]
    found = [*_method(old, new, key), *_choices(old, new, key), *_files(old, new), *_software(old, new)]
    was, now = old.spreads.get(spread), new.spreads.get(spread)
    if was != now:
        found.append(Cause.of("spread", f"{_SPREAD}, {spread}: {_said(was)} to {_said(now)}"))
    return tuple(sorted(found)) or (NOTHING_RECORDED,)


def all_causes(old: Origin, new: Origin) -> tuple[Cause, ...]:
    """Return everything that changed under a campaign; empty if nothing recorded did."""
    keys = dict.fromkeys((*old.methods, *new.methods))
    found = [cause for key in keys for cause in (*_method(old, new, key), *_choices(old, new, key))]
    if old.spreads != new.spreads:
        found.append(Cause.of("spread", _SPREAD))
    return tuple(sorted({*found, *_files(old, new), *_software(old, new)}))


def spread_key(name: str, at: Mapping[str, str]) -> str:
    """Return what tells one model figure's spread of pieces from another's.

    Examples
    --------
    >>> spread_key("thrust", {"electrical_power": "200 W"})
    'thrust at electrical_power 200 W'
    """
    place = ", ".join(f"{key} {value}" for key, value in at.items())
    return f"{name} at {place}" if place else name


def _method(old: Origin, new: Origin, key: str) -> Iterator[Cause]:
    was, now = old.methods.get(key), new.methods.get(key)
    if was != now:
        yield Cause.of("method", f"{key} {_said(was)} to {_said(now)}")


def _choices(old: Origin, new: Origin, key: str) -> Iterator[Cause]:
    was, now = old.choices.get(key, {}), new.choices.get(key, {})
    for name in dict.fromkeys((*was, *now)):
        if was.get(name) != now.get(name):
            yield Cause.of("choice", f"{name} of {key}: {_said(was.get(name))} to {_said(now.get(name))}")


def _files(old: Origin, new: Origin) -> Iterator[Cause]:
    for path in dict.fromkeys((*old.inputs, *new.inputs)):
        was, now = old.inputs.get(path), new.inputs.get(path)
        if was == now:
            continue
        kind = kind_of_file(path)
        if kind == "campaign" and old.measured == new.measured:
            continue  # words or choices; a choice is named as such
        verb = "changed" if was and now else "added" if now else "taken out"
        yield Cause.of(kind, f"{path} {verb}")


def _software(old: Origin, new: Origin) -> Iterator[Cause]:
    for name in dict.fromkeys((*old.software, *new.software)):
        was, now = old.software.get(name), new.software.get(name)
        if was != now:
            yield Cause.of("software", f"{name} {_said(was)} to {_said(now)}")


def kind_of_file(path: str) -> Kind:
    """Return what kind of input a file is.

    Examples
    --------
    >>> kind_of_file("runs/rigs/north/calibration/cell.csv"), kind_of_file("runs/2026-03-tansy/raw/a1.csv")
    ('calibration', 'log')
    """
    if path == "runs/lab.yaml":
        return "lab"
    if path.startswith("runs/rigs/"):
        return "calibration" if "/calibration/" in path else "rig"
    if path.endswith("/campaign.yaml"):
        return "campaign"
    return "log" if "/raw/" in path else "other"


def _said(value: object) -> str:
    return "none" if value is None else str(value)
