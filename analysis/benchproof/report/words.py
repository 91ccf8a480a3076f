"""What codes, keys and outside text look like on a page. Pure functions from values to words."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final
from urllib.parse import quote as percent_encoded

from benchproof.nomenclature import QUANTITIES, unit_text

if TYPE_CHECKING:
    from pydantic import JsonValue

    from benchproof.report.records import Price

_HIDES: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
"""Control characters, and those that turn the direction of what follows: a name could pretend to be another."""

FLAGS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "one_sample": "one sample: says nothing of the spread from piece to piece",
        "air_referred": "referred to the lab's reference air",
        "pooled_spread": "with the spread of pieces, pooled over several models",
        "from_back_emf": "from back-emf alone; true at zero timing with block commutation",
        "drive_differs": "measured with another drive, firmware or timing",
        "timing_not_stated": "the drive's timing is not stated, and this figure depends on it",
        "beyond_calibration": "read beyond the range its instrument was calibrated over",
        "not_reached": "not reached in the test",
    }
)
"""Flags of a figure, in words for a reader."""

WITHHELD: Final[Mapping[str, str]] = MappingProxyType(
    {
        "impossible": "it came out beyond what is physically possible",
        "thrust_above_ceiling": "more thrust than momentum theory allows for that power",
        "thrust_implausible": "far too little thrust for that power",
        "plateaus_far_apart": "the settled steps about this point lie too far apart",
        "speed_unit": "electrical and shaft speed are mixed up in the log or its layout",
        "no_resistance": "the winding's resistance was not measured",
        "no_mass": "the motor was not weighed",
        "too_few_points": "too few points were taken",
        "drop_above_voltage": "the resistive drop came out larger than the voltage",
        "no_rotor_inertia": "the rotor's inertia was not stated",
        "late_start": "the run began at too high a speed",
        "too_noisy": "the speed was logged with too much noise",
        "shorted_windings": "the windings were shorted, so they braked",
        "negative_acceleration": "the motor lost speed under full command",
        "pole_pair_slip": "mark and electrical speed disagree: pole pairs or slip",
        "energy_gain": "more energy came out than went in",
        "no_limit": "no limit of temperature was stated",
        "limits_differ": "its runs state different limits",
        "limit_below_drag": "drag alone warms the winding beyond the limit",
        "not_cold_at_start": "the winding was not at air temperature at the start",
        "nodes_not_fitted": "the run was too short to tell how warm it ends",
    }
)
"""Reasons for withholding a figure, in words; any other code is printed as it is spelled."""

SOURCES: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "bought": ("Bought", "The lab bought the samples."),
        "supplied": ("Supplied", "The samples were supplied to the lab. It did not buy them."),
        "loan": ("On loan", "The samples were lent to the lab and go back. It did not buy them."),
    }
)
"""Who paid: a word and a sentence."""

_POINTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "electrical_power": "at {} electrical power",
        "thrust": "at {} thrust",
        "speed": "at {}",
        "voltage": "at {}",
        "throttle": "at {} throttle",
        "part": "{}",
        "step": "{} throttle",
        "propeller": "propeller {}",
        "flywheel": "flywheel {}",
        "airflow": "{}",
        "rate": "at {}",
        "pulse": "pulse {}",
        "state_of_charge": "at {} state of charge",
    }
)

_USUAL_ORDER: Final = (
    *("maker", "model", "serial", "firmware", "timing", "pwm", "on_resistance"),
    *("diameter", "pitch", "blades", "reseat", "inertia", "thickness", "material", "rated_speed"),
    *("kv", "mass", "cells", "latitude", "elevation"),
)
_FIRST_KEYS: Final = (
    *("value", "scale", "offset", "linearity", "resolution", "repeatability"),
    *("shape", "k", "name", "per"),
)
_LABELS: Final[Mapping[str, str]] = MappingProxyType({"kv": "Kv", "pwm": "PWM"})
_NUMBER: Final = re.compile(r"[-+]?\d+(\.\d*)?([eE][-+]?\d+)?")

_NOT_OF_A_MOTOR: Final = frozenset(
    {"capacity", "energy", "dc_resistance", "continuous_discharge_current", "voltage", "throttle"}
)
"""Quantities of packs, and those that are only read along."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what stands against it.

    Parameters
    ----------
    label : str
        Words.
    value : str
        Words, with unit where it has one.
    """

    label: str
    value: str


def visible(text: str) -> str:
    """Return outside text with the characters shown that would hide or turn other text.

    Control characters and those that turn the direction of writing become their code point in brackets.
    """
    if text.isprintable():  # what hides or turns is not, and most text is
        return text
    return _HIDES.sub(lambda found: f"[U+{ord(found[0]):04X}]", text)


def slug(text: str) -> str:
    """Return text as part of an anchor: letters of any script, digits, dots, underscores and dashes."""
    spelled = unicodedata.normalize("NFC", text).replace("%", "percent").replace("+", "plus")
    return re.sub(r"[^\w.]+", "-", spelled).strip("-") or "x"


def anchor(name: str, at: Mapping[str, str]) -> str:
    """Return the anchor of a figure: the same as long as name and operating point are.

    Examples
    --------
    >>> anchor("thrust", {"electrical_power": "200 W"})
    'figure-thrust-electrical_power-200-W'
    """
    return "-".join(["figure", slug(name), *(slug(f"{key}-{value}") for key, value in at.items())])


def quantity_title(name: str) -> str:
    """Return a quantity's words; its key in words where the nomenclature does not know it."""
    return QUANTITIES[name].title if name in QUANTITIES else words(name)


def point_words(at: Mapping[str, str]) -> str:
    """Return an operating point in words, empty for none."""
    return ", ".join(_POINTS.get(key, f"{words(key)} {{}}").replace("{}", value) for key, value in at.items())


def flag_words(flag: str) -> str:
    """Return a flag in words."""
    code, _, reason = flag.partition(":")
    if code == "withheld":
        return f"withheld: {WITHHELD.get(reason, words(reason))}"
    return FLAGS.get(flag, words(flag))


def words(key: str) -> str:
    """Return a key of ours with its underscores as spaces."""
    return key.replace("_", " ")


def facts(mapping: Mapping[str, JsonValue] | None, *, leave_out: Iterable[str] = ()) -> tuple[Fact, ...]:
    """Return open facts, absent ones left out: those with a usual place first, the rest in their own order."""
    skipped = set(leave_out)
    given = {key: value for key, value in (mapping or {}).items() if value is not None and key not in skipped}
    return tuple(Fact(label(key), value_words(given[key])) for key in _ordered(given, _USUAL_ORDER))


def label(key: str) -> str:
    """Return a key of a file as a label.

    Examples
    --------
    >>> label("on_resistance"), label("kv"), label("pwm")
    ('On resistance', 'Kv', 'PWM')
    """
    spoken = words(key)
    return _LABELS.get(key, spoken[:1].upper() + spoken[1:])


def value_words(value: JsonValue) -> str:
    """Return a value of a file in words: lists with semicolons, mappings as ``key value``, units as print has them."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        given = [key for key in value if value[key] is not None]
        return ", ".join(_pair_words(key, value[key]) for key in _ordered(given, _FIRST_KEYS))
    if isinstance(value, list):
        return "; ".join(value_words(item) for item in value)
    return "" if value is None else measured_words(str(value))


def measured_words(text: str) -> str:
    """Return a value with a unit as print has it; any other text unchanged.

    Examples
    --------
    >>> measured_words("22.5 degC"), measured_words("5.0e-5 kg*m**2"), measured_words("N52 arc")
    ('22.5 °C', '5.0e-5 kg·m²', 'N52 arc')
    """
    number, _, unit = text.partition(" ")
    return f"{number} {unit_text(unit)}" if _NUMBER.fullmatch(number) and unit and " " not in unit else text


def price_words(price: Price | None, *, bought: bool) -> str:
    """Return what one piece costs, where, and when that was seen, as a sentence; empty if nothing is known."""
    if price is None:
        return ""
    shipping = f" plus {price.shipping:.2f} {price.currency} shipping" if price.shipping is not None else ""
    channel = {"direct": ", direct from the maker", "retail": ", in a shop"}.get(price.channel or "", "")
    seen = f", seen {price.seen}" if price.seen else ""
    seen += f", {price.margin} of it the shop's margin" if price.margin else ""
    verb = "Price of one" if bought else "It sells at"
    return f"{verb}{':' if bought else ''} {price.amount:.2f} {price.currency}{shipping}{channel}{seen}."


def not_measured(measured: Iterable[str]) -> tuple[str, ...]:
    """Return the titles of the motor quantities that a campaign has no figure of."""
    known = set(measured) | _NOT_OF_A_MOTOR
    return tuple(term.title for term in QUANTITIES.values() if term.name not in known)


def href(path: str) -> str:
    """Return a relative path as a link."""
    return percent_encoded(path, safe="/")


def size_words(count: int) -> str:
    """Return a file's size for people, in powers of ten.

    Examples
    --------
    >>> size_words(812), size_words(48_210), size_words(3_400_000)
    ('812 B', '48.2 kB', '3.4 MB')
    """
    if count < 1000:
        return f"{count} B"
    return f"{count / 1000:.1f} kB" if count < 1_000_000 else f"{count / 1_000_000:.1f} MB"


def _ordered(keys: Iterable[str], usual: Sequence[str]) -> list[str]:
    """Return keys in their usual order, those without one after them as they came."""
    places = {key: place for place, key in enumerate(usual)}
    return sorted(keys, key=lambda key: places.get(key, len(places)))


def _pair_words(key: str, value: JsonValue) -> str:
    return value_words(value) if key == "value" else f"{words(key)} {value_words(value)}"
