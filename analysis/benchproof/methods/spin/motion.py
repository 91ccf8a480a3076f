"""One log of a spin-up made ready: the rows at full command, the motion, the electrical power beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError
from benchproof.methods.spin.local import ENOUGH_ROWS, Signal, half_widths, local_fits, rows_within
from benchproof.methods.spin.signals import FEWEST_ROWS, at_full_command, signal_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from benchproof.errors import Remark
    from benchproof.methods.spin.coasting import CoastRun
    from benchproof.methods.spin.windage import Disc
    from benchproof.rig.instrument import Instrument, Occasion
    from benchproof.trials.quantity import Quantity

    FloatArray = NDArray[np.float64]

EARLY: Final = (0.05, 0.4)
"""Shares of the top speed between which power is held against speed to find what it is at standstill."""

TOP: Final = 0.995
"""A run counts up to this share of its highest speed; a motor that idles at the top has nothing to add."""

NODE_REACH: Final = 2
"""The window of a coarsely smoothed speed reaches at least to the second one on either side."""

_NODES: Final = 160
_LEAST_SPEED: Final = 1e-3


@dataclass(frozen=True, slots=True)
class SpinRun:
    """One log of a flywheel run, with what is needed to read it.

    Parameters
    ----------
    sample : str
        The sample.
    disc : Disc
        The flywheel.
    rotor : Quantity or None
        Inertia of the rotor, kg m2; None where nothing states it.
    rotor_known_by : str
        How it is known.
    time : FloatArray
        s, shape (n,).
    channels : Mapping of str to FloatArray
        ``speed`` (rad/s) or ``once_per_turn`` or both; ``voltage`` (V), ``current`` (A), ``throttle`` where logged.
    instruments : Mapping of str to Instrument
        Of speed, voltage and current.
    lags : Mapping of str to float
        How far each channel lies behind, s.
    occasion : Occasion
        Rig, campaign, run, date.
    density : Quantity
        Of the air, kg/m3.
    viscosity : float
        Of the air, Pa s.
    air_measured : bool
        Whether the run states its air.
    coasts : tuple of CoastRun
        Coast-downs of the sample in this campaign, for the flywheel's windage.
    resistance : float or None
        Phase to phase at the start of the run, ohm; None where not measured.
    """

    sample: str
    disc: Disc
    rotor: Quantity | None
    rotor_known_by: str
    time: FloatArray
    channels: Mapping[str, FloatArray]
    instruments: Mapping[str, Instrument]
    lags: Mapping[str, float]
    occasion: Occasion
    density: Quantity
    viscosity: float
    air_measured: bool = True
    coasts: tuple[CoastRun, ...] = ()
    resistance: float | None = None

    @property
    def electrical(self) -> bool:
        """Whether voltage and current were logged."""
        return {"voltage", "current"} <= self.channels.keys()


@dataclass(frozen=True, slots=True)
class Limited:
    """How power goes with speed while the winding current stays at its limit: ``P = K I (w + R I / K)``.

    Parameters
    ----------
    offset : float
        R I / K at the limit, rad/s.
    slope : float
        K I at the limit, N m.

    Notes
    -----
    With ``x = I / I_limit`` power is ``slope x (w + offset x)``, which gives x from power and speed at any moment: 1
    at the limit, less beyond it. Torque follows x closely, so x is the shape that the acceleration is taken to have
    inside a window. Were both numbers wrong, x would still be a smooth function of power and speed, and only the
    windows narrower.
    """

    offset: float
    slope: float

    def share(self, power: FloatArray, speed: FloatArray) -> FloatArray:
        """Return x, the winding current over its limit."""
        root = np.sqrt(speed**2 + 4 * self.offset * np.maximum(power, 0.0) / self.slope)
        return np.asarray((root - speed) / (2 * self.offset), dtype=np.float64)

    def elasticity(self, power: FloatArray, speed: FloatArray) -> FloatArray:
        """Return by how many per cent x moves with one per cent of power."""
        square = 4 * self.offset * np.maximum(power, 0.0) / self.slope
        root = np.sqrt(speed**2 + square)
        return np.asarray(square / (2 * root * np.maximum(root - speed, 1e-9 * root)), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Nodes:
    """A motion coarsely smoothed.

    Parameters
    ----------
    time, speed : FloatArray
        s and rad/s, shape (nodes,).
    noise : FloatArray
        Standard deviation of each speed, rad/s, shape (nodes,).
    """

    time: FloatArray
    speed: FloatArray
    noise: FloatArray


@dataclass(frozen=True, slots=True)
class Motion:
    """A spin-up ready for local fits.

    Parameters
    ----------
    run : SpinRun
        The log.
    signal : Signal
        Speeds (their first derivative is wanted) or angles of marks (their second).
    start, stop : float
        Command and end of the run, s; no window reaches over either.
    nodes : Nodes
        The motion coarsely smoothed.
    limit : Limited
        What early power says of the current limit.
    shape, integral : FloatArray
        Winding current over its limit on the signal's stamps, 1 without power, and the same integrated as often as the
        signal is differentiated, shape (n,).
    power : Signal or None
        Electrical power, W.
    remarks : tuple of Remark
        What a reader must know.
    withheld : str
        Code of a reason why the run gives no figure, or nothing.
    """

    run: SpinRun
    signal: Signal
    start: float
    stop: float
    nodes: Nodes
    limit: Limited
    shape: FloatArray
    integral: FloatArray
    power: Signal | None
    remarks: tuple[Remark, ...]
    withheld: str

    def speed_at(self, time: FloatArray) -> FloatArray:
        """Return the coarsely smoothed speed, rad/s."""
        return np.asarray(np.interp(time, self.nodes.time, self.nodes.speed), dtype=np.float64)

    def moments(self, speeds: FloatArray) -> FloatArray:
        """Return when each speed was first reached, s; nan where it was not."""
        rising = np.maximum.accumulate(self.nodes.speed)
        kept = np.concatenate([[True], np.diff(rising) > 0])
        found = np.interp(speeds, rising[kept], self.nodes.time[kept], left=np.nan, right=np.nan)
        return np.asarray(found, dtype=np.float64)


def motion_of(run: SpinRun) -> Motion:
    """Return the motion of a spin-up.

    Raises
    ------
    MethodError
        If the log has too few rows at full command.
    """
    rows = at_full_command(run)
    signal, remarks, withheld = signal_of(run, rows)
    if signal.time.size < FEWEST_ROWS:
        message = f"{signal.time.size} rows of the spin-up can be used; log at least {FEWEST_ROWS}, or exclude the run"
        raise MethodError(run.occasion.run, message)
    # A mark's first stamp is where its motion becomes known; a sampled speed is known from the command on.
    start = float(signal.time[0]) if signal.derivative == 2 else float(run.time[rows[0]])
    nodes = _nodes(signal, start)
    stop = _stop(signal, nodes)
    power = _power(run, rows) if run.electrical else None
    limit = _limited(power, nodes)
    shape = _shape(signal, power, nodes, limit)
    return Motion(
        run=run,
        signal=signal,
        start=start,
        stop=stop,
        nodes=nodes,
        limit=limit,
        shape=shape,
        integral=_integral(signal, shape),
        power=power,
        remarks=tuple(remarks),
        withheld=withheld,
    )


def _nodes(signal: Signal, start: float) -> Nodes:
    """Return the motion coarsely smoothed: the narrowest local fits with rows enough."""
    end = float(signal.time[-1])
    times = np.linspace(start, end, _NODES)
    widths = half_widths(signal.spacing, end - start, signal.degree)
    _, rows = rows_within(signal, times[:, None], widths)
    enough = (rows >= ENOUGH_ROWS) & (widths >= NODE_REACH * (times[1] - times[0]))
    narrowest = np.where(enough.any(axis=1), widths[enough.argmax(axis=1)], np.nan)
    fits = local_fits(signal, times, narrowest)
    known = fits.size > 0
    scatter = float(np.median(fits.scatter[known])) if known.any() else 0.0
    speeds = np.maximum(np.nan_to_num(fits.before), _LEAST_SPEED)
    return Nodes(times, speeds, np.where(known, np.sqrt(fits.before_gain * scatter), 0.0))


def _stop(signal: Signal, nodes: Nodes) -> float:
    """Return the last stamp before the shaft idles at its top speed, s."""
    times, speeds = nodes.time, nodes.speed
    reached = np.flatnonzero(speeds >= TOP * speeds.max())
    idle = float(times[-1] - times[reached[0]]) > 0.1 * float(times[-1] - times[0])
    return float(times[reached[0]]) if idle else float(signal.time[-1])


def _power(run: SpinRun, rows: NDArray[np.intp]) -> Signal:
    """Return the electrical power, W: volts and amperes brought to one time by their lags."""
    volts = run.instruments["voltage"].corrected(run.channels["voltage"][rows])
    amperes = run.instruments["current"].corrected(run.channels["current"][rows])
    time = run.time[rows] - run.lags.get("current", 0.0)
    # Both are averages of about the same instants; where their lags differ the volts, which change least, are moved.
    volts = np.interp(time, run.time[rows] - run.lags.get("voltage", 0.0), volts)
    return Signal(time, volts * amperes, 2, 0)


def _limited(power: Signal | None, nodes: Nodes) -> Limited:
    """Return the current limit's mark on power, from a line through early power against speed."""
    times, speeds = nodes.time, nodes.speed
    top = float(speeds.max())
    if power is None:
        return Limited(top, 1.0)
    early = (speeds > EARLY[0] * top) & (speeds < EARLY[1] * top)
    if early.sum() < 3:
        return Limited(top, float(power.values.max()) / top)
    watts = np.interp(times[early], power.time, power.values)
    slope, standing = np.polyfit(speeds[early], watts, 1)
    if slope <= 0:
        return Limited(top, float(power.values.max()) / top)
    return Limited(float(np.clip(standing / slope, EARLY[0] * top, top)), float(slope))


def _shape(signal: Signal, power: Signal | None, nodes: Nodes, limit: Limited) -> FloatArray:
    """Return winding current over its limit on the signal's stamps; 1 without power."""
    if power is None:
        return np.ones(signal.time.size)
    watts = np.interp(signal.time, power.time, power.values)
    return limit.share(watts, np.interp(signal.time, nodes.time, nodes.speed))


def _integral(signal: Signal, shape: FloatArray) -> FloatArray:
    """Return the shape integrated by trapezoids as often as the signal is differentiated."""
    for _ in range(signal.derivative):
        steps = np.diff(signal.time) * (shape[1:] + shape[:-1]) / 2
        shape = np.concatenate([[0.0], np.cumsum(steps)])
    return shape
