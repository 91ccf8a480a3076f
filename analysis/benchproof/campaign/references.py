"""Whether what a campaign names is there: drives, propellers, instruments, calibrations, choices, claims, quotes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from pydantic_core import PydanticCustomError

from benchproof.campaign.models.lab import POINT_DIMENSIONS
from benchproof.campaign.models.layout import NEEDED_CHANNELS, channel_measures
from benchproof.campaign.quoting import Quote, parse
from benchproof.campaign.units import Measured, UnitError, nearest, read_any, shortened
from benchproof.campaign.yaml import written
from benchproof.errors import Fault

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from benchproof.campaign.check import Checked
    from benchproof.campaign.models.campaign import Campaign
    from benchproof.campaign.yaml import Places, Step

FEWEST_READINGS: Final = 4
"""Readings that carry their own scatter, where no repeatability is stated."""

_MEASURED_BY: Final = {
    "readings": "mass",
    "pairs": "resistance",
    "speed": "speed",
    "voltage": "voltage",
    "current": "current",
    "temperature": "temperature",
    "winding_temperature": "temperature",
    "pressure": "pressure",
    "humidity": "humidity",
}
"""What the instrument of a typed reading measures, by the field it stands in."""


def reference_faults(
    checked: Checked, places: Places, known_choices: Mapping[str, Callable[[str], str]]
) -> Iterator[Fault]:
    """Yield a fault for everything named that is not there."""
    campaign, rig = checked.campaign, checked.rig
    if campaign.drive is not None and campaign.drive not in rig.drives:
        yield _absent(places, ("drive",), campaign.drive, tuple(rig.drives), "drive of the rig")
    for position, test in enumerate(campaign.tests):
        path: tuple[Step, ...] = ("tests", position)
        for kind, known, extra in (
            ("propeller", rig.propellers, ()),
            ("flywheel", rig.flywheels, ("none",)),
        ):
            name = getattr(test, kind, None)
            if name is not None and name not in (*known, *extra):
                yield _absent(places, (*path, kind), name, tuple(known), f"{kind} of the rig")
        yield from _layout_faults(checked, test, path, places)
        yield from _instrument_faults(checked, test, path, places)
    for name, value in campaign.choices.items():
        yield from _choice_faults(name, str(value), known_choices, places)


def _absent(places: Places, path: tuple[Step, ...], found: str, known: tuple[str, ...], what: str) -> Fault:
    near = nearest(found, known)
    expected = f"a {what}: {', '.join(known) or 'none is declared'}"
    remedy = f"Write {near}." if near else "Name one that is there, or declare it."
    return Fault(places.file, written(path), f'"{shortened(found)}"', expected, remedy, places.line(path))


def _choice_faults(name: str, value: str, known: Mapping[str, Callable[[str], str]], places: Places) -> Iterator[Fault]:
    path = ("choices", name)
    if name not in known:
        yield _absent(places, path, name, tuple(known), "choice")
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
    layout = test.layout or checked.rig.logs.get(test.test)
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


def _needed(checked: Checked, test: Any) -> dict[str, tuple[Step, ...]]:
    """Return what a test's instruments must measure, each with the place that asks for it first."""
    needed: dict[str, tuple[Step, ...]] = {}
    for path, measures in typed_readings(test):
        needed.setdefault(measures, path)
    layout = getattr(test, "layout", None) or checked.rig.logs.get(test.test)
    if getattr(test, "log", None) and layout is not None:
        for name, channel in layout.channels.items():
            measures_of = channel_measures(name)
            if measures_of and channel.instrument is None:
                needed.setdefault(measures_of, ("log",))
    return needed


def _instrument_faults(checked: Checked, test: Any, path: tuple[Step, ...], places: Places) -> Iterator[Fault]:
    entries = checked.rig.instruments
    for measures, named in test.instruments.items():
        known = tuple(name for name, entry in entries.items() if entry.measures == measures)
        if named not in known:
            what = f"instrument that measures {shortened(measures)}"
            yield _absent(places, (*path, "instruments", measures), named, known, what)
            return
    used = _named_channels(checked, test)
    for measures, inside in _needed(checked, test).items():
        known = tuple(name for name, entry in entries.items() if entry.measures == measures)
        chosen = test.instruments.get(measures) or (known[0] if len(known) == 1 else None)
        if chosen is None:
            found = f"{len(known)} instruments" if known else "no instrument"
            remedy = f"Name it: instruments: {{{measures}: …}}." if known else "Declare it in the rig file."
            expected = f"one instrument that measures {measures}"
            yield Fault(places.file, written((*path, *inside)), found, expected, remedy, places.line((*path, *inside)))
        else:
            used.append(chosen)
    for name in dict.fromkeys(used):
        yield from _calibration_faults(checked, name, test, path, places)
    yield from _repeat_faults(checked, test, path, places)


def _named_channels(checked: Checked, test: Any) -> list[str]:
    layout = getattr(test, "layout", None) or checked.rig.logs.get(test.test)
    if getattr(test, "log", None) is None or layout is None:
        return []
    return [channel.instrument for channel in layout.channels.values() if channel.instrument]


def _calibration_faults(
    checked: Checked, name: str, test: Any, path: tuple[Step, ...], places: Places
) -> Iterator[Fault]:
    entry, day = checked.rig.instruments.get(name), checked.day(test)
    if entry is None or not entry.calibrations or entry.calibration_on(day) is not None:
        return
    spans = ", ".join(f"{each.dated} to {each.expires}" for each in entry.calibrations)
    found = f"{name} without a calibration in force on {day} (it has {spans})"
    expected = "a calibration dated on or before the test day and not expired"
    remedy = "Add the calibration of that day to the rig file, or correct a date."
    yield Fault(places.file, written(path), found, expected, remedy, places.line(path))


def _repeat_faults(checked: Checked, test: Any, path: tuple[Step, ...], places: Places) -> Iterator[Fault]:
    """Yield a fault for two or three readings of one thing without a stated repeatability."""
    readings = getattr(test, "readings", ())
    if not 1 < len(readings) < FEWEST_READINGS or not all(isinstance(each, Measured) for each in readings):
        return
    known = [name for name, entry in checked.rig.instruments.items() if entry.measures == "mass"]
    name = test.instruments.get("mass") or (known[0] if known else None)
    if name is None or any(error.kind == "repeatability" for error in checked.rig.instruments[name].errors):
        return
    found = f"{len(readings)} readings of {name}, which states no repeatability"
    expected = f"a stated repeatability, or at least {FEWEST_READINGS} readings"
    remedy = f'Add {{repeatability: "…"}} to the errors of {name}, or take more readings.'
    inside = (*path, "readings")
    yield Fault(places.file, written(inside), found, expected, remedy, places.line(inside))


def claim_faults(campaign: Campaign, places: Places, campaigns: Sequence[str]) -> Iterator[Fault]:
    """Yield a fault for every claim and quote against something that is not there."""
    for piece in parse(campaign.text or ""):
        if isinstance(piece, Quote) and piece.than is not None and piece.than not in (*campaigns, "label"):
            yield _absent(places, ("text",), piece.than, tuple(campaigns), "campaign")
    for position, claim in enumerate(campaign.claims):
        if claim.than == "label" or claim.than in campaigns or _is_value(claim.than):
            continue
        path = ("claims", position, "than")
        yield _absent(places, path, claim.than, ("label", *campaigns), "campaign, label, or a value with its unit")


def _is_value(text: str) -> bool:
    try:
        read_any(text)
    except UnitError:
        return False
    return True


def quote_faults(checked: Checked, pieces: Sequence[str | Quote], places: Places) -> Iterator[Fault]:
    """Yield a fault for every quote of a sample or operating point that is not there."""
    specimen = checked.campaign.specimen
    samples = tuple(sample.id for sample in specimen.samples) if specimen else ()
    for quote in (piece for piece in pieces if isinstance(piece, Quote)):
        if quote.sample is not None and quote.sample not in samples:
            yield _absent(places, ("text",), quote.sample, samples, "sample of the specimen")
        for key, text in quote.at.items():
            if key in POINT_DIMENSIONS:
                yield from _point_faults(checked, key, text, places)


def _point_faults(checked: Checked, key: str, text: str, places: Places) -> Iterator[Fault]:
    points = checked.lab.operating_points
    known = tuple(point.text for point in getattr(points, key))
    try:
        spelt = points.spelt(key, text)
    except PydanticCustomError as error:
        for problem in (error.context or {})["problems"]:
            yield Fault(places.file, "text", problem.found, problem.expected, problem.remedy, places.line(("text",)))
        return
    if spelt is not None and spelt != text:
        place = places.line(("text",))
        yield Fault(places.file, "text", f'"{text}"', f'"{spelt}", as the lab spells it', f"Write {spelt}.", place)
    if spelt is None:
        yield _absent(places, ("text",), text, known, f"{key} that the lab quotes")
