"""What a comparison adds to results.json: differences, ranks, pairs, batches, as plain data in the results' units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.nomenclature import term

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from benchproof.findings.batches import Drift
    from benchproof.findings.differences import Difference
    from benchproof.findings.entrants import Entrant
    from benchproof.findings.pairs import Pair
    from benchproof.findings.rankings import Ranking

_DIFFERENCE: Final = ("campaign", "than", "name", "at", "unit", "difference", "interval", "ratio", "ratio_interval")
_EFFECT: Final = ("attribute", "values", "pairs", "groups", "figures")
_RANKING: Final = ("name", "at", "less_is_better", "places")
_PLACE: Final = ("campaign", "place", "probability_of_best", "ranks", "tied_with")


def difference_entry(found: Difference, coverage: float) -> dict[str, Any]:
    """Return a difference as plain data; its values are null where it is refused, with the reason."""
    of = term(found.name)
    apart, ratio = found.difference, found.ratio
    return {
        "campaign": found.campaign,
        "than": found.than,
        "name": found.name,
        "at": dict(found.at),
        "unit": of.unit,
        "difference": None if apart is None else of.from_si(apart.value),
        "interval": None if apart is None else [of.from_si(end) for end in apart.interval(coverage)],
        "ratio": None if ratio is None else ratio.value,
        "ratio_interval": None if ratio is None else list(ratio.interval(coverage)),
        "flags": list(found.flags),
        "reason": found.reason,
    }


def ranking_entry(ranking: Ranking) -> dict[str, Any]:
    """Return a ranking as plain data."""
    return {
        "name": ranking.name,
        "at": dict(ranking.at),
        "less_is_better": ranking.less_is_better,
        "places": [
            {
                "campaign": each.name,
                "place": each.place,
                "probability_of_best": each.best,
                "ranks": list(each.ranks),
                "tied_with": list(each.tied),
            }
            for each in ranking.places
        ],
    }


def pair_entry(pair: Pair) -> dict[str, Any]:
    """Return a pair of designs as plain data; what differs, and whether it isolates one attribute."""
    return {
        "campaigns": [pair.one, pair.other],
        "differs": [{"attribute": c.attribute, "values": [c.one, c.other]} for c in pair.changes],
        "controlled": pair.controlled,
    }


def drift_entry(old: Entrant, new: Entrant, drift: Drift, coverage: float) -> dict[str, Any]:
    """Return a batch's drift as plain data."""
    return {
        "campaign": new.name,
        "than": old.name,
        "name": drift.name,
        "at": dict(drift.at),
        "ratio": drift.effect.value,
        "ratio_interval": list(drift.effect.interval(coverage)),
        "golden": list(drift.golden),
        "drift": drift.shown,
    }


def comparison_in_order(record: Mapping[str, Any]) -> dict[str, Any]:
    """Return a comparison's part of results.json with its keys in a fixed order, which a notebook does not keep."""
    return {
        "campaigns": list(record["campaigns"]),
        "differences": [_keyed(each, _DIFFERENCE) for each in record["differences"]],
        "rankings": [
            {**_keyed(each, _RANKING), "places": [_keyed(place, _PLACE) for place in each["places"]]}
            for each in record["rankings"]
        ],
        "pairs": [_keyed(each, ("campaigns", "differs", "controlled")) for each in record["pairs"]],
        **({"effects": [_keyed(each, _EFFECT) for each in record["effects"]]} if "effects" in record else {}),
        "batches": [_keyed(each, _DIFFERENCE) for each in record["batches"]],
    }


def _keyed(record: Mapping[str, Any], first: Iterable[str]) -> dict[str, Any]:
    names = tuple(first)
    return {key: record[key] for key in (*names, *sorted(set(record) - set(names))) if key in record}
