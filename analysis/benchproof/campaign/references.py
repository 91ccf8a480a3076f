"""Whether what a campaign names is there: drives, propellers, instruments, calibrations, choices, claims, quotes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.campaign.models.layout import NEEDED_CHANNELS, channel_measures, layout_problems
from benchproof.campaign.units import (
    Measured,
    a,
    nearest,
    shortened,
    spellings,
)
from benchproof.campaign.yaml import written
from benchproof.errors import Fault

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping

    from benchproof.campaign.checked import Checked
    from benchproof.campaign.models.layout import LogLayout
    from benchproof.campaign.yaml import Places, Step

FEWEST_READINGS: Final = 4
"""Readings that carry their own scatter, where no repeatability is stated."""

_MEASURED_BY: Final = {
    "readings": "mass",
    "mass": "mass",
    "radius": "length",
    "pairs": "resistance",
    "leads": "resistance",
    "speed": "speed",
    "voltage": "voltage",
    "current": "current",
    "temperature": "temperature",
    "winding_temperature": "temperature",
    "pressure": "pressure",
    "humidity": "humidity",
}
"""What the instrument of a typed reading measures, by the field it stands in."""

_FIELDS: Final[Mapping[Step, str]] = {"readings": "mass", "pairs": "resistance", "leads": "resistance"}
"""Fields that a test's ``instruments:`` calls by what is measured."""


def reference_faults(
    checked: Checked, places: Places, known_choices: Mapping[str, Callable[[str], str]]
) -> Iterator[Fault]:
    """Yield a fault for everything named that is not there."""
    campaign, rig = checked.campaign, checked.rig
    if campaign.drive is not None and campaign.drive not in rig.drives:
        yield absent(places, ("drive",), campaign.drive, tuple(rig.drives), "drive of the rig")
    for position, test in enumerate(campaign.tests):
        path: tuple[Step, ...] = ("tests", position)
        for kind, known, extra in (
            ("propeller", rig.propellers, ()),
            ("flywheel", rig.flywheels, ("none",)),
        ):
            name = getattr(test, kind, None)
            if name is not None and name not in (*known, *extra):
                yield absent(places, (*path, kind), name, tuple(known), f"{kind} of the rig")
        yield from _layout_faults(checked, test, path, places)
        yield from _instrument_faults(checked, test, path, places)
    for name, value in campaign.choices.items():
        yield from _choice_faults(name, str(value), known_choices, places)


def absent(places: Places, path: tuple[Step, ...], found: str, known: tuple[str, ...], what: str) -> Fault:
    """Return the fault of a name that is not there, with the nearest that is."""
    near = nearest(found, known)
    expected = f"{a(what)}: {', '.join(known) or 'none is declared'}"
    remedy = f"Write {near}." if near else "Name one that is there, or declare it."
    return Fault(places.file, written(path), f'"{shortened(found)}"', expected, remedy, places.line(path))


def _choice_faults(name: str, value: str, known: Mapping[str, Callable[[str], str]], places: Places) -> Iterator[Fault]:
    path = ("choices", name)
    if name not in known:
        yield absent(places, path, name, tuple(known), "choice")
    elif expected := known[name](value):
        yield Fault(
            places.file,
            written(path),
            f'"{shortened(value)}"',
            expected,
            "Correct the value.",
            places.line(path),
        )


def _layout_faults(checked: Checked, test: Any, path: tuple[Step, ...], places: Places) -> Iterator[Fault]:
    if getattr(test, "log", None) is None:
        return
    layout = _layout(checked, test)
    if layout is None:
        remedy = f"Add logs: {test.test}: to the rig file, or layout: to the test."
        found, expected = "no layout for its log", f"the columns of a {test.test} log"
        yield Fault(places.file, written(path), found, expected, remedy, places.line(path))
        return
    for name in NEEDED_CHANNELS.get(test.test, ()):
        if name not in layout.channels:
            found, expected = f"no channel {name} in the layout", f"the channel {name} in a {test.test} log"
            remedy = f"Map it: {name}: {{column: …, unit: …}}."
            yield Fault(places.file, written(path), found, expected, remedy, places.line(path))
    if test.layout is not None:
        measures: dict[str, str] = {name: entry.measures for name, entry in checked.rig.instruments.items()}
        for problem in layout_problems(test.layout, measures):
            inside = (*path, "layout", *problem.inside)
            line = places.line(inside)
            yield Fault(places.file, written(inside), problem.found, problem.expected, problem.remedy, line)
    poles = checked.campaign.specimen.pole_pairs if checked.campaign.specimen else None
    if poles is None and any(channel.divide_by for channel in layout.channels.values()):
        remedy = "Add pole_pairs: to the specimen."
        found, expected = "no pole_pairs:", "pole_pairs: for a log with electrical speed"
        yield Fault(places.file, "specimen", found, expected, remedy, places.line(("specimen",)))


def typed_readings(value: Any, path: tuple[Step, ...] = ()) -> Iterator[tuple[tuple[Step, ...], str]]:
    """Yield place and kind of every reading typed into a test, made on an instrument of the rig."""
    if isinstance(value, Measured):
        names = [step for step in path if isinstance(step, str)]
        measures = _MEASURED_BY.get(names[-1]) or _MEASURED_BY.get(names[0])
        if measures:
            yield path, measures
    elif isinstance(value, tuple):
        for position, item in enumerate(value):
            yield from typed_readings(item, (*path, position))
    elif hasattr(type(value), "model_fields") and type(value).__name__ != "LogLayout":
        for name in type(value).model_fields:
            yield from typed_readings(getattr(value, name), (*path, name))


def _layout(checked: Checked, test: Any) -> LogLayout | None:
    """Return the layout of a test's log; None for a test without a log."""
    if getattr(test, "log", None) is None:
        return None
    layout: LogLayout | None = test.layout or checked.rig.logs.get(test.test)
    return layout


def _needed(checked: Checked, test: Any) -> Iterator[tuple[str, str, tuple[Step, ...]]]:
    """Yield field, what its instrument measures, and place, of whatever was read on an instrument not named there."""
    for path, measures in typed_readings(test):
        field = next(step for step in reversed(path) if isinstance(step, str))
        yield _FIELDS.get(path[0], field), measures, path
    layout = _layout(checked, test)
    for name, channel in layout.channels.items() if layout is not None else ():
        measures_of = channel_measures(name)
        if measures_of and channel.instrument is None:
            yield name, measures_of, ("log",)


def _instrument_faults(checked: Checked, test: Any, path: tuple[Step, ...], places: Places) -> Iterator[Fault]:
    needed: dict[tuple[str, str], tuple[Step, ...]] = {}
    for field, measures, inside in _needed(checked, test):
        needed.setdefault((field, measures), inside)
    if faults := list(_named_faults(checked, test, needed, path, places)):
        yield from faults
        return
    layout = _layout(checked, test)
    used = [each.instrument for each in layout.channels.values() if each.instrument] if layout is not None else []
    told: set[tuple[str, ...]] = set()
    for (field, measures), inside in needed.items():
        known = _able(checked, measures)
        chosen = test.named(field, measures) or (known[0] if len(known) == 1 else None)
        if chosen is not None:
            used.append(chosen)
        elif known not in told:
            told.add(known)
            found = f"{len(known)} instruments" if known else "no instrument"
            remedy = f"Name it: instruments: {{{field}: …}}." if known else "Declare it in the rig file."
            expected = f"one instrument that measures {measures}" + (f": {', '.join(known)}" if known else "")
            yield Fault(places.file, written((*path, *inside)), found, expected, remedy, places.line((*path, *inside)))
    for name in dict.fromkeys(used):
        yield from _calibration_faults(checked, name, test, path, places)
    yield from _repeat_faults(checked, test, path, places)


def _able(checked: Checked, measures: str) -> tuple[str, ...]:
    return tuple(name for name, entry in checked.rig.instruments.items() if entry.measures == measures)


def _named_faults(
    checked: Checked, test: Any, needed: Collection[tuple[str, str]], path: tuple[Step, ...], places: Places
) -> Iterator[Fault]:
    """Yield keys of a test's ``instruments:`` without a reading, and instruments that are not there."""
    keys = dict(iter(needed)) | {measures: measures for _, measures in needed}
    for key, named in test.instruments.items():
        inside = (*path, "instruments", key)
        if key not in keys:
            yield absent(places, inside, key, tuple(keys), f"reading of this {test.test}")
        elif named not in _able(checked, keys[key]):
            yield absent(places, inside, named, _able(checked, keys[key]), f"instrument that measures {keys[key]}")


def _calibration_faults(
    checked: Checked, name: str, test: Any, path: tuple[Step, ...], places: Places
) -> Iterator[Fault]:
    entry, day = checked.rig.instruments.get(name), checked.day(test)
    if entry is None or not entry.calibrations:
        return
    if (in_force := entry.calibration_on(day)) is not None:
        if entry.measures != "mass" and in_force.applied_unit in spellings("mass") and checked.rig.location is None:
            found, expected = f"{name} calibrated with masses on a rig without a location", "the place of the rig"
            remedy = 'Add location: {latitude: "54.1 deg", elevation: "180 m"} to the rig file: its gravity follows.'
            yield Fault(places.file, written(path), found, expected, remedy, places.line(path))
        return
    spans = ", ".join(f"{each.dated} to {each.expires}" for each in entry.calibrations)
    found = f"{name} without a calibration in force on {day} (it has {spans})"
    expected = "a calibration dated on or before the test day and not expired"
    remedy = "Add the calibration of that day to the rig file, or correct a date."
    yield Fault(places.file, written(path), found, expected, remedy, places.line(path))


def _repeat_faults(checked: Checked, test: Any, path: tuple[Step, ...], places: Places) -> Iterator[Fault]:
    """Yield a fault for two or three readings of one thing without a stated repeatability."""
    pairs = getattr(test, "pairs", None)
    for key, measures, readings in (
        ("readings", "mass", getattr(test, "readings", ())),
        ("pairs", "resistance", (pairs.ab, pairs.bc, pairs.ca) if pairs else ()),
    ):
        if not 1 < len(readings) < FEWEST_READINGS or not all(isinstance(each, Measured) for each in readings):
            continue
        able = _able(checked, measures)
        name = test.named(measures, measures) or (able[0] if len(able) == 1 else None)
        if name is None or any(error.kind == "repeatability" for error in checked.rig.instruments[name].errors):
            continue
        found = f"{len(readings)} readings of {name}, which states no repeatability"
        more = ", or take more readings" if key == "readings" else ""
        expected = f"a stated repeatability, or at least {FEWEST_READINGS} readings"
        remedy = f'Add {{repeatability: "…"}} to the errors of {name}{more}.'
        inside = (*path, key)
        yield Fault(places.file, written(inside), found, expected, remedy, places.line(inside))
