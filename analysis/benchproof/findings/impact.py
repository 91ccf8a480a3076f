"""What a changed method, choice, calibration or file would move over the archive: plain records, ready to be told."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

from benchproof.findings.causes import all_causes, causes, spread_key

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from benchproof.findings.bridging import Bridge
    from benchproof.findings.causes import Cause, Origin
    from benchproof.findings.moves import Flip, Move, Swap

State = Literal["moved", "noise", "same", "draft", "withdrawn", "failed"]


@dataclass(frozen=True, slots=True)
class Group:
    """Figures of one campaign that moved for the same reason.

    Parameters
    ----------
    causes : tuple of Cause
        What changed under them.
    moves : tuple of Move
        Largest first.
    """

    causes: tuple[Cause, ...]
    moves: tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class CampaignImpact:
    """One campaign against its last published revision.

    Parameters
    ----------
    campaign : str
        The campaign.
    state : State
        ``moved``; ``noise``: by no more than other draws would; ``same``; ``draft``: never published; ``withdrawn``;
        ``failed``: see problems.
    revision : int or None
        Number of the revision it is held against.
    date : str
        Its day.
    flips : tuple of Flip
        Verdicts that changed.
    flip_causes : tuple of Cause
        Everything that changed under the campaign.
    groups : tuple of Group
        Figures that moved, by what moved them.
    noise : int
        How many figures moved by no more than trial noise.
    figures : int
        How many figures there are.
    problems : tuple of str
        What went wrong, a line each.
    """

    campaign: str
    state: State
    revision: int | None = None
    date: str = ""
    flips: tuple[Flip, ...] = ()
    flip_causes: tuple[Cause, ...] = ()
    groups: tuple[Group, ...] = ()
    noise: int = 0
    figures: int = 0
    problems: tuple[str, ...] = ()

    @property
    def moves(self) -> tuple[Move, ...]:
        """All figures that moved."""
        return tuple(move for group in self.groups for move in group.moves)

    def record(self) -> dict[str, Any]:
        """Return it as plain data for ``--json``, verdicts first."""
        return {
            "campaign": self.campaign,
            "state": self.state,
            "revision": self.revision,
            "date": self.date,
            "verdicts": [asdict(flip) for flip in self.flips],
            "groups": [
                {"causes": [_cause(each) for each in group.causes], "figures": [_figure(m) for m in group.moves]}
                for group in self.groups
            ],
            "within_noise": self.noise,
            "figures": self.figures,
            "problems": list(self.problems),
        }


@dataclass(frozen=True, slots=True)
class Impact:
    """What would move over the archive.

    Parameters
    ----------
    campaigns : tuple of CampaignImpact
        By name.
    swaps : tuple of Swap
        Pairs of campaigns that changed places.
    bridges : tuple of Bridge
        What each new method version makes of each quantity.
    trials : int
        Number of trials.
    """

    campaigns: tuple[CampaignImpact, ...]
    swaps: tuple[Swap, ...]
    bridges: tuple[Bridge, ...]
    trials: int

    @property
    def by_cause(self) -> tuple[tuple[tuple[Cause, ...], tuple[tuple[str, Move], ...]], ...]:
        """Every move over the archive with its campaign, by what moved it; the weightiest group first."""
        found: dict[tuple[Cause, ...], list[tuple[str, Move]]] = {}
        for each in self.campaigns:
            for group in each.groups:
                found.setdefault(_general(group.causes), []).extend((each.campaign, move) for move in group.moves)
        for listed in found.values():
            listed.sort(key=lambda pair: (-pair[1].weight, pair[0]))
        return tuple(
            (key, tuple(listed)) for key, listed in sorted(found.items(), key=lambda item: (-len(item[1]), item[0]))
        )

    def record(self) -> dict[str, Any]:
        """Return it as plain data for ``--json``: what flipped first."""
        return {
            "verdicts": [{"campaign": each.campaign, **asdict(flip)} for each in self.campaigns for flip in each.flips],
            "ranks": [asdict(swap) | {"at": dict(swap.at)} for swap in self.swaps],
            "bridging": [asdict(bridge) for bridge in self.bridges],
            "campaigns": [each.record() for each in self.campaigns],
            "trials": self.trials,
        }


def grouped(moves: Iterable[Move], old: Origin, new: Origin) -> tuple[Group, ...]:
    """Return moves by what changed under them, the weightiest first in each."""
    found: dict[tuple[Cause, ...], list[Move]] = {}
    for move in moves:
        entry = move.new or move.old or {}
        spread = spread_key(move.name, move.at) if move.sample is None else ""
        found.setdefault(causes(old, new, str(entry.get("method", "")), spread), []).append(move)
    return tuple(Group(key, tuple(listed)) for key, listed in found.items())


def compared(
    campaign: str,
    found: Iterable[Move],
    flipped: tuple[Flip, ...],
    origins: tuple[Origin, Origin],
    against: Mapping[str, Any],
) -> CampaignImpact:
    """Return one campaign's impact from its moves and flips.

    Parameters
    ----------
    campaign : str
        The campaign.
    found : iterable of Move
        Noise included.
    flipped : tuple of Flip
        Verdicts that changed.
    origins : (Origin, Origin)
        What was recorded, and what is there now.
    against : Mapping
        ``revision``, ``date`` and ``figures``.
    """
    moves = tuple(found)
    real = [move for move in moves if move.kind != "noise"]
    state: State = "moved" if real or flipped else "noise" if moves else "same"
    groups = grouped(real, *origins)
    return CampaignImpact(
        campaign,
        state,
        flips=flipped,
        flip_causes=all_causes(*origins) if flipped else (),
        groups=groups,
        noise=len(moves) - len(real),
        **against,
    )


def _general(causes: tuple[Cause, ...]) -> tuple[Cause, ...]:
    """Return causes without what belongs to one campaign alone, so that campaigns come together."""
    return tuple(dict.fromkeys(cause.general for cause in causes))


def _cause(cause: Cause) -> dict[str, str]:
    return {"kind": cause.kind, "what": cause.what}


def _figure(move: Move) -> dict[str, Any]:
    return {
        "name": move.name,
        "at": dict(move.at),
        "sample": move.sample,
        "unit": move.unit,
        "kind": move.kind,
        "old": None if move.old is None else move.old["value"],
        "new": None if move.new is None else move.new["value"],
        "old_interval": None if move.old is None else move.old["interval"],
        "new_interval": None if move.new is None else move.new["interval"],
        "change": move.change,
        "percent": move.percent,
        "in_uncertainties": move.in_uncertainties,
        "widened_percent": move.widened_percent,
    }
