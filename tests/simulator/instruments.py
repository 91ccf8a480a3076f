"""Instruments that err exactly as a rig file says: no less, and by nothing else.

A rig is described by the mapping that ``rig.yaml`` holds. Each error statement is drawn once for its scope (calibration,
session, run or reading) from a stream of its own, so two campaigns on one rig share what they would share on a bench.
What an instrument shows for a true value ``x``:

    F = x (1 + scale) + offset + bow(x);  indicated = the response that the calibration maps to F, plus scatter, rounded
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.signal import lfilter

from simulator.streams import stream

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

GRAM_FORCE = 9.80665e-3
WEIGHT_DENSITY = 8000.0
CALIBRATION_AIR = 1.2
SI_PER_UNIT = {
    "1": 1.0, "%": 1e-2, "ppm": 1e-6,
    "s": 1.0, "ms": 1e-3, "us": 1e-6,
    "kg": 1.0, "g": 1e-3, "mg": 1e-6,
    "N": 1.0, "mN": 1e-3, "gf": GRAM_FORCE, "kgf": 9.80665,
    "N*m": 1.0, "mN*m": 1e-3,
    "V": 1.0, "mV": 1e-3, "A": 1.0, "mA": 1e-3, "W": 1.0,
    "ohm": 1.0, "mohm": 1e-3,
    "rpm": np.pi / 30, "rad/s": 1.0,
    "degC": 1.0, "K": 1.0,
    "Pa": 1.0, "hPa": 100.0,
    "m": 1.0, "mm": 1e-3, "deg": np.pi / 180,
    "m/s**2": 1.0, "kg*m**2": 1.0, "rpm/V": np.pi / 30,
}  # fmt: skip
"""Units the simulator's own rig files use; temperatures stay in degC."""

DEFAULT_SCOPE = {
    "scale": "calibration",
    "offset": "calibration",
    "linearity": "calibration",
    "resolution": "reading",
    "repeatability": "reading",
}


def si(text: str) -> float:
    """Return the SI value of ``"0.15 %"`` and the like (temperatures in degC)."""
    number, unit = re.fullmatch(r"\s*(\S+)\s+(\S.*?)\s*", text).groups()
    return float(number) * SI_PER_UNIT[unit]


def lagged(values: Floats, interval: float, lag: float) -> Floats:
    """Return what a first-order lag [s] makes of values that run straight between their times."""
    if not lag:
        return values
    keep, ratio = np.exp(-interval / lag), lag / interval
    now, before = 1 - (1 - keep) * ratio, (1 - keep) * ratio - keep
    return lfilter([now, before], [1, -keep], values, zi=[(1 - now) * values[0]])[0]


@dataclass(frozen=True, slots=True)
class Occasion:
    """When and in which run a reading was made: ISO date and a run key such as ``campaign/log``."""

    date: str
    run: str


@dataclass(frozen=True, slots=True)
class Statement:
    """One error statement of a rig file, in SI."""

    kind: str
    size: float
    shape: str
    k: float
    per: str
    name: str

    @classmethod
    def read(cls, raw: Mapping[str, Any]) -> Statement:
        """Read one entry of an instrument's ``errors``."""
        kind = next(key for key in raw if key in DEFAULT_SCOPE)
        return cls(
            kind,
            si(raw[kind]),
            raw.get("shape", "rectangular"),
            float(raw.get("k", 1.0)),
            raw.get("per", DEFAULT_SCOPE[kind]),
            raw.get("name", ""),
        )

    def draw(self, rng: np.random.Generator, size: tuple[int, ...] = ()) -> Floats:
        """Draw the error: half-width of a rectangle, or ``k`` standard deviations of a normal."""
        if self.kind == "repeatability":
            return self.size * rng.standard_normal(size)
        if self.shape == "normal":
            return self.size / self.k * rng.standard_normal(size)
        return self.size * rng.uniform(-1, 1, size)


@dataclass(frozen=True, slots=True)
class Response:
    """The line of an instrument before calibration: indicated = zero + gain times applied, both SI."""

    zero: float = 0.0
    gain: float = 1.0


@dataclass(frozen=True, slots=True)
class Instrument:
    """One instrument of a rig; `indicate` is what it would have shown."""

    name: str
    rig: str
    entropy: int
    statements: tuple[Statement, ...]
    calibrations: tuple[Mapping[str, Any], ...]
    full_scale: float
    lag: float
    latitude: float
    elevation: float

    def in_force(self, date: str) -> str:
        """Return the file of the calibration in force on a date, or ``rig`` for an instrument without any."""
        for entry in self.calibrations:
            if str(entry["dated"]) <= date <= str(entry.get("expires", "9999")):
                return str(entry["file"])
        if self.calibrations:
            message = f"{self.name}: no calibration in force on {date}"
            raise ValueError(message)
        return "rig"

    def response(self, file: str) -> Response:
        """Return the line of the instrument while a calibration holds."""
        if file == "rig":
            return Response()
        rng = stream(self.entropy, self.rig, self.name, "response", file)
        return Response(2e-4 * self.full_scale * rng.uniform(-1, 1), 1 + 8e-3 * rng.uniform(-1, 1))

    def _instance(self, per: str, occasion: Occasion) -> str:
        return {
            "calibration": self.in_force(occasion.date),
            "session": occasion.date,
            "run": occasion.run,
        }.get(per, "")

    def _error(
        self, statement: Statement, occasion: Occasion, rng: np.random.Generator, size: tuple[int, ...]
    ) -> Floats:
        if statement.per == "reading":
            return statement.draw(rng, size)
        key = (statement.kind, statement.name, statement.per, self._instance(statement.per, occasion))
        return statement.draw(stream(self.entropy, self.rig, self.name, *key))

    def _bow(self, amplitude: ArrayLike, value: Floats) -> Floats:
        share = np.clip(value / self.full_scale, 0, 1)
        return 4 * amplitude * share * (1 - share)

    def indicate(
        self, true: ArrayLike, occasion: Occasion, rng: np.random.Generator, *, interval: float = 0.0
    ) -> Floats:
        """Return what the instrument shows [SI].

        Parameters
        ----------
        true : array_like
            True values [SI].
        occasion : Occasion
            Decides which draws are shared.
        rng : numpy.random.Generator
            Scatter of single readings.
        interval : float
            Time between values of a log [s]; the instrument's lag then acts on them.
        """
        value = np.asarray(true, float)
        if self.lag and interval:
            keep = np.exp(-interval / self.lag)
            value = lfilter([1 - keep], [1, -keep], value, zi=[keep * value[0]])[0]
        total = {kind: np.zeros(()) for kind in DEFAULT_SCOPE}
        for statement in self.statements:
            if statement.kind != "resolution":
                drawn = self._error(statement, occasion, rng, value.shape)
                total[statement.kind] = total[statement.kind] + drawn
        erring = value * (1 + total["scale"]) + total["offset"]
        erring = erring + self._bow(total["linearity"], value)
        line = self.response(self.in_force(occasion.date))
        shown = line.zero + line.gain * erring + total["repeatability"]
        for statement in self.statements:
            if statement.kind == "resolution":
                shown = np.round(shown / statement.size) * statement.size
        return shown

    def gravity(self) -> float:
        """Return the acceleration of free fall at the bench [m/s**2] (GRS80 normal gravity, from memory)."""
        s = np.sin(self.latitude) ** 2
        return float(9.780327 * (1 + 0.0053024 * s - 5.8e-6 * np.sin(2 * self.latitude) ** 2)
                     - 3.086e-6 * self.elevation)  # fmt: skip

    def calibration_rows(
        self, entry: Mapping[str, Any], loads: ArrayLike, *, cycles: int = 2, noise: float, hysteresis: float
    ) -> list[tuple[float, float, str]]:
        """Return the rows of a calibration file: applied, indicated (in its units), direction.

        Parameters
        ----------
        entry : mapping
            The calibration as the rig file lists it.
        loads : array_like
            Loads in ``applied_unit``, ascending; put on upwards, taken off downwards, ``cycles`` times.
        noise : float
            Standard scatter of one indicated value [SI].
        hysteresis : float
            Largest excess of the downward branch [SI].
        """
        rng = stream(self.entropy, self.rig, self.name, "calibrating", str(entry["file"]))
        line = self.response(str(entry["file"]))
        unit = SI_PER_UNIT[entry["indicated_unit"]]
        rows = []
        up = np.asarray(loads, float)
        for direction in ("up", "down") * cycles:
            applied = up if direction == "up" else up[::-1]
            force = applied * self._per_load(entry["applied_unit"]) * self._true_loads(entry)
            share = applied / up[-1]
            lift = hysteresis * 4 * share * (1 - share) * (direction == "down")
            shown = line.zero + line.gain * force + lift + noise * rng.standard_normal(up.size)
            rows += [(float(a), float(y), direction) for a, y in zip(applied, shown / unit, strict=True)]
        return rows

    def _true_loads(self, entry: Mapping[str, Any]) -> float:
        """Return what the loads of a calibration truly make of their stated mass: its set, its arm, their errors.

        The arm's length errs by its ``standard``, its level by its ``half_width``, the masses by theirs.
        """
        rng = stream(self.entropy, self.rig, self.name, "loads", str(entry["file"]))
        scale = 1 + si(entry.get("masses", "0 %")) * rng.uniform(-1, 1)
        arm = entry.get("arm")
        if arm is None:
            return float(scale)
        length = si(arm["length"]["value"]) + si(arm["length"]["standard"]) * rng.standard_normal()
        level = arm.get("level", {"value": "0 deg", "half_width": "0 deg"})
        slope = si(level["value"]) + si(level["half_width"]) * rng.uniform(-1, 1)
        return float(scale * length * np.cos(slope))

    def _per_load(self, unit: str) -> float:
        """SI force of one unit of load: masses hang in local gravity and float a little in the air."""
        if unit in ("kg", "g"):
            return SI_PER_UNIT[unit] * self.gravity() * (1 - CALIBRATION_AIR / WEIGHT_DENSITY)
        return SI_PER_UNIT[unit]


@dataclass(frozen=True, slots=True)
class Crossing:
    """What the cells of a stand truly feel of each other's load: N per N m of torque, N m per N of thrust."""

    into_thrust: float = 0.0
    into_torque: float = 0.0

    def felt(self, thrust: ArrayLike, torque: ArrayLike) -> tuple[Floats, Floats]:
        """Return what both cells feel [N, N m]."""
        t, q = np.asarray(thrust, float), np.asarray(torque, float)
        return t + self.into_thrust * q, q + self.into_torque * t


@dataclass(frozen=True, slots=True)
class Rig:
    """A rig as it truly is: the description everybody can read, and the errors nobody knows.

    Parameters
    ----------
    description : mapping
        The content of ``rig.yaml``.
    entropy : int
        Seed of everything this rig does.
    """

    description: Mapping[str, Any]
    entropy: int
    _made: dict[str, Instrument] = field(default_factory=dict)

    @classmethod
    def drawn(cls, description: Mapping[str, Any], rng: np.random.Generator) -> Rig:
        """Return a rig whose errors come from the given generator."""
        return cls(description, int(rng.integers(2**63)))

    @property
    def name(self) -> str:
        """Key of the rig."""
        return str(self.description["rig"])

    def stream(self, *key: str) -> np.random.Generator:
        """Return a generator of this rig's own."""
        return stream(self.entropy, self.name, *key)

    def instrument(self, name: str) -> Instrument:
        """Return an instrument by its key in the rig file."""
        if name not in self._made:
            raw = self.description["instruments"][name]
            place = self.description.get("location", {})
            self._made[name] = Instrument(
                name,
                self.name,
                self.entropy,
                tuple(Statement.read(entry) for entry in raw.get("errors", ())),
                tuple(raw.get("calibrations", ())),
                si(raw.get("full_scale", "1 1")),
                si(raw.get("lag", "0 s")),
                si(place.get("latitude", "45 deg")),
                si(place.get("elevation", "0 m")),
            )
        return self._made[name]

    @property
    def crossing(self) -> Crossing:
        """The stand's cross-talk; none where the description states no loading of it."""
        if not self.description.get("cross_talk"):
            return Crossing()
        draws = self.stream("crossing").uniform(-1, 1, 2)
        return Crossing(float(1.5 * draws[0]), float(1.5e-3 * draws[1]))

    def loading_rows(
        self, entry: Mapping[str, Any], thrusts: ArrayLike, torques: ArrayLike, *, noise: tuple[float, float]
    ) -> list[tuple[float, float, float, float]]:
        """Return the rows of a cross-talk file: applied and indicated thrust and torque, in its units.

        Parameters
        ----------
        entry : mapping
            The loading as the rig file lists it.
        thrusts, torques : array_like, shape (n,)
            Loads in their ``applied_unit``.
        noise : tuple of float
            Standard scatter of one indicated value of each cell [N, N m].
        """
        rng = self.stream("loading", str(entry["file"]))
        names = ("thrust", "torque")
        cells = [self.instrument(entry[name]["instrument"]) for name in names]
        units = [(entry[name]["applied_unit"], entry[name]["indicated_unit"]) for name in names]
        stated = (np.asarray(thrusts, float), np.asarray(torques, float))
        truly = [
            cell._true_loads({**entry[name], "file": entry["file"]}) for name, cell in zip(names, cells, strict=True)
        ]
        applied = [
            load * cell._per_load(unit) * share
            for load, cell, (unit, _), share in zip(stated, cells, units, truly, strict=True)
        ]
        columns = list(stated)
        for cell, felt, scatter, (_, unit) in zip(cells, self.crossing.felt(*applied), noise, units, strict=True):
            line = cell.response(cell.in_force(str(entry["dated"])))
            shown = line.zero + line.gain * felt + scatter * rng.standard_normal(felt.size)
            columns.append(shown / SI_PER_UNIT[unit])
        return [tuple(float(cell) for cell in row) for row in zip(*columns, strict=True)]

    def that_measures(self, what: str) -> Instrument:
        """Return the only instrument that measures something."""
        (name,) = (key for key, raw in self.description["instruments"].items() if raw["measures"] == what)
        return self.instrument(name)
