"""What a change of design does over the whole archive, printed beside what one comparison's pair shows."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

from benchproof.findings.wording import ratio_words, title_words
from benchproof.report.views import TableColumn, TableRow

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from benchproof.report.views import TableView

    Effect = Mapping[str, Any]

_LISTED: Final = 8
"""Pairs that a caption names; a phone has room for few, and results.json names all."""


def beside_pairs(results: Mapping[str, Any]) -> dict[str, Effect]:
    """Return the archive's effect of each change by the name of the table of the pair that shows it.

    An effect is turned the way round of the pair it stands beside.
    """
    compared = results.get("comparison") or {}
    effects = {(each["attribute"], tuple(each["values"])): each for each in compared.get("effects", ())}
    found: dict[str, Effect] = {}
    for number, pair in enumerate(compared.get("pairs", ()), 1):
        if pair["controlled"]:
            change = pair["differs"][0]
            key = (change["attribute"], tuple(change["values"]))
            turned = (key[0], key[1][::-1])
            if key in effects:
                found[f"pair-{number}"] = effects[key]
            elif turned in effects:
                found[f"pair-{number}"] = _turned(effects[turned])
    return found


def _turned(effect: Effect) -> Effect:
    """Return an effect with its two values in the other order."""
    figures = [
        {
            **each,
            "groups": [[others, ones] for ones, others in each["groups"]],
            "ratio": 1 / each["ratio"],
            "ratio_interval": [1 / end for end in reversed(each["ratio_interval"])],
            "lowest": 1 / each["highest"],
            "highest": 1 / each["lowest"],
        }
        for each in effect["figures"]
    ]
    groups = [[others, ones] for ones, others in effect["groups"]]
    return {**effect, "values": list(reversed(effect["values"])), "groups": groups, "figures": figures}


def with_archive(table: TableView, effect: Effect | None) -> TableView:
    """Return a pair's table with the archive's effect beside its own, and the pairs it is from in its caption."""
    if effect is None:
        return table
    if effect["pairs"] < 2:
        alone = "Over the archive no other pair isolates this change."
        return replace(table, caption=f"{table.caption} {alone}")
    cells = {title_words(each["name"], each["at"]): _cell(each) for each in effect["figures"]}
    column = TableColumn("Over the archive", "", numeric=True)
    rows = tuple(TableRow((*row.cells, (column, cells.get(row.cells[0][1], "")))) for row in table.rows)
    caption = f"{table.caption} {' '.join(_said(effect))}"
    return replace(table, caption=caption, columns=(*table.columns, column), rows=rows)


def _cell(figure: Effect) -> str:
    count = "1 pair" if figure["pairs"] == 1 else f"{figure['pairs']} pairs"
    return f"{ratio_words(figure['ratio'], figure['ratio_interval'])}, {count}"


def _said(effect: Effect) -> Iterator[str]:
    """Yield what stands behind the column, in sentences."""
    first, second = effect["values"]
    yield (
        f"Over the archive: {effect['pairs']} pairs isolate this change; the effect is pooled over them on the "
        "logarithmic scale, every campaign counted once, and its interval also holds what the pairs scatter by."
    )
    pairs = ((one, other) for ones, others in effect["groups"] for one in ones for other in others)
    named = "; ".join(f"{one} against {other}" for one, other in islice(pairs, _LISTED))
    more = f" and {effect['pairs'] - _LISTED} more" if effect["pairs"] > _LISTED else ""
    yield f"They are, {first} against {second}: {named}{more}."
    if effect["pairs_of_two_makers"]:
        yield f"In {effect['pairs_of_two_makers']} of them makers differ, and with them what nobody declares."
    if effect["pairs_of_two_drives"]:
        yield f"In {effect['pairs_of_two_drives']} of them the drive differs."


def effect_words(results: Mapping[str, Any]) -> dict[str, str]:
    """Return what the page prints of the archive's effects, by figure: what a revision keeps of them."""
    found = {}
    for effect in (results.get("comparison") or {}).get("effects", ()):
        change = f"{effect['attribute']}: {effect['values'][0]} against {effect['values'][1]}"
        for each in effect["figures"]:
            found[f"{change}, {title_words(each['name'], each['at'])}"] = _cell(each)
    return found
