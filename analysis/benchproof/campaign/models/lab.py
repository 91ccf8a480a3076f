"""The lab file: who tests, at what operating points every report quotes, and how trials are drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Self

from pydantic import Field, model_validator

from benchproof.campaign.models.airframe import Airframe
from benchproof.campaign.models.base import Many, Model, Name, Table, Words, doc
from benchproof.campaign.models.values import (
    Currency,
    Force,
    Humidity,
    Power,
    Pressure,
    Ratio,
    Speed,
    Temperature,
    Voltage,
    measured,
)
from benchproof.campaign.problems import Problem, refuse
from benchproof.campaign.units import what
from benchproof.nomenclature import OPERATING_POINTS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.campaign.spellings import Dimension
    from benchproof.campaign.units import Measured

POINT_DIMENSIONS: Final[dict[str, Dimension]] = {
    "electrical_power": "power",
    "thrust": "force",
    "speed": "speed",
    "voltage": "voltage",
    "throttle": "ratio",
}
"""What each operating point is measured in."""

_SAME: Final = 1e-12


def same(one: Measured, other: Measured) -> bool:
    """Return whether two quantities are the same value, whatever their units."""
    return abs(one.si - other.si) <= _SAME * max(abs(one.si), abs(other.si))


class LabDetails(Model):
    """Who tests."""

    name: Words = doc("name of the lab, printed on every page", "Alder Lane Test Bench")
    url: Words | None = doc("address of the lab's own site", "https://bench.example", default=None)
    currency: Currency = doc("currency that prices are compared in (ISO 4217)", "EUR")
    disclosure: Words = doc(
        "who pays for the tests, printed at the top of every report", "Motors are bought at full price."
    )
    data_license: Words | None = doc("licence of the published data (SPDX identifier)", "CC-BY-4.0", default=None)
    invented: bool = doc(
        "true if the data are made up, as in a demonstration; every page then says so", True, default=False
    )


class OperatingPoints(Model):
    """Where every report reads its curves."""

    electrical_power: Many[Power] = doc("electrical powers", ["100 W", "200 W"], default=())
    thrust: Many[Force] = doc("thrusts", ["5 N", "8 N"], default=())
    speed: Many[Speed] = doc("speeds of the shaft", ["10000 rpm"], default=())
    voltage: Many[Voltage] = doc("supply voltages", ["10 V"], default=())
    throttle: Many[Ratio] = doc("throttle settings", ["50 %", "100 %"], default=())

    @model_validator(mode="after")
    def _distinct(self) -> Self:
        refuse(self._problems())
        return self

    def _problems(self) -> Iterator[Problem]:
        for key in OPERATING_POINTS:
            points: tuple[Measured, ...] = getattr(self, key)
            for position, point in enumerate(points):
                if point.si <= 0:
                    yield Problem(what(point.text), "a point above zero", "Delete it.", (key, position))
                if any(same(point, earlier) for earlier in points[:position]):
                    remedy = "Delete one of the two."
                    yield Problem(f"{what(point.text)} twice", "each point once", remedy, (key, position))

    def spelt(self, key: str, text: str) -> str | None:
        """Return the lab's own spelling of an operating point, or None if the lab does not quote it.

        Raises
        ------
        PydanticCustomError
            If `text` is not a quantity of that key.
        """
        point = measured(text, POINT_DIMENSIONS[key])
        known: tuple[Measured, ...] = getattr(self, key)
        return next((lab.text for lab in known if same(point, lab)), None)


class ReferenceAir(Model):
    """The air that propeller figures are referred to."""

    temperature: Temperature = doc("temperature of the reference air", "15 degC")
    pressure: Pressure = doc("pressure of the reference air", "1013.25 hPa")
    humidity: Humidity = doc("relative humidity of the reference air", "0 %")


def _standard_air() -> ReferenceAir:
    return ReferenceAir.model_validate({"temperature": "15 degC", "pressure": "1013.25 hPa", "humidity": "0 %"})


class Lab(Model):
    """runs/lab.yaml."""

    lab: LabDetails = doc("who tests", {"name": "Alder Lane Test Bench"})
    operating_points: OperatingPoints = Field(
        default_factory=OperatingPoints,
        description="where every report reads its curves",
        examples=[{"electrical_power": ["100 W", "200 W"]}],
    )
    reference_air: ReferenceAir = Field(
        default_factory=_standard_air,
        description="air that propeller figures are referred to",
        examples=[{"temperature": "15 degC", "pressure": "1013.25 hPa", "humidity": "0 %"}],
    )
    airframes: Table[Name, Airframe] = Field(
        default={}, description="airframes that motors are judged for", examples=[{"quad-5in": {}}]
    )
    coverage: float = doc("probability of the printed intervals", 0.95, default=0.95, ge=0.5, le=0.999)
    seed: int = doc("seed of all trials; the same for all campaigns", 20260101, ge=0, lt=2**63)
    trials: int = doc("number of trials; the same for all campaigns", 20000, default=20000, ge=1000, le=1_000_000)
