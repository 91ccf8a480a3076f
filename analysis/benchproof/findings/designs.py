"""Declared designs of specimens, and what tells two of them apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.campaign.models.campaign import Specimen

NOT_DECLARED: Final = "not declared"


@dataclass(frozen=True, slots=True)
class Change:
    """One attribute of the design that differs: its value in the one and in the other."""

    attribute: str
    one: str
    other: str

    @property
    def words(self) -> str:
        """The change in words."""
        return f"{self.attribute.replace('_', ' ')}: {self.one} against {self.other}"


def isolates(found: Sequence[Change]) -> bool:
    """Return whether exactly one declared attribute differs, and both declare it."""
    return len(found) == 1 and NOT_DECLARED not in (found[0].one, found[0].other)


def attributes(specimen: Specimen) -> dict[str, str]:
    """Return the declared design of a specimen."""
    declared = {key: str(value) for key, value in specimen.design.items()}
    stated = {"pole_pairs": specimen.pole_pairs, "connection": specimen.connection}
    return declared | {key: str(value) for key, value in stated.items() if value is not None}


def changes(one: Mapping[str, str], other: Mapping[str, str]) -> tuple[Change, ...]:
    """Return every attribute in which two designs differ; one that is not declared may differ, so it counts."""
    names = dict.fromkeys((*one, *other))
    found = (Change(name, one.get(name, NOT_DECLARED), other.get(name, NOT_DECLARED)) for name in names)
    return tuple(change for change in found if change.one != change.other)


def design_of(specimen: Specimen) -> dict[str, str]:
    """Return the declared attributes of a specimen; none where it declares no design."""
    return attributes(specimen) if specimen.design else {}
