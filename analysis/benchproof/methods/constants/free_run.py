"""One run without load: volts behind the resistive drop, speed and current, as lines and curves that can be read."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

from benchproof.methods.constants.copper import resistance_ratio
from benchproof.methods.constants.lines import EDGE, FEWEST_OF_A_CURVE, Curve, Slope, slope_through_origin
from benchproof.methods.constants.motor_constant import NO_RESISTANCE
from benchproof.methods.constants.points import Channel, channel
from benchproof.trials.quantity import Quantity, combine, merge_parts

if TYPE_CHECKING:
    from benchproof.campaign.models.rig import Drive
    from benchproof.methods.bench import Bench
    from benchproof.methods.constants.motor_constant import Others
    from benchproof.trials.engine import Trials

TOO_FEW: Final = "too_few_points"
DROP: Final = "drop_above_voltage"
"""Current times resistance is more than the supply gave: a unit is wrong somewhere."""


@dataclass(frozen=True, slots=True)
class FreeRun:
    """A run of one sample without load at full duty.

    Parameters
    ----------
    sample : str
        The sample.
    place : tuple of str
        Identity of the run.
    voltage, current, speed : Channel
        V, A and rad/s, of the supply and the shaft.
    temperature : Quantity
        Of the winding, K.
    drive : Drive or None
        As the rig file states it.
    others : Others
        What other tests of the sample came to.
    kv_back_emf : Quantity or None
        Kv of the sample driven from outside, rad/s/V.
    currents : tuple of Quantity
        The currents as single readings, where there are too few for a curve; else empty.
    """

    sample: str
    place: tuple[str, ...]
    voltage: Channel
    current: Channel
    speed: Channel
    temperature: Quantity
    drive: Drive | None
    others: Others
    kv_back_emf: Quantity | None
    currents: tuple[Quantity, ...] = ()

    @property
    def drive_resistance(self) -> float:
        """Resistance of the two switches in the path, ohm; 0 where it is not stated."""
        stated = self.drive.on_resistance if self.drive is not None else None
        return 2 * stated.si if stated is not None else 0.0


class ReducedRun:
    """A run without load, ready to be read.

    Parameters
    ----------
    run : FreeRun
        The run.
    trials : Trials
        The laboratory's trials.
    """

    def __init__(self, run: FreeRun, trials: Trials) -> None:
        self.run = run
        self._trials = trials
        self._label = f"scatter of points without load, sample {run.sample}"
        self._curves = {
            axis: _curve(where, run.current, (*run.place, "scatter", "current"), f"{self._label}, current", trials)
            for axis, where in (("voltage", run.voltage), ("speed", run.speed))
        }

    @cached_property
    def behind(self) -> Channel | None:
        """Volts behind the resistive drop; None without a resistance, or where the drop leaves none."""
        return _behind(self.run)

    @cached_property
    def line(self) -> Slope | None:
        """Those volts over speed; None where there are none."""
        if self.behind is None:
            return None
        place, label = (*self.run.place, "scatter", "speed"), f"{self._label}, speed"
        return slope_through_origin(self.run.speed, self.behind, place, label, self._trials)

    @property
    def without_kv(self) -> str:
        """Why there is no Kv, where there is none."""
        return NO_RESISTANCE if self.run.others.resistance is None else DROP

    @property
    def kv(self) -> Quantity | None:
        """Speed per volt behind the resistive drop, rad/s/V; None where that cannot be had."""
        return None if self.line is None else combine(lambda k: 1 / k, self.line.slope)

    def curve(self, axis: str) -> Curve | None:
        """Return the current along voltage or speed; None with too few points for a curve."""
        return self._curves[axis]

    def current_at(self, axis: str, place: float) -> Quantity | str:
        """Return the current at a voltage or speed (SI), or why there is none."""
        where = self.run.voltage if axis == "voltage" else self.run.speed
        low, high = float(where.values.min()), float(where.values.max())
        if not low * (1 - EDGE) <= place <= high * (1 + EDGE):
            return "not_reached"
        curve = self._curves[axis]
        if curve is not None:
            return curve.at(place)
        here = (k for k, value in enumerate(where.values) if abs(value / place - 1) <= EDGE)
        return next((self.run.currents[k] for k in here if self.run.currents), TOO_FEW)


def _curve(x: Channel, y: Channel, identity: tuple[str, ...], label: str, trials: Trials) -> Curve | None:
    try:
        return Curve(x, y, identity, label, trials)
    except ValueError:  # too few points, or at too few places
        return None


def _behind(run: FreeRun) -> Channel | None:
    """Return the volts behind the resistive drop; None without a resistance, or where the drop leaves none."""
    if run.others.resistance is None:
        return None
    hot = combine(lambda r, t: r * resistance_ratio(t), run.others.resistance, run.temperature)
    path, added = hot.value + run.drive_resistance, hot.trials + run.drive_resistance
    values = run.voltage.values - run.current.values * path
    if values.min() <= 0:
        return None
    trials = run.voltage.trials - run.current.trials * added
    return Channel(values, trials, merge_parts((run.voltage.parts, run.current.parts, hot.parts)))


def gather_run(test: Any, bench: Bench, others: Others, kv_back_emf: Quantity | None) -> FreeRun:
    """Return a run without load.

    Raises
    ------
    InputError
        If the rig lacks an instrument for it.
    """
    drive = bench.rig.drives[bench.campaign.drive] if bench.campaign.drive is not None else None
    few = len(test.points) < FEWEST_OF_A_CURVE
    fields = {name: channel(name, name, test, bench) for name in ("voltage", "current", "speed")}
    return FreeRun(
        sample=test.sample,
        place=bench.place(test),
        **fields,
        temperature=bench.read(
            "temperature", test.winding_temperature, test, "winding temperature", "winding_temperature"
        ),
        drive=drive,
        others=others,
        kv_back_emf=kv_back_emf,
        currents=tuple(
            bench.read("current", point.current, test, f"single current {k}", "current")
            for k, point in enumerate(test.points)
            if few
        ),
    )
