"""What a motor loses as heat: copper by the winding's current, and its own drag.

The current of the winding is not that of the supply: at part duty it is larger, and copper loss by the supply current
would come out several times too small. It follows from the balance of power

    U I = k w (1 - s i) i + (R(t) + 2 R_on) i^2 + 4 c D (1 - D) U i

with the torque constant k, the speed w, the resistance at the winding's temperature, the drive's switches in the path,
its switching loss c at half duty, and the share s by which the torque constant falls per ampere. The duty D is the
voltage at the motor over that of the supply. Neither c nor s is measured here; both are sources of error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.ndimage import uniform_filter1d

from benchproof.methods.constants.copper import resistance_ratio
from benchproof.methods.soak.run import loaded_means
from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, merge_parts
from benchproof.trials.regression import fit_polynomial

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.methods.soak.run import Binned, SoakRun
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

SWITCHING: Final = (0.004, 0.004)
"""Switching loss at half duty as a share of volts times amperes: middle and half-width (practitioner's judgement)."""

SATURATION: Final = (5e-4, 5e-4)
"""Fall of the torque constant per ampere, 1/A: middle and half-width (practitioner's judgement for small motors)."""

CALM: Final = 20.0
"""Time over which readings under load are averaged before they count as a loss, s."""

HELD: Final = 0.01
"""Departure from a straight line, relative, of a load that is held."""

_ROUNDS: Final = 25
_STANDING: Final = 1.0
"""rad/s under which nothing is driven."""


@dataclass(frozen=True, slots=True)
class Motor:
    """What decides the winding's current; floats, or arrays by trial."""

    torque_constant: Any
    resistance: Any
    on_resistance: float
    drag_torque: Any
    switching: Any = SWITCHING[0]
    saturation: Any = SATURATION[0]


@dataclass(frozen=True, slots=True, eq=False)
class Losses:
    """Losses of a soak.

    Parameters
    ----------
    current : array, shape (n,)
        Of the winding, A.
    copper, drag : array, shape (n,)
        W.
    copper_factor, drag_factor : array, shape (count,)
        What both may truly be, relative to these, by trial.
    drag_power : Quantity
        Mean drag loss under load, W.
    tilt : array, shape (n,)
        Copper loss by which the jitter of the current reading tilts the copper loss, one standard uncertainty, W.
    parts : tuple of Part
        The sources in the factors.
    """

    current: FloatArray
    copper: FloatArray
    drag: FloatArray
    copper_factor: FloatArray
    drag_factor: FloatArray
    drag_power: Quantity
    tilt: FloatArray
    parts: tuple[Part, ...]

    @property
    def total(self) -> FloatArray:
        """Copper and drag, W, shape (n,)."""
        return np.asarray(self.copper + self.drag, dtype=np.float64)


def winding_current(motor: Motor, voltage: Any, power: Any, speed: Any, temperature: Any) -> Any:
    """Return the winding's current by the balance of power.

    Parameters
    ----------
    motor : Motor
        The motor and its drive.
    voltage, power : float or array
        Of the supply, V and W.
    speed : float or array
        rad/s.
    temperature : float or array
        Of the winding, K.

    Returns
    -------
    float or array
        A; 0 where the motor stands.
    """
    path = motor.resistance * resistance_ratio(temperature) + motor.on_resistance
    turning = np.maximum(speed, _STANDING)
    amperes = power / (motor.torque_constant * turning)
    for _ in range(_ROUNDS):
        volts = motor.torque_constant * turning * (1 - motor.saturation * amperes) + path * amperes
        duty = np.clip(volts / voltage, 0.0, 1.0)
        amperes = power / (volts + motor.switching * voltage * 4 * duty * (1 - duty))
    return np.where(speed > _STANDING, amperes, 0.0)


def losses_of(run: SoakRun, log: Binned, trials: Trials) -> Losses:
    """Return the losses of a soak whose resistance, torque constant and drag are known."""
    resistance, constant, drag = _known(run)
    nominal = Motor(constant.value, resistance.value, run.on_resistance, drag.value)
    channels = log.channels
    winding, speed = _calm(channels["winding_temperature"], log), _held(channels["speed"], log)
    amperes = winding_current(nominal, channels["voltage"], log.power, channels["speed"], winding)
    current = np.where(log.loaded, _held(amperes, log), 0.0)
    copper = current**2 * resistance.value * resistance_ratio(winding)
    friction = np.where(log.loaded, drag.value * speed, 0.0)
    form = _form_parts(run, trials)
    by_trial = Motor(
        constant.trials,
        resistance.trials,
        run.on_resistance,
        drag.trials,
        SWITCHING[0] + SWITCHING[1] / 3**0.5 * form[0].draws,
        SATURATION[0] + SATURATION[1] / 3**0.5 * form[1].draws,
    )
    factors = _factors(run, log, nominal, by_trial, trials)
    watts = float(friction[log.loaded].mean())
    own = [run.instruments[name].parts(run.occasion, trials) for name in run.channels]
    parts = merge_parts((resistance.parts, constant.parts, drag.parts, *own, form))
    drag_power = Quantity(watts, watts * factors[1], merge_parts((drag.parts, *own)))
    tilt = 2 * copper * _tilt(amperes, log)
    return Losses(np.asarray(current), np.asarray(copper), np.asarray(friction), *factors, drag_power, tilt, parts)


def _calm(values: FloatArray, log: Binned) -> FloatArray:
    """Return readings without their jitter: the load is held, and what jitters is not felt by the winding."""
    loaded = log.loaded
    calm = values.astype(np.float64)
    calm[loaded] = uniform_filter1d(calm[loaded], max(round(CALM / log.step), 1), mode="nearest")
    return calm


def _held(values: FloatArray, log: Binned) -> FloatArray:
    """Return what a held load draws: a straight line under load, where that is what it is.

    Jitter of a current reading has slow parts too, which the winding does not feel either.
    """
    calm, loaded = _calm(values, log), log.loaded
    line = fit_polynomial(log.time[loaded], values[loaded], 1)(log.time[loaded])
    if np.max(np.abs(calm[loaded] - line)) <= HELD * abs(float(line.mean())):
        calm[loaded] = line
    return calm


def _tilt(values: FloatArray, log: Binned) -> FloatArray:
    """Return by how much a straight line through readings under load may be tilted, relatively, shape (n,)."""
    loaded = log.loaded
    line = fit_polynomial(log.time[loaded], values[loaded], 1)
    slope = line.fit.standard_uncertainties[1] / line.fit.coefficients[0]
    return np.where(loaded, slope * (log.time - line.centre) / line.scale, 0.0)


def _known(run: SoakRun) -> tuple[Quantity, Quantity, Quantity]:
    """Return resistance, torque constant and drag, all there."""
    found = run.constants.resistance, run.constants.torque_constant, run.constants.drag_torque
    if any(each is None for each in found):
        message = "losses need resistance, torque constant and drag"
        raise ValueError(message)
    return found  # type: ignore[return-value]


def _factors(
    run: SoakRun, log: Binned, nominal: Motor, by_trial: Motor, trials: Trials
) -> tuple[FloatArray, FloatArray]:
    """Return what copper and drag loss may truly be at the mean state under load, relative to the best estimate."""
    loaded = log.loaded
    indicated = loaded_means(run)
    true = {
        name: run.instruments[name].true_trials(value, run.occasion, trials)[0] for name, value in indicated.items()
    }
    best = {name: float(run.instruments[name].corrected(value)[0]) for name, value in indicated.items()}
    # Power scales with volts and amperes, whatever ripple they share.
    mean_power = float(log.power[loaded].mean())
    power = mean_power * true["voltage"] * true["current"] / (best["voltage"] * best["current"])
    copper = {}
    for key, motor, state, watts in (("best", nominal, best, mean_power), ("true", by_trial, true, power)):
        warm = state["winding_temperature"]
        amperes = winding_current(motor, state["voltage"], watts, state["speed"], warm)
        copper[key] = amperes**2 * motor.resistance * resistance_ratio(warm)
    drag = by_trial.drag_torque * true["speed"] / (nominal.drag_torque * best["speed"])
    return np.asarray(copper["true"] / copper["best"]), np.asarray(drag)


def _form_parts(run: SoakRun, trials: Trials) -> tuple[Part, Part]:
    """Return the sources of what the balance of power does not know: the drive's own and the motor's."""
    drive = Source((run.occasion.rig, "drive", run.drive, "switching"), "switching loss of the drive", RECTANGULAR)
    motor = Source((run.occasion.campaign, "saturation"), "fall of the torque constant with current", RECTANGULAR)
    return Part(drive, trials.draw(drive)), Part(motor, trials.draw(motor))
