"""What the archive adds to a campaign's results.json: models with a pooled spread, that spread, effects of design.

None of it comes out of the campaign's notebook alone, so it is told apart from what does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchproof.findings.spread import POOLED, Spread, place_of
from benchproof.methods.records import Figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.findings.spread import Place

    Entry = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class FromArchive:
    """What the archive adds to results.json.

    Parameters
    ----------
    models : tuple of Mapping
        Entries of ``quantities`` that stand in the place of the notebook's own: with the archive's spread of pieces.
    spreads : tuple of Mapping
        ``pooled_spreads``: the spread behind each of them.
    effects : tuple of Mapping
        ``effects`` of a comparison: changes of design over all pairs of the archive that isolate them.
    """

    models: tuple[Entry, ...] = ()
    spreads: tuple[Entry, ...] = ()
    effects: tuple[Entry, ...] = ()

    @classmethod
    def of(cls, results: Mapping[str, Any]) -> FromArchive:
        """Return what the archive added to a results.json."""
        return cls(
            tuple(entry for entry in results.get("quantities", ()) if is_pooled_model(entry)),
            tuple(results.get("pooled_spreads", ())),
            tuple((results.get("comparison") or {}).get("effects", ())),
        )

    def into(self, results: Mapping[str, Any]) -> dict[str, Any]:
        """Return a notebook's results.json with what the archive adds."""
        found = dict(results)
        if self.models:
            models = {_key(entry): entry for entry in self.models}
            entries = found["quantities"]
            found["quantities"] = [
                models.get(_key(each), each) if each["sample"] is None and "campaign" not in each else each
                for each in entries
            ]
            found["pooled_spreads"] = [dict(each) for each in self.spreads]
        if self.effects:
            found["comparison"] = {**found["comparison"], "effects": [dict(each) for each in self.effects]}
        return found


def spread_record(entry: Entry, spread: Spread) -> dict[str, Any]:
    """Return the spread behind a model's entry as plain data: a relative standard deviation and where it is from."""
    return {
        "name": entry["name"],
        "at": dict(entry["at"]),
        "spread": spread.standard,
        "degrees_of_freedom": spread.degrees,
        "campaigns": spread.campaigns,
        "samples": spread.pieces,
    }


def spreads_of(records: tuple[Entry, ...]) -> dict[Place, Spread]:
    """Return the spreads of a results.json by the figures they belong to."""
    return {
        place_of(Figure(each["name"], each["at"], None, None, "")): Spread(
            each["spread"], each["degrees_of_freedom"], each["campaigns"]
        )
        for each in records
    }


def is_pooled_model(entry: Entry) -> bool:
    """Return whether an entry of a motor's results.json rests on the archive's spread of pieces."""
    return entry["sample"] is None and entry.get("campaign") is None and POOLED in entry["flags"]


def _key(entry: Entry) -> tuple[str, tuple[tuple[str, str], ...]]:
    return entry["name"], tuple(sorted(entry["at"].items()))
