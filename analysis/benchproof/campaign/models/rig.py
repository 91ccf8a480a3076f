"""The rig file: instruments with their errors and calibrations, flywheels, propellers, drives, log layouts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, Literal, Self

from pydantic import Field, model_validator

from benchproof.campaign.models.base import Many, Model, Name, Table, Words, doc, unknown
from benchproof.campaign.models.calibrations import CalibrationEntry, CheckWeight, CrossTalkEntry
from benchproof.campaign.models.layout import LAYOUT_TESTS, LogLayout, layout_problems
from benchproof.campaign.models.values import (
    Angle,
    AnyDifference,
    AnyQuantity,
    Elevation,
    Frequency,
    InertiaValue,
    Length,
    MassValue,
    Ratio,
    Resistance,
    Speed,
    Time,
)
from benchproof.campaign.problems import Problem, refuse
from benchproof.campaign.units import Measured, a, example, spellings, what

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from benchproof.campaign.spellings import Dimension

Measures = Literal[
    "mass",
    "thrust",
    "torque",
    "voltage",
    "current",
    "resistance",
    "speed",
    "temperature",
    "pressure",
    "humidity",
    "acceleration",
    "length",
    "time",
]
"""What an instrument can measure."""

Kind = Literal["scale", "offset", "linearity", "resolution", "repeatability"]
Per = Literal["calibration", "session", "run", "reading"]

KINDS: Final[tuple[Kind, ...]] = ("scale", "offset", "linearity", "resolution", "repeatability")
_BOUNDS: Final = ("scale", "offset", "linearity")
_LATITUDE: Final = math.pi / 2


def dimension_of(measures: str) -> Dimension:
    """Return the dimension of what an instrument measures."""
    return "force" if measures == "thrust" else measures  # type: ignore[return-value]


class ErrorStatement(Model):
    """One thing that an instrument gets wrong, and how often the error is drawn anew."""

    scale: Ratio | None = doc("relative error, a half-width", "0.15 %", default=None)
    offset: AnyDifference | None = doc("absolute error, a half-width", "0.02 N", default=None)
    linearity: AnyDifference | None = doc("bow, zero at zero and at full scale, a half-width", "0.01 N", default=None)
    resolution: AnyDifference | None = doc("digital step", "0.005 N", default=None)
    repeatability: AnyDifference | None = doc("standard scatter of one reading", "0.006 g", default=None)
    per: Per | None = doc("how often the error is drawn anew", "run", default=None)
    shape: Literal["rectangular", "normal"] = doc(
        "distribution of scale, offset and linearity", "normal", default="rectangular"
    )
    k: float | None = doc("coverage factor of a normal statement", 2, default=None, gt=0)
    name: Name | None = doc("tells two statements of one kind and scope apart", "amplifier", default=None)

    @model_validator(mode="after")
    def _one_statement(self) -> Self:
        refuse(self._problems())
        return self

    def _problems(self) -> Iterator[Problem]:
        stated = [kind for kind in KINDS if getattr(self, kind) is not None]
        if len(stated) != 1:
            found = f"{' and '.join(stated)} in one statement" if stated else "no error in the statement"
            yield Problem(found, f"exactly one of {', '.join(KINDS)}", 'Write each as {offset: "0.02 N"}.')
            return
        if self.value.si < 0:
            yield Problem(what(self.value.text), "a size, not negative", "Delete the sign.", (stated[0],))
        if self.shape == "normal" and self.k is None:
            yield Problem("shape: normal without k:", "the coverage factor", "Add k: 2, or what applies.")
        if self.shape != "normal" and self.k is not None:
            yield Problem("k: without shape: normal", "k: beside shape: normal", "Add shape: normal.", ("k",))
        if stated[0] not in _BOUNDS and self.shape == "normal":
            remedy = "Delete shape: and k:."
            yield Problem(f"shape: of {stated[0]}", f"shape: of {', '.join(_BOUNDS)}", remedy, ("shape",))

    @property
    def kind(self) -> Kind:
        """The one kind that is stated."""
        return next(kind for kind in KINDS if getattr(self, kind) is not None)

    @property
    def value(self) -> Measured:
        """The stated size, SI."""
        value: Measured = getattr(self, self.kind)
        return value

    @property
    def scope(self) -> Per:
        """How often the error is drawn anew, the default of the kind filled in."""
        return self.per or ("calibration" if self.kind in _BOUNDS else "reading")

    @property
    def standard(self) -> float:
        """Standard uncertainty, SI (scale: relative)."""
        if self.kind == "repeatability":
            return self.value.si
        if self.kind == "resolution":
            return self.value.si / math.sqrt(12.0)
        return self.value.si / (self.k if self.shape == "normal" and self.k else math.sqrt(3.0))


class InstrumentEntry(Model):
    """One instrument and what it gets wrong."""

    measures: Measures = doc("what it measures", "thrust")
    full_scale: AnyQuantity | None = doc("end of its range; needed for linearity", "30 N", default=None)
    calibrations: Many[CalibrationEntry] = doc(
        "dated; the one in force on the test date applies", [{"file": "calibration/thrust.csv"}], default=()
    )
    errors: Many[ErrorStatement] = doc(
        "what it gets wrong, on top of the calibration's fit", [{"scale": "0.15 %"}], default=()
    )
    lag: Time | None = doc("how far its readings lie behind", "2 ms", default=None)
    checks: Many[CheckWeight] = doc(
        "the check weight, read before each session", [{"date": "2026-03-02", "indicated": "999.6 gf"}], default=()
    )

    @property
    def dimension(self) -> Dimension:
        """The dimension of its readings."""
        return dimension_of(self.measures)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        refuse([*self._units(), *self._statements(), *self._calibrations()])
        return self

    def _units(self) -> Iterator[Problem]:
        valid = spellings(self.dimension)
        expected = f'{a(self.dimension)} with its unit, such as "{example(self.dimension)}"'
        remedy = f"Use one of {', '.join(valid)}."
        if self.full_scale is not None and (self.full_scale.unit not in valid or self.full_scale.si <= 0):
            yield Problem(what(self.full_scale.text), expected, remedy, ("full_scale",))
        for position, error in enumerate(self.errors):
            if error.kind != "scale" and error.value.unit not in valid:
                yield Problem(what(error.value.text), expected, remedy, ("errors", position, error.kind))

    def _statements(self) -> Iterator[Problem]:
        seen: set[tuple[str, str, str | None]] = set()
        for position, error in enumerate(self.errors):
            key = (error.kind, error.scope, error.name)
            if key in seen:
                found = f"a second {error.kind} per {error.scope}" + (f" named {error.name}" if error.name else "")
                remedy = "Give each a name: of its own, or state their sum once."
                yield Problem(found, "statements that can be told apart", remedy, ("errors", position))
            seen.add(key)
            if error.kind == "linearity" and self.full_scale is None:
                remedy = f'Add full_scale: "{example(self.dimension)}" to the instrument.'
                yield Problem("linearity without full_scale", "full_scale", remedy, ("errors", position))

    def _calibrations(self) -> Iterator[Problem]:
        for position, entry in enumerate(self.calibrations):
            for problem in entry.load_problems(self.measures, self.dimension):
                yield problem.under("calibrations", position)
        yield from _twice(self.calibrations, "dated", "calibrations")
        for position, check in enumerate(self.checks):
            for problem in check.problems(self.measures):
                yield problem.under("checks", position)
        yield from _twice(self.checks, "date", "checks")

    def calibration_on(self, day: date) -> CalibrationEntry | None:
        """Return the latest calibration in force on that day, or None."""
        valid = [entry for entry in self.calibrations if entry.in_force(day)]
        return max(valid, key=lambda entry: entry.dated, default=None)


def _twice(entries: Sequence[CalibrationEntry | CrossTalkEntry | CheckWeight], key: str, of: str) -> Iterator[Problem]:
    """Yield a problem for every second entry of one day."""
    days: set[date] = set()
    for position, entry in enumerate(entries):
        day = getattr(entry, key)
        if day in days:
            yield Problem(f"two {of} of {day}", "one a day", "Keep one, or correct the date.", (of, position, key))
        days.add(day)


class Location(Model):
    """Where the rig stands; local gravity follows from it."""

    latitude: Angle = doc("latitude, south negative", "54.1 deg")
    elevation: Elevation = doc("height above sea level", "180 m")

    @model_validator(mode="after")
    def _on_earth(self) -> Self:
        if abs(self.latitude.si) > _LATITUDE:
            expected = "a latitude between -90 deg and 90 deg"
            refuse([Problem(what(self.latitude.text), expected, "Correct it.", ("latitude",))])
        return self


class Flywheel(Model):
    """A disc whose inertia is declared, or follows from its mass and size."""

    inertia: InertiaValue | None = doc(
        "moment of inertia; without it, it follows from mass or material and size",
        {"value": "5.0e-5 kg*m**2", "standard": "0.3 %"},
        default=None,
    )
    mass: MassValue | None = doc("mass, where the inertia follows from it", "111.2 g", default=None)
    diameter: Length = doc("outer diameter", "60 mm")
    bore: Length | None = doc("diameter of the hole; none for a solid disc", "5 mm", default=None)
    thickness: Length = doc("thickness", "5 mm")
    material: Words = doc("what it is made of", "steel")
    rated_speed: Speed = doc("speed it must not pass", "45000 rpm")


class Propeller(Model):
    """A propeller that campaigns share."""

    serial: Words = doc("marks this very piece; figures compare only on the same serial", "P3")
    diameter: Length = doc("diameter", "129.5 mm")
    blades: int = doc("number of blades", 3, ge=1, le=20)
    pitch: Length = doc("geometric pitch", "114 mm")
    reseat: Ratio | None = doc(
        "standard scatter of thrust and power from one mounting to the next", "0.4 %", default=None
    )


class Drive(Model):
    """The electronic drive of the motor."""

    model: Words = doc("model of the drive", "Heron 45")
    firmware: Words | None = doc("firmware and version", "2.14", default=None)
    timing: Angle | None = doc("commutation timing", "16 deg", default=None)
    pwm: Frequency | None = doc("switching frequency", "48 kHz", default=None)
    on_resistance: Resistance | None = doc("on-resistance of one switch", "2 mohm", default=None)


class RigFile(Model):
    """runs/rigs/<rig>/rig.yaml."""

    rig: Name = doc("name of the rig, equal to its folder's", "north-bench")
    location: Location | None = doc(
        "where it stands; needed by calibrations with masses", {"latitude": "54.1 deg"}, default=None
    )
    instruments: Table[Name, InstrumentEntry] = doc("instruments by name", {"balance": {"measures": "mass"}})
    flywheels: Table[Name, Flywheel] = Field(default={}, description="flywheels by name", examples=[{}])
    propellers: Table[Name, Propeller] = Field(default={}, description="propellers by name", examples=[{}])
    drives: Table[Name, Drive] = Field(default={}, description="drives by name", examples=[{}])
    logs: Table[Name, LogLayout] = Field(default={}, description="log layouts by test", examples=[{}])
    cross_talk: Many[CrossTalkEntry] = doc(
        "loadings of a thrust and torque stand; the one in force on the test date applies",
        [{"file": "calibration/cross-talk.csv"}],
        default=(),
    )

    @model_validator(mode="after")
    def _layouts(self) -> Self:
        refuse(self._problems())
        return self

    def _problems(self) -> Iterator[Problem]:
        measures: dict[str, str] = {name: entry.measures for name, entry in self.instruments.items()}
        for test, layout in self.logs.items():
            if test not in LAYOUT_TESTS:
                problem = unknown(test, LAYOUT_TESTS, "test")
                yield Problem(problem.found, problem.expected, problem.remedy, ("logs", test))
            for problem in layout_problems(layout, measures):
                yield problem.under("logs", test)
        for position, entry in enumerate(self.cross_talk):
            for problem in entry.problems(self.instruments):
                yield problem.under("cross_talk", position)
        yield from _twice(self.cross_talk, "dated", "cross_talk")

    def cross_talk_on(self, day: date) -> CrossTalkEntry | None:
        """Return the latest cross-talk loading in force on that day, or None."""
        valid = [entry for entry in self.cross_talk if entry.in_force(day)]
        return max(valid, key=lambda entry: entry.dated, default=None)
