"""Which figures of two campaigns compare, and what must be said beside them.

A propeller is half of every thrust figure, so these compare only on the very same propeller. Mass, winding resistance
and the back-emf constant are the motor's own. What the drive had a hand in compares with a flag where drive, firmware
or timing differ.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from benchproof.findings.entrants import Entrant
    from benchproof.methods.records import Figure

    Ground = tuple[frozenset[str], frozenset[str], tuple[bool, ...]]

DRIVE_DIFFERS: Final = "drive_differs"

ALWAYS: Final = frozenset({"mass", "winding_resistance_20c", "kv_back_emf"})
"""The motor's own: nothing beside it changes them."""

OF_THE_PROPELLER: Final = frozenset({"thrust_coefficient", "power_coefficient", "figure_of_merit"})
"""Of the propeller alone: the drive has no hand in them."""

_DEFINING: Final = {
    "from_back_emf": "one comes from back-emf and the other from running without load: two definitions",
    "air_referred": "one is referred to the lab's reference air and the other is as tested",
}
"""Flags that make a figure another quantity, and what is said where only one of two has it."""

_PROPELLER_METHODS: Final = frozenset({"thrust_sweep"})
_NAMED_FACTS: Final = ("model", "firmware", "timing")


def method_key(figure: Figure) -> str:
    """Return the key of the method that made a figure."""
    return figure.method.partition("/")[0]


def serials(figure: Figure, entrant: Entrant) -> frozenset[str]:
    """Return the serials of the propellers a figure was made with; empty if none had a part in it."""
    if figure.name in ALWAYS:
        return frozenset()
    named = figure.at.get("propeller")
    if named is not None and named in entrant.rig.propellers:
        return frozenset({entrant.rig.propellers[named].serial})
    return propellers_of(entrant, method_key(figure))


def propellers_of(entrant: Entrant, key: str) -> frozenset[str]:
    """Return the serials of the propellers that a campaign's tests of one kind turned."""
    tests = (t for t in entrant.campaign.tests if t.test == key and t.exclude is None)
    named = {str(name) for t in tests if (name := getattr(t, "propeller", None))}
    return frozenset(entrant.rig.propellers[name].serial for name in named if name in entrant.rig.propellers)


def airflows(figure: Figure, entrant: Entrant) -> frozenset[str]:
    """Return what cooled the motor, for figures of heat; empty for all others."""
    if method_key(figure) != "heat_soak":
        return frozenset()
    named = figure.at.get("airflow")
    tests = (t for t in entrant.campaign.tests if t.test == "heat_soak" and t.exclude is None)
    return frozenset({named}) if named is not None else frozenset(str(getattr(t, "airflow", "")) for t in tests)


def hangs_on_drive(figure: Figure) -> bool:
    """Return whether drive, firmware and timing have a hand in a figure."""
    return figure.name not in ALWAYS | OF_THE_PROPELLER and "from_back_emf" not in figure.flags


def drive_differences(one: Entrant, other: Entrant) -> tuple[str, ...]:
    """Return what differs between two campaigns' drives, in words; empty where they are alike."""
    if one.drive is None or other.drive is None:
        return ("a drive was not stated",)
    first, second = dict(one.drive), dict(other.drive)
    return tuple(f"{key} {first[key]} against {second[key]}" for key in _NAMED_FACTS if first[key] != second[key])


def refusal(one: Figure, first: Entrant, other: Figure, second: Entrant) -> str:
    """Return why two figures do not compare, in words; empty where they do."""
    propellers, others = serials(one, first), serials(other, second)
    if method_key(one) in _PROPELLER_METHODS or propellers or others:
        if propellers != others:
            return f"measured on another propeller: {_list(propellers)} against {_list(others)}"
        if len(propellers) > 1:
            return f"measured on several propellers ({_list(propellers)}), which a figure of one does not tell apart"
    cooled, otherwise = airflows(one, first), airflows(other, second)
    if cooled != otherwise:
        return f"cooled otherwise: {_list(cooled)} against {_list(otherwise)}"
    unlike = [words for flag, words in _DEFINING.items() if (flag in one.flags) != (flag in other.flags)]
    return unlike[0] if unlike else ""


def ground(figure: Figure, entrant: Entrant) -> Ground | None:
    """Return what another figure must have in common with this one to compare; None where none compares.

    Two figures of one name and place have the same ground exactly where :func:`refusal` has nothing to say, so that
    many of them fall into groups without looking at every pair.
    """
    turned = serials(figure, entrant)
    if len(turned) > 1:
        return None
    return turned, airflows(figure, entrant), tuple(flag in figure.flags for flag in _DEFINING)


def flags_between(one: Figure, first: Entrant, second: Entrant) -> tuple[str, ...]:
    """Return the flags a comparison of two figures carries."""
    if hangs_on_drive(one) and drive_differences(first, second):
        return (DRIVE_DIFFERS,)
    return ()


def cancelling(one: Entrant, other: Entrant) -> str:
    """Return what cancels between two campaigns and what does not, in a sentence."""
    if one.rig.rig != other.rig.rig:
        return (
            f"Measured on two rigs ({one.rig.rig} and {other.rig.rig}): no error of their instruments cancels, each "
            "counts whole on its side."
        )
    return (
        f"Both measured on {one.rig.rig}: errors its instruments keep under one calibration cancel; those drawn anew "
        "for each day, run, mounting and reading do not."
    )


def _list(words: frozenset[str]) -> str:
    return ", ".join(sorted(words)) or "none"
