"""One log of a heat soak, with what other tests of the sample came to."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from benchproof.rig.instrument import Instrument, Occasion
    from benchproof.trials.quantity import Quantity

    FloatArray = NDArray[np.float64]

CHANNELS: Final = ("voltage", "current", "speed", "winding_temperature", "air_temperature")
"""Channels a soak needs beside time."""

UNDER_LOAD: Final = 0.2
"""Share of the usual current from which the motor counts as loaded."""

BINS: Final = 800
"""Equal stretches a log is averaged over; a fit needs no more."""

FEWEST_BINS: Final = 40


@dataclass(frozen=True, slots=True)
class Constants:
    """What other tests of the sample came to; None where there is none that counts.

    Parameters
    ----------
    resistance : Quantity or None
        Between two phases at 20 degC, ohm.
    torque_constant : Quantity or None
        N m/A.
    drag_torque : Quantity or None
        At the speed of the soak, N m.
    """

    resistance: Quantity | None
    torque_constant: Quantity | None
    drag_torque: Quantity | None


@dataclass(frozen=True, slots=True)
class SoakRun:
    """One log of a heat soak.

    Parameters
    ----------
    sample, airflow, propeller : str
        The sample, what cools it, and the propeller (empty where none is stated).
    limit : float or None
        Temperature the winding may reach, K.
    limit_words : str
        The same as the lab wrote it.
    time : array, shape (n,)
        s.
    channels : Mapping of str to array
        voltage (V), current (A), speed (rad/s), winding_temperature and air_temperature (K), shape (n,).
    instruments : Mapping of str to Instrument
        The instrument of each channel.
    occasion : Occasion
        Rig, campaign, run, date.
    constants : Constants
        What other tests of the sample came to.
    drive : str
        Name of the drive on this rig; empty where none is stated.
    on_resistance : float
        Of the two switches in the path, ohm; 0 where it is not stated.
    """

    sample: str
    airflow: str
    propeller: str
    limit: float | None
    limit_words: str
    time: FloatArray
    channels: Mapping[str, FloatArray]
    instruments: Mapping[str, Instrument]
    occasion: Occasion
    constants: Constants
    drive: str = ""
    on_resistance: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Binned:
    """A log averaged over equal stretches, up to the end of the load.

    Parameters
    ----------
    time : array, shape (n,)
        Middle of each stretch, s from the start of the load.
    step : float
        Their length, s.
    channels : Mapping of str to array
        Means, corrected by calibration, SI, shape (n,).
    power : array, shape (n,)
        Mean of voltage times current, W.
    """

    time: FloatArray
    step: float
    channels: Mapping[str, FloatArray]
    power: FloatArray

    @property
    def loaded(self) -> NDArray[np.bool_]:
        """Stretches under load, shape (n,)."""
        return self.time > 0

    @property
    def duration(self) -> float:
        """Length of the load, s."""
        return float(self.time[-1]) + self.step / 2


def load_of(current: FloatArray, where: str) -> slice:
    """Return the rows from the first to the last under load.

    What follows is left out: when the propeller stops the air stops with it, and the motor cools by another law.

    Raises
    ------
    MethodError
        If the current is never positive.
    """
    top = float(np.quantile(current, 0.9))
    rows = np.flatnonzero(current > UNDER_LOAD * top)
    if top <= 0 or rows.size < FEWEST_BINS:
        message = "the log holds no load: the current is positive on too few rows; look at its sign and its column"
        raise MethodError(where, message)
    return slice(int(rows[0]), int(rows[-1]) + 1)


def loaded_means(run: SoakRun) -> dict[str, FloatArray]:
    """Return the mean indication of each channel under load, SI, shape (1,)."""
    rows = load_of(run.channels["current"], run.occasion.run)
    return {name: np.array([float(values[rows].mean())]) for name, values in run.channels.items()}


def binned(run: SoakRun) -> Binned:
    """Return a log as means over equal stretches; the load begins with a stretch.

    Raises
    ------
    MethodError
        If the log holds no load.
    """
    rows = load_of(run.channels["current"], run.occasion.run)
    time = run.time[: rows.stop] - run.time[rows.start]
    frame = float(np.median(np.diff(run.time)))
    # Whole rows a stretch: where some held one row more than others, their middles would lie apart.
    step = frame * max(math.ceil(float(time[-1] - time[0]) / BINS / frame), 1)
    place = np.floor(time / step + 1e-9).astype(int)
    place -= place[0]
    count = np.bincount(place)
    kept = count > 0
    middle = (np.arange(count.size) + 0.5) * step + np.floor(time[0] / step + 1e-9) * step

    def averaged(values: FloatArray) -> FloatArray:
        means = np.bincount(place, values[: rows.stop])[kept] / count[kept]
        return np.asarray(np.interp(middle, middle[kept], means), dtype=np.float64)

    channels = {name: run.instruments[name].corrected(averaged(values)) for name, values in run.channels.items()}
    power = averaged(run.channels["voltage"] * run.channels["current"])
    return Binned(middle, step, channels, power)
