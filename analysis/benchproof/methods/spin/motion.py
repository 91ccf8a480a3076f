"""One log of a spin-up made ready: the rows at full command, the motion, the electrical power beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError, Remark
from benchproof.methods.spin.local import Signal, half_widths, local_fit
from benchproof.methods.spin.marks import count_turns, mark_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from benchproof.methods.spin.coasting import CoastRun
    from benchproof.methods.spin.windage import Disc
    from benchproof.rig.instrument import Instrument, Occasion
    from benchproof.trials.quantity import Quantity

    FloatArray = NDArray[np.float64]

FULL_COMMAND: Final = 0.95
"""Rows at this share of the largest command or more belong to the spin-up."""

FEWEST_ROWS: Final = 15
"""Fewer rows of a spin-up carry no acceleration and no noise of it."""

SPEED_DEGREE: Final = 3
"""Local polynomials of speed are cubics, of angle quartics: on smooth stretches the bias then grows as H^4."""

EARLY: Final = (0.05, 0.4)
"""Shares of the top speed between which power is held against speed to find what it is at standstill."""

TOP: Final = 0.995
"""A run counts up to this share of its highest speed; a motor that idles at the top has nothing to add."""

FROZEN: Final = 3.0
"""A speed that stands still and then jumps by this many of its usual steps was stuck."""

_NODES: Final = 160
_NODE_ROWS: Final = 10
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
    coasts: tuple[CoastRun, ...] = ()
    resistance: float | None = None

    @property
    def electrical(self) -> bool:
        """Whether voltage and current were logged."""
        return {"voltage", "current"} <= self.channels.keys()


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
    node_time, node_speed : FloatArray
        The motion coarsely smoothed, s and rad/s, shape (nodes,).
    offset : float
        Speed w_s for which power over (w + w_s) is flat while the current is limited, rad/s.
    shape, integral : FloatArray
        Power over (w + w_s) on the signal's stamps, 1 without power, and the same integrated as often as the signal is
        differentiated, shape (n,).
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
    node_time: FloatArray
    node_speed: FloatArray
    offset: float
    shape: FloatArray
    integral: FloatArray
    power: Signal | None
    remarks: tuple[Remark, ...]
    withheld: str

    def speed_at(self, time: FloatArray) -> FloatArray:
        """Return the coarsely smoothed speed, rad/s."""
        return np.asarray(np.interp(time, self.node_time, self.node_speed), dtype=np.float64)

    def moments(self, speeds: FloatArray) -> FloatArray:
        """Return when each speed was first reached, s; nan where it was not."""
        rising = np.maximum.accumulate(self.node_speed)
        kept = np.concatenate([[True], np.diff(rising) > 0])
        found = np.interp(speeds, rising[kept], self.node_time[kept], left=np.nan, right=np.nan)
        return np.asarray(found, dtype=np.float64)


def motion_of(run: SpinRun) -> Motion:
    """Return the motion of a spin-up.

    Raises
    ------
    MethodError
        If the log has too few rows at full command.
    """
    rows = _at_full_command(run)
    signal, remarks, withheld = _signal(run, rows)
    if signal.time.size < FEWEST_ROWS:
        message = f"{signal.time.size} rows of the spin-up can be used; log at least {FEWEST_ROWS}, or exclude the run"
        raise MethodError(run.occasion.run, message)
    # A mark's first stamp is where its motion becomes known; a sampled speed is known from the command on.
    start = float(signal.time[0]) if signal.derivative == 2 else float(run.time[rows[0]])
    nodes = _nodes(signal, start)
    stop = _stop(signal, nodes)
    power = _power(run, rows) if run.electrical else None
    offset = _offset(power, nodes)
    shape = _shape(signal, power, nodes, offset)
    return Motion(
        run=run,
        signal=signal,
        start=start,
        stop=stop,
        node_time=nodes[0],
        node_speed=nodes[1],
        offset=offset,
        shape=shape,
        integral=_integral(signal, shape),
        power=power,
        remarks=tuple(remarks),
        withheld=withheld,
    )


def _at_full_command(run: SpinRun) -> NDArray[np.intp]:
    """Return the rows of the longest stretch at full command; all rows where no command was logged."""
    throttle = run.channels.get("throttle")
    if throttle is None:
        return np.arange(run.time.size)
    full = throttle >= FULL_COMMAND * float(throttle.max())
    edges = np.flatnonzero(np.diff(np.concatenate([[False], full, [False]]).astype(np.int8)))
    starts, stops = edges[::2], edges[1::2]
    longest = int(np.argmax(stops - starts))
    return np.arange(starts[longest], stops[longest])


def _signal(run: SpinRun, rows: NDArray[np.intp]) -> tuple[Signal, list[Remark], str]:
    """Return the motion's signal: the marks where each row is one, else the speed, else the marks of a sampled log."""
    marks = run.channels.get("once_per_turn")
    speed = run.channels.get("speed")
    if marks is not None and (speed is None or bool((marks[rows] > 0.5).all())):
        return _marks_signal(run, rows, marks)
    if speed is None:
        message = "the log has neither speed nor once_per_turn; map one of them in its layout"
        raise MethodError(run.occasion.run, message)
    return _speed_signal(run, rows, speed)


def _marks_signal(run: SpinRun, rows: NDArray[np.intp], marks: FloatArray) -> tuple[Signal, list[Remark], str]:
    found = rows[mark_rows(marks[rows])]
    if found.size < FEWEST_ROWS:
        message = f"{found.size} marks of the shaft in the spin-up; log at least {FEWEST_ROWS}, or exclude the run"
        raise MethodError(run.occasion.run, message)
    turns = count_turns(run.time, found)
    remarks = []
    if turns.missing or turns.extra:
        sentence = (
            f"{turns.missing} marks of the shaft were missed and bridged, {turns.extra} inside a turn were left out"
        )
        remarks.append(Remark("marks_repaired", run.occasion.run, sentence))
    return Signal(run.time[turns.rows], turns.angle, SPEED_DEGREE + 1, 2), remarks, ""


def _speed_signal(run: SpinRun, rows: NDArray[np.intp], speed: FloatArray) -> tuple[Signal, list[Remark], str]:
    time = run.time[rows] - run.lags.get("speed", 0.0)
    values = run.instruments["speed"].corrected(speed[rows])
    kept, frozen = _live(time, values)
    remarks = []
    if frozen:
        sentence = (
            f"the speed stood still for up to {frozen:.3g} s while the shaft gained speed; these rows are left out"
        )
        remarks.append(Remark("stuck_speed", run.occasion.run, sentence))
    after = kept & (time >= run.time[rows[0]])
    return Signal(time[after], values[after], SPEED_DEGREE, 1), remarks, ""


def _live(time: FloatArray, values: FloatArray) -> tuple[NDArray[np.bool_], float]:
    """Return the rows that bring a new speed, and the longest time a speed was stuck, s.

    A telemetry slower than the log repeats each of its values; the first of each run is kept. A run far longer than the
    usual one that ends with a jump was stuck and is left out whole.
    """
    edges = np.concatenate([[0], np.flatnonzero(np.diff(values)) + 1, [values.size]])
    lengths = np.diff(edges)
    usual = int(np.median(lengths))
    fresh = np.zeros(values.size, dtype=np.bool_)
    fresh[edges[:-1] if usual > 1 else np.arange(values.size)] = True
    levels = values[edges[:-1]]
    step = float(np.median(np.abs(np.diff(levels)))) if levels.size > 1 else 0.0
    longest = 0.0
    for k in np.flatnonzero(lengths[:-1] > max(3 * usual, 3)):
        first, last = int(edges[k]), int(edges[k + 1])
        if abs(levels[k + 1] - levels[k]) > FROZEN * step and levels[k] > levels.min():
            fresh[first:last] = False
            longest = max(longest, float(time[last - 1] - time[first]))
    return fresh, longest


def _nodes(signal: Signal, start: float) -> tuple[FloatArray, FloatArray]:
    """Return the motion coarsely smoothed: the narrowest local fits with rows enough."""
    end = float(signal.time[-1])
    times = np.linspace(start, end, _NODES)
    speeds = np.array([_node(signal, float(at), end - start) for at in times])
    return times, np.maximum(speeds, _LEAST_SPEED)


def _node(signal: Signal, at: float, whole: float) -> float:
    for width in half_widths(signal.spacing, whole, signal.degree):
        fit = local_fit(signal, at, float(width))
        if fit is not None and fit.row.size >= _NODE_ROWS:
            return fit.before
    return 0.0


def _stop(signal: Signal, nodes: tuple[FloatArray, FloatArray]) -> float:
    """Return the last stamp before the shaft idles at its top speed, s."""
    times, speeds = nodes
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


def _offset(power: Signal | None, nodes: tuple[FloatArray, FloatArray]) -> float:
    """Return w_s, rad/s, from a line through early power against speed.

    At a fixed winding current I power is ``K I (w + R I / K)``, so power over (w + R I / K) is flat, and beyond the
    limit it falls as the current does. Any other w_s would do with more bias or narrower windows.
    """
    times, speeds = nodes
    top = float(speeds.max())
    if power is None:
        return top
    early = (speeds > EARLY[0] * top) & (speeds < EARLY[1] * top)
    if early.sum() < 3:
        return top
    watts = np.interp(times[early], power.time, power.values)
    slope, standing = np.polyfit(speeds[early], watts, 1)
    return float(np.clip(standing / slope, EARLY[0] * top, top)) if slope > 0 else top


def _shape(signal: Signal, power: Signal | None, nodes: tuple[FloatArray, FloatArray], offset: float) -> FloatArray:
    """Return power over (w + w_s) on the signal's stamps; 1 without power."""
    if power is None:
        return np.ones(signal.time.size)
    speed = np.interp(signal.time, *nodes)
    return np.asarray(np.interp(signal.time, power.time, power.values) / (speed + offset))


def _integral(signal: Signal, shape: FloatArray) -> FloatArray:
    """Return the shape integrated by trapezoids as often as the signal is differentiated."""
    for _ in range(signal.derivative):
        steps = np.diff(signal.time) * (shape[1:] + shape[:-1]) / 2
        shape = np.concatenate([[0.0], np.cumsum(steps)])
    return shape
