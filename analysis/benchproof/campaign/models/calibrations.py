"""What a rig was calibrated and checked with: dead weights, a torque arm, combined loads, the check weight."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, Self

from pydantic import PlainValidator, WithJsonSchema, model_validator

from benchproof.campaign.models.base import CalibrationPath, Day, Model, Name, Words, doc, unknown
from benchproof.campaign.models.values import AnyQuantity, Ratio, Uncertain, convertible, uncertain, value_schema
from benchproof.campaign.problems import Problem, refuse
from benchproof.campaign.units import Measured, example, shortened, spellings, what

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from benchproof.campaign.models.base import Table
    from benchproof.campaign.models.rig import InstrumentEntry
    from benchproof.campaign.spellings import Dimension

CHECKED: Final[dict[str, Dimension]] = {"mass": "mass", "thrust": "force", "torque": "torque"}
"""What a check weight can load, and the dimension of its reading."""

_LOADS: Final[tuple[Dimension, ...]] = ("mass", "force", "torque")


def _stated(dimension: Dimension, sign: Literal["any", "positive"]) -> Any:
    """Return the validator of a value that must bring its own uncertainty: no instrument of the rig read it."""
    read = uncertain(dimension, sign)

    def check(value: object) -> Measured | Uncertain:
        found = read(value)
        if isinstance(found, Measured):
            refuse([_bare(found, dimension)])
        return found

    return PlainValidator(check)


def _bare(found: Measured, dimension: Dimension) -> Problem:
    right = f'{{value: "{found.text}", half_width: "…"}}'
    return Problem(what(found.text), f"a {dimension} with its uncertainty", f"Write {right}, or standard: instead.")


StatedLength = Annotated[Uncertain, _stated("length", "positive"), value_schema("length")]
StatedAngle = Annotated[Uncertain, _stated("angle", "any"), value_schema("angle")]


def _load(value: object) -> Measured | Uncertain:
    """Read a known load with its uncertainty; its unit says whether it is a mass, a force or a torque."""
    text = value.get("value") if isinstance(value, dict) else value
    unit = str(text).strip().lstrip("+-.0123456789eE ")
    dimension: Dimension = next((each for each in _LOADS if unit in spellings(each)), "mass")
    found = uncertain(dimension, "positive")(value)
    if isinstance(found, Measured):
        refuse([_bare(found, dimension)])
    return found


Load = Annotated[Uncertain, PlainValidator(_load), WithJsonSchema({"type": "object"})]


class Arm(Model):
    """The arm that turns a hanging mass into a torque: m g L cos(level)."""

    length: StatedLength = doc("from the axis to where the masses hang", {"value": "100 mm", "standard": "0.05 mm"})
    level: StatedAngle | None = doc(
        "slope of the loaded arm; without it the arm counts as level and without error",
        {"value": "0 deg", "half_width": "1 deg"},
        default=None,
    )


class Loading(Model):
    """How known loads were put on, and what units stand in the file."""

    applied_unit: Words = doc("unit of the applied loads; a mass for dead weights", "kg")
    indicated_unit: Words = doc("unit of the indicated values", "gf")
    arm: Arm | None = doc("arm the masses hung on, for torque", {"length": {"value": "100 mm"}}, default=None)
    masses: Ratio | None = doc(
        "relative error of the set of masses, a half-width; one for all its loads", "0.01 %", default=None
    )

    def load_problems(self, measures: str, dimension: Dimension) -> Iterator[Problem]:
        """Yield what is wrong with units, arm and masses for an instrument that measures that."""
        weights = self.applied_unit in spellings("mass")
        loads = (*spellings(dimension), *(spellings("mass") if measures in ("thrust", "torque") else ()))
        if self.applied_unit not in loads:
            problem = unknown(self.applied_unit, loads, "unit")
            yield Problem(problem.found, problem.expected, problem.remedy, ("applied_unit",))
        if not convertible(self.indicated_unit, dimension):
            problem = unknown(self.indicated_unit, spellings(dimension), "unit")
            yield Problem(problem.found, problem.expected, problem.remedy, ("indicated_unit",))
        if measures == "torque" and weights and self.arm is None:
            remedy = 'Add arm: {length: {value: "100 mm", standard: "0.05 mm"}}.'
            yield Problem("masses without an arm:", "the arm that turns them into torque", remedy, ("applied_unit",))
        if self.arm is not None and not (measures == "torque" and weights):
            yield Problem("an arm without masses on it", "arm: for torque from masses", "Delete arm:.", ("arm",))
        if self.masses is not None and measures != "mass" and not weights:
            remedy = "Delete masses:, or state the loads as masses."
            yield Problem("masses: for loads that are none", "masses: for dead weights", remedy, ("masses",))


class Dated(Model):
    """Something that holds from one day until another."""

    file: CalibrationPath = doc("the file with its rows", "calibration/thrust-2026-02.csv")
    dated: Day = doc("day of the calibration", "2026-02-10")
    expires: Day = doc("first day it no longer holds", "2026-08-10")

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.expires <= self.dated:
            remedy = "Correct one of the two dates."
            refuse([Problem(str(self.expires), f"a day after {self.dated}", remedy, ("expires",))])
        return self

    def in_force(self, day: date) -> bool:
        """Return whether it holds on that day."""
        return self.dated <= day < self.expires


class CalibrationEntry(Dated, Loading):
    """One calibration of an instrument; columns applied, indicated, direction."""


class CoupledCell(Loading):
    """One cell of a stand while both were loaded."""

    instrument: Name = doc("the cell", "thrust_cell")


class CrossTalkEntry(Dated):
    """Loadings of a thrust and torque stand that show what one load does to the other cell.

    Columns thrust_applied, torque_applied, thrust_indicated, torque_indicated; a pure load has a 0 beside it.
    """

    thrust: CoupledCell = doc("the thrust cell", {"instrument": "thrust_cell", "applied_unit": "kg"})
    torque: CoupledCell = doc("the torque cell", {"instrument": "torque_cell", "applied_unit": "N*m"})

    def problems(self, instruments: Table[Name, InstrumentEntry]) -> Iterator[Problem]:
        """Yield what is wrong with its cells, given the rig's instruments."""
        for measures in ("thrust", "torque"):
            cell: CoupledCell = getattr(self, measures)
            able = tuple(name for name, entry in instruments.items() if entry.measures == measures)
            if cell.instrument not in able:
                problem = unknown(cell.instrument, able, f"instrument that measures {measures}")
                yield Problem(problem.found, problem.expected, problem.remedy, (measures, "instrument"))
            for problem in cell.load_problems(measures, CHECKED[measures]):
                yield Problem(problem.found, problem.expected, problem.remedy, (measures, *problem.inside))


class CheckWeight(Model):
    """A known weight read before a session, to see that the calibration still holds."""

    date: Day = doc("day of the session", "2026-03-02")
    applied: Load = doc("the known load", {"value": "1.000 kg", "standard": "0.05 g"})
    indicated: AnyQuantity = doc("reading with the load on, less the reading without it", "999.6 gf")
    arm: Arm | None = doc("arm the weight hung on, for torque", {"length": {"value": "100 mm"}}, default=None)

    def problems(self, measures: str) -> Iterator[Problem]:
        """Yield what is wrong with it on an instrument that measures that."""
        if measures not in CHECKED:
            expected = f"checks: on an instrument that measures {', '.join(CHECKED)}"
            yield Problem(f"a check weight on an instrument for {measures}", expected, "Delete checks:.")
            return
        dimension = CHECKED[measures]
        if self.indicated.unit not in spellings(dimension):
            remedy = f'Write it as "{example(dimension)}" is written.'
            yield Problem(what(self.indicated.text), f"a {dimension} with its unit", remedy, ("indicated",))
        weight = self.applied.value.unit in spellings("mass")
        if not weight and self.applied.value.unit not in spellings(dimension):
            found, expected = what(self.applied.value.text), f"a mass, or a {dimension}"
            yield Problem(found, expected, "Correct the unit.", ("applied",))
        if (self.arm is not None) != (measures == "torque" and weight):
            found = "arm:" if self.arm is not None else f"{shortened(self.applied.value.text)} without an arm"
            remedy = "Add arm: for a mass that makes torque; delete it elsewhere."
            yield Problem(found, "an arm for a mass on a torque cell, and only there", remedy, ("arm",))
