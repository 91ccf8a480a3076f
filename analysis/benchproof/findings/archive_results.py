"""What the archive adds to a campaign's results.json: models with a pooled spread, effects of design.

None of it comes out of the campaign's notebook alone, so it is told apart from what does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from benchproof.findings.scatter import POOLED

if TYPE_CHECKING:
    from collections.abc import Mapping

    Entry = Mapping[str, Any]

_SPREAD_OUT: Final = ("standard_uncertainty", "degrees_of_freedom", "interval")


@dataclass(frozen=True, slots=True)
class FromArchive:
    """What the archive adds to results.json.

    Parameters
    ----------
    models : tuple of Mapping
        ``pooled_models``: what a motor's samples tell of the model with the archive's spread of pieces. Where one
        sample alone stands for the model, its entry of ``quantities`` is this one too.
    effects : tuple of Mapping
        ``effects`` of a comparison: changes of design over all pairs of the archive that isolate them.
    """

    models: tuple[Entry, ...] = ()
    effects: tuple[Entry, ...] = ()

    @classmethod
    def of(cls, results: Mapping[str, Any]) -> FromArchive:
        """Return what the archive added to a results.json."""
        effects = (results.get("comparison") or {}).get("effects", ())
        return cls(tuple(results.get("pooled_models", ())), tuple(effects))

    def into(self, results: Mapping[str, Any]) -> dict[str, Any]:
        """Return a notebook's results.json with what the archive adds."""
        found = dict(results)
        if self.models:
            models = {_key(each): each for each in self.models}
            found["quantities"] = [_settled(each, models.get(_key(each))) for each in found["quantities"]]
            found["pooled_models"] = [dict(each) for each in self.models]
        if self.effects:
            found["comparison"] = {**found["comparison"], "effects": [dict(each) for each in self.effects]}
        return found


def _settled(entry: Entry, model: Entry | None) -> Entry:
    """Return a model's entry that one sample stands for with the pooled spread; any other as it is."""
    from benchproof.findings.samples import ONE_SAMPLE  # brings numpy, for which an unchanged build has no use

    if model is None or entry["sample"] is not None or ONE_SAMPLE not in entry["flags"]:
        return entry
    flags = [*(flag for flag in entry["flags"] if flag != ONE_SAMPLE), POOLED]
    return {**entry, **{key: model[key] for key in _SPREAD_OUT}, "flags": flags}


def _key(entry: Entry) -> tuple[str, tuple[tuple[str, str], ...]]:
    return entry["name"], tuple(sorted(entry["at"].items()))
