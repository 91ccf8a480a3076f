"""The tests of a campaign: one strict, frozen record a kind."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, PlainValidator, WithJsonSchema

from benchproof.campaign.models.base import (
    Day,
    LogPath,
    Many,
    Model,
    Name,
    PhotoPath,
    Prose,
    Table,
    Words,
    doc,
)
from benchproof.campaign.models.layout import LogLayout
from benchproof.campaign.models.values import (
    AngleValue,
    CurrentValue,
    HumidityValue,
    LengthValue,
    MassValue,
    PressureValue,
    Ratio,
    Resistance,
    ResistanceValue,
    SpeedValue,
    TemperatureValue,
    TimeValue,
    Value,
    VoltageValue,
    uncertain,
)


class Air(Model):
    """The air during a test."""

    temperature: TemperatureValue = doc("temperature of the air", "21.5 degC")
    pressure: PressureValue = doc("pressure at the bench, not reduced to sea level", "1002 hPa")
    humidity: HumidityValue = doc("relative humidity", "45 %")


class Test(Model):
    """What every test has."""

    sample: Name = doc("the sample that was tested", "A1")
    exclude: Words | None = doc(
        "why the test is left out of every figure; it stays listed", "nut slipped at 60 %", default=None
    )
    date: Day | None = doc("day of the test, where it is not the campaign's", "2026-03-03", default=None)
    instruments: Table[Words, Name] = Field(
        default={},
        description="which instrument was used, where the rig has several, by field or by what it measures",
        examples=[{"voltage": "multimeter", "winding_temperature": "thermocouple"}],
    )

    def named(self, field: str, measures: str) -> str | None:
        """Return the instrument that the test names for one of its fields or channels, or for what it measures."""
        return self.instruments.get(field) or self.instruments.get(measures)


class LoggedTest(Test):
    """What every test with a log has."""

    log: LogPath = doc("the log as recorded", "raw/a1-sweep-1.csv")
    layout: LogLayout | None = doc("columns of this log, where they are not the rig's", None, default=None)

    @property
    def runs(self) -> tuple[Self, ...]:
        """The test once for each log it declares, its own first."""
        return (self,)


class Weighing(Test):
    """Readings of the balance."""

    test: Literal["weighing"] = doc("kind of test", "weighing")
    part: Name = doc("the whole motor (motor) or a part of it", "motor")
    readings: Many[MassValue] = doc("readings", ["32.41 g", "32.40 g", "32.42 g"], min_length=1)


class Pairs(Model):
    """Resistances by pair of terminals."""

    ab: ResistanceValue = doc("between a and b", "55.1 mohm")
    bc: ResistanceValue = doc("between b and c", "54.8 mohm")
    ca: ResistanceValue = doc("between c and a", "55.0 mohm")


class WindingResistance(Test):
    """Resistance between the three pairs of terminals."""

    test: Literal["winding_resistance"] = doc("kind of test", "winding_resistance")
    pairs: Pairs = doc("readings by pair", {"ab": "55.1 mohm", "bc": "54.8 mohm", "ca": "55.0 mohm"})
    leads: ResistanceValue | None = doc("resistance of the leads in a reading", "0 mohm", default=None)
    winding_temperature: TemperatureValue = doc("temperature of the winding", "22.1 degC")


class BackEmfPoint(Model):
    """Voltage at a speed, driven from outside."""

    speed: SpeedValue = doc("speed", "5000 rpm")
    voltage: VoltageValue = doc("voltage from line to line", "2.86 V")


class BackEmf(Test):
    """Voltage of the motor driven from outside."""

    test: Literal["back_emf"] = doc("kind of test", "back_emf")
    waveform: Literal["peak", "rms", "rectified_mean"] = doc("what the voltages are", "peak")
    points: Many[BackEmfPoint] = doc("points", [{"speed": "5000 rpm", "voltage": "2.86 V"}], min_length=1)
    winding_temperature: TemperatureValue | None = doc("temperature of the motor", "22 degC", default=None)


class NoLoadPoint(Model):
    """Supply voltage, current and speed without load."""

    voltage: VoltageValue = doc("supply voltage", "10 V")
    current: CurrentValue = doc("supply current", "1.1 A")
    speed: SpeedValue = doc("speed", "17420 rpm")


class NoLoad(Test):
    """Runs without load at several supply voltages."""

    test: Literal["no_load"] = doc("kind of test", "no_load")
    winding_temperature: TemperatureValue = doc("temperature of the winding", "25 degC")
    points: Many[NoLoadPoint] = doc(
        "points", [{"voltage": "10 V", "current": "1.1 A", "speed": "17420 rpm"}], min_length=1
    )


class ThrustSweep(LoggedTest):
    """Throttle steps with a propeller at rest."""

    test: Literal["thrust_sweep"] = doc("kind of test", "thrust_sweep")
    propeller: Name = doc("propeller of the rig", "ref-5x45")
    air: Air | None = doc(
        "the air during the run; without it figures stay as tested and coefficients are left out",
        {"temperature": "21.5 degC", "pressure": "1002 hPa", "humidity": "45 %"},
        default=None,
    )
    winding_temperature: TemperatureValue | None = doc(
        "temperature of the winding at the end of the highest throttle, for the loss budget", "74 degC", default=None
    )


class Pendulum(Model):
    """Readings of a body hung on two or three wires."""

    pendulum: Literal["bifilar", "trifilar"] = doc("number of wires", "bifilar")
    mass: MassValue = doc("mass of the body", "14.2 g")
    period: TimeValue = doc("period of small swings", "0.61 s")
    separation: LengthValue = doc("distance of the two wires, or radius of the three", "50 mm")
    length: LengthValue = doc("length of the wires", "600 mm")
    amplitude: AngleValue | None = doc("amplitude of the swings", "5 deg", default=None)


def _inertia(value: object) -> Any:
    """Read an inertia, or the readings of a pendulum that give it."""
    if isinstance(value, dict) and "pendulum" in value:
        return Pendulum.model_validate(value)
    return uncertain("inertia", "positive")(value)


RotorInertia = Annotated[Value | Pendulum, PlainValidator(_inertia), WithJsonSchema({"type": ["string", "object"]})]


class FlywheelRun(LoggedTest):
    """Spin-up of a flywheel."""

    test: Literal["flywheel_run"] = doc("kind of test", "flywheel_run")
    flywheel: Name = doc("flywheel of the rig", "disc-60")
    rotor_inertia: RotorInertia | None = doc(
        "moment of inertia of the rotor", {"value": "2.0e-6 kg*m**2", "standard": "10 %"}, default=None
    )
    winding_temperature: TemperatureValue | None = doc(
        "temperature of the winding before the run", "22 degC", default=None
    )
    air: Air | None = doc("the air during the run", {"temperature": "21.5 degC"}, default=None)


class CoastDown(LoggedTest):
    """Run-out without drive."""

    test: Literal["coast_down"] = doc("kind of test", "coast_down")
    flywheel: Name = doc("flywheel of the rig, or none for the bare rotor", "disc-60")
    windings: Literal["open", "shorted"] = doc("state of the windings", "open")
    rotor_inertia: RotorInertia | None = doc(
        "moment of inertia of the rotor", {"value": "2.0e-6 kg*m**2", "standard": "10 %"}, default=None
    )
    air: Air | None = doc("the air during the run", {"temperature": "21.5 degC"}, default=None)


class ThrottleStep(LoggedTest):
    """Steps of the throttle to and fro."""

    test: Literal["throttle_step"] = doc("kind of test", "throttle_step")
    start: Ratio = doc("throttle before the step", "30 %", alias="from")
    to: Ratio = doc("throttle after the step", "70 %")
    propeller: Name | None = doc("propeller of the rig", "ref-5x45", default=None)


class HeatSoak(LoggedTest):
    """Heating at constant load."""

    test: Literal["heat_soak"] = doc("kind of test", "heat_soak")
    airflow: Words = doc("what cools the motor", "propwash")
    limit: TemperatureValue | None = doc("temperature the winding may reach", "100 degC", default=None)
    propeller: Name | None = doc("propeller of the rig", "ref-5x45", default=None)


class TrialMass(Model):
    """A small mass put on the rotor, and the log with it."""

    mass: MassValue = doc("mass", {"value": "50 mg", "standard": "0.5 mg"})
    radius: LengthValue = doc("distance from the axis", "12 mm")
    angle: AngleValue = doc("angle from the mark, with the rotation", "0 deg")
    log: LogPath = doc("log of the run with the mass", "raw/a1-vib-2.csv")


class Vibration(LoggedTest):
    """Acceleration over many turns."""

    test: Literal["vibration"] = doc("kind of test", "vibration")
    trial_masses: Many[TrialMass] = doc("runs with a trial mass", [{"mass": "50 mg"}], default=())

    @property
    def runs(self) -> tuple[Self, ...]:
        """The test with the log of the rotor as it is, then with that of each trial mass."""
        return (self, *(self.model_copy(update={"log": trial.log}) for trial in self.trial_masses))


class Inspection(Test):
    """What was seen."""

    test: Literal["inspection"] = doc("kind of test", "inspection")
    finding: Prose = doc("what was found", "The bell is glued, without a gap.")
    photo: PhotoPath | None = doc("picture of it", "photos/a1-bell.jpg", default=None)
    about: Words | None = doc("what it is about", "bearing", default=None)


class PackTest(LoggedTest):
    """A test of a battery pack."""

    test: Literal["pack_discharge", "pack_pulse", "pack_replay"] = doc("kind of test", "pack_discharge")
    rate: CurrentValue | None = doc("discharge current", "20 A", default=None)
    resistance: Resistance | None = doc("resistance of the leads", "1 mohm", default=None)


AnyTest = Annotated[
    Weighing
    | WindingResistance
    | BackEmf
    | NoLoad
    | ThrustSweep
    | FlywheelRun
    | CoastDown
    | ThrottleStep
    | HeatSoak
    | Vibration
    | Inspection
    | PackTest,
    Field(discriminator="test"),
]
"""One test of a campaign."""
