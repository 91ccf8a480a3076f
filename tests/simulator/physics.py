"""Motor, drive, propeller, supply and air of a simulated bench; steady states solved exactly.

Everything is SI: speed rad/s, temperature degC where named so, else K; ratios as 1. The motor is the usual first-order
machine (voltage, resistance, torque constant, drag) with a torque constant that falls a little with current; power in
equals power out plus losses to rounding.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

RPM = np.pi / 30
AIR_VISCOSITY = 1.81e-5
"""Dynamic viscosity of air near 20 degC [Pa s]."""
COPPER_ZERO = 234.5
"""Temperature below zero at which copper's resistance line meets zero [degC] (IEC 60228 form, from memory)."""

MELTING = 0.95
"""Share of thermal runaway beyond which a winding is not followed."""


@dataclass(frozen=True, slots=True)
class Air:
    """The air of a run as it truly is: temperature [degC], pressure [Pa], relative humidity [1]."""

    temperature: float = 15.0
    pressure: float = 101325.0
    humidity: float = 0.0

    @property
    def density(self) -> float:
        """Density of moist air [kg/m**3], the CIPM-2007 equation (Picard et al. 2008, from memory)."""
        t, p = self.temperature, self.pressure
        kelvin = t + 273.15
        saturation = np.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)
        vapour = self.humidity * (1.00062 + 3.14e-8 * p + 5.6e-7 * t**2) * saturation / p
        compression = (
            1
            - p
            / kelvin
            * (
                1.58123e-6
                - 2.9331e-8 * t
                + 1.1043e-10 * t**2
                + (5.707e-6 - 2.051e-8 * t) * vapour
                + (1.9898e-4 - 2.376e-6 * t) * vapour**2
            )
            + (p / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * vapour**2)
        )
        return float(p * 28.96546e-3 / (compression * 8.314472 * kelvin) * (1 - 0.3780 * vapour))


@dataclass(frozen=True, slots=True)
class Motor:
    """One motor, with its drive's timing in the constant that links volts and speed.

    Parameters
    ----------
    ke_peak : float
        Peak line-to-line back-emf per speed [V s/rad].
    resistance : float
        Phase to phase at 20 degC [ohm].
    pair_skew : tuple of float
        Relative deviations of the three pairs from their mean; they add up to zero.
    drag : tuple of float
        Drag torque k0 + k1 w + k2 w**2, coefficients in N m, N m s, N m s**2.
    rotor_inertia : float
        Bell, magnets and shaft [kg m**2].
    mass, bell_mass : float
        Whole motor and its bell [kg].
    pole_pairs : int
        Electrical over mechanical frequency.
    saturation : float
        Fall of the torque constant per ampere of winding current [1/A].
    heating : float
        Short-term rise of the winding per watt of its losses during a sweep [K/W].
    soak : tuple of float
        Two-node heating in propwash: R1 [K/W], t1 [s], R2 [K/W], t2 [s].
    unbalance : complex
        Residual unbalance with its angle [kg m].
    connection : str
        ``wye`` or ``delta``.
    response : tuple of float
        Time constant of the speed with a propeller after a throttle step up, and down [s].
    heat_capacity : float
        What the winding takes up in the seconds of a spin-up [J/K].
    """

    ke_peak: float
    resistance: float
    drag: tuple[float, float, float] = (1.5e-3, 1.6e-6, 0.2e-9)
    pair_skew: tuple[float, float, float] = (0.0, 0.0, 0.0)
    rotor_inertia: float = 2.0e-6
    mass: float = 33.0e-3
    bell_mass: float = 15.5e-3
    pole_pairs: int = 7
    saturation: float = 5e-4
    heating: float = 0.6
    soak: tuple[float, float, float, float] = (1.2, 14.0, 2.2, 150.0)
    unbalance: complex = 2.5e-8 + 1.0e-8j
    connection: str = "wye"
    response: tuple[float, float] = (0.045, 0.052)
    heat_capacity: float = 4.0

    def drag_torque(self, speed: ArrayLike) -> Floats:
        """Return the motor's own drag [N m] at a speed [rad/s]."""
        w = np.asarray(speed, float)
        k0, k1, k2 = self.drag
        return k0 + k1 * w + k2 * w**2

    def resistance_at(self, temperature: ArrayLike) -> Floats:
        """Return the phase-to-phase resistance [ohm] at a winding temperature [degC]."""
        return self.resistance * (COPPER_ZERO + np.asarray(temperature, float)) / (COPPER_ZERO + 20)

    def no_load_constant(self, drive: Drive) -> float:
        """Return the volts per speed that full duty meets with this drive's timing [V s/rad].

        Six-step drive on a sinusoidal back-emf: the mean is 3/pi of the peak times the cosine of the advance.
        """
        return 3 / np.pi * self.ke_peak * float(np.cos(drive.timing))


@dataclass(frozen=True, slots=True)
class Drive:
    """A motor drive.

    Parameters
    ----------
    on_resistance : float
        Of one switch; two are in the path [ohm].
    timing : float
        Advance [rad].
    switching : float
        Switching loss at part duty, as a share of volts times amperes at half duty.
    current_limit : float
        Winding current at which the drive backs off [A].
    dead_time : float
        From command to the first change of voltage [s].
    """

    on_resistance: float = 2e-3
    timing: float = float(np.radians(16))
    switching: float = 0.004
    current_limit: float = 60.0
    dead_time: float = 8e-3


@dataclass(frozen=True, slots=True)
class Propeller:
    """A propeller at rest in the air: coefficients that drift slowly with speed.

    Parameters
    ----------
    diameter : float
        Tip to tip [m].
    thrust_coefficient, power_coefficient : float
        At ``reference_speed``.
    thrust_slope, power_slope : float
        Relative change for a relative change of speed.
    reference_speed : float
        Revolutions a second.
    inertia : float
        About the shaft [kg m**2].
    """

    diameter: float = 0.1295
    thrust_coefficient: float = 0.155
    power_coefficient: float = 0.083
    thrust_slope: float = 0.03
    power_slope: float = -0.02
    reference_speed: float = 350.0
    inertia: float = 5.0e-6

    def coefficients(self, speed: ArrayLike) -> tuple[Floats, Floats]:
        """Return thrust and power coefficient [1] at a speed [rad/s]."""
        relative = np.asarray(speed, float) / (2 * np.pi * self.reference_speed) - 1
        # A bounded change: the coefficients stay near their plateau however slow or fast the propeller turns.
        bend = np.tanh(relative)
        return (
            self.thrust_coefficient * (1 + self.thrust_slope * bend),
            self.power_coefficient * (1 + self.power_slope * bend),
        )

    def thrust(self, speed: ArrayLike, density: float) -> Floats:
        """Return the static thrust [N]."""
        n = np.asarray(speed, float) / (2 * np.pi)
        return self.coefficients(speed)[0] * density * n**2 * self.diameter**4

    def torque(self, speed: ArrayLike, density: float) -> Floats:
        """Return the torque that turns the propeller [N m]."""
        n = np.asarray(speed, float) / (2 * np.pi)
        return self.coefficients(speed)[1] * density * n**2 * self.diameter**5 / (2 * np.pi)


@dataclass(frozen=True, slots=True)
class Flywheel:
    """A disc on the shaft.

    Parameters
    ----------
    inertia : float
        As it truly is [kg m**2].
    diameter, thickness : float
        [m].
    faces, rim : float
        How many times the drag of faces and rim is that of the formula.
    """

    inertia: float
    diameter: float = 60e-3
    thickness: float = 5e-3
    faces: float = 1.0
    rim: float = 1.0

    def windage(self, speed: ArrayLike, density: float) -> Floats:
        """Return the torque of the air on both faces and the rim [N m].

        Free disc, laminar below a Reynolds number of 3e5 and turbulent above (Schlichting, from memory); the rim with a
        skin friction coefficient of 0.005 (judgement).
        """
        w, r = np.maximum(np.asarray(speed, float), 1e-9), self.diameter / 2
        reynolds = w * r**2 * density / AIR_VISCOSITY
        moment = np.where(reynolds < 3e5, 3.87 * reynolds**-0.5, 0.146 * reynolds**-0.2)
        rim = 0.005 * np.pi * self.thickness * r**4
        return density * w**2 * (self.faces * 0.5 * moment * r**5 + self.rim * rim)


@dataclass(frozen=True, slots=True)
class Supply:
    """A supply that sags: open-circuit volts and source resistance with its leads [ohm]."""

    volts: float = 22.0
    resistance: float = 8e-3


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything that decides an operating point.

    ``thrust_factor`` and ``power_factor`` are how this mounting of the propeller differs from its mean mounting;
    ``warmth`` is how much hotter (above 1) or cooler the winding is than the mean of the two branches of a sweep.
    """

    motor: Motor
    drive: Drive
    propeller: Propeller
    supply: Supply
    density: float
    ambient: float = 21.0
    thrust_factor: ArrayLike = 1.0
    power_factor: ArrayLike = 1.0
    warmth: ArrayLike = 1.0


@dataclass(frozen=True, slots=True)
class State:
    """Steady states, one entry a speed; SI, temperature in degC."""

    speed: Floats
    throttle: Floats
    voltage: Floats
    current: Floats
    winding_current: Floats
    thrust: Floats
    torque: Floats
    winding_temperature: Floats

    @property
    def electrical_power(self) -> Floats:
        """Power at the drive's input [W]."""
        return self.voltage * self.current

    @property
    def shaft_power(self) -> Floats:
        """Power that leaves the shaft [W]."""
        return self.torque * self.speed


def winding_current(torque: Floats, constant: float, saturation: float) -> Floats:
    """Return the current that makes an air-gap torque, ``torque = k (1 - s i) i`` solved for i [A]."""
    if saturation == 0:
        return torque / constant
    return 2 * torque / constant / (1 + np.sqrt(1 - 4 * saturation * torque / constant))


def _winding_temperature(setup: Setup, current: Floats, drag_power: Floats) -> Floats:
    """Temperature at which losses, with the resistance they warm, meet the heat path [degC]."""
    motor = setup.motor
    heating = motor.heating * np.asarray(setup.warmth)
    # A bracket may look at currents beyond full throttle that would melt the winding: still increasing there.
    per_degree = np.minimum(heating * current**2 * motor.resistance / (COPPER_ZERO + 20), MELTING)
    return (setup.ambient + heating * drag_power + per_degree * COPPER_ZERO) / (1 - per_degree)


def terminals(supply: Supply, drive: Drive, volts: Floats, current: Floats) -> tuple[Floats, Floats]:
    """Return supply volts and supply amperes behind an effective motor voltage and a winding current."""
    terminal = np.full_like(volts, supply.volts)
    for _ in range(8):
        duty = volts / terminal
        power = volts * current + drive.switching * terminal * current * 4 * duty * np.maximum(1 - duty, 0)
        terminal = supply.volts - supply.resistance * power / terminal
    return terminal, power / terminal


def operate(setup: Setup, speed: ArrayLike) -> State:
    """Return the steady state at each speed [rad/s]."""
    w = np.asarray(speed, float)
    motor, drive = setup.motor, setup.drive
    torque = setup.propeller.torque(w, setup.density) * setup.power_factor
    drag = motor.drag_torque(w)
    constant = motor.no_load_constant(drive)
    amperes = winding_current(torque + drag, constant, motor.saturation)
    temperature = _winding_temperature(setup, amperes, drag * w)
    path = motor.resistance_at(temperature) + 2 * drive.on_resistance
    volts = constant * (1 - motor.saturation * amperes) * w + amperes * path
    terminal, current = terminals(setup.supply, drive, volts, amperes)
    thrust = setup.propeller.thrust(w, setup.density) * setup.thrust_factor
    return State(w, volts / terminal, terminal, current, amperes, thrust, torque, temperature)


def increasing_root(function: Callable[[Floats], Floats], target: Floats, low: float, high: float) -> Floats:
    """Return where an increasing function meets each target, by false position with Illinois weights.

    Parameters
    ----------
    function : callable
        Increasing, elementwise.
    target : ndarray, shape (n,)
        Wanted values.
    low, high : float
        A bracket for all of them.
    """
    a, b = np.full_like(target, low), np.full_like(target, high)
    at_a, at_b = function(a) - target, function(b) - target
    middle = b
    for _ in range(60):
        middle = (a * at_b - b * at_a) / (at_b - at_a)
        at_middle = function(middle) - target
        if np.all(np.abs(at_middle) <= 1e-12 * np.abs(target)):
            break
        below = at_middle < 0
        at_a, at_b = np.where(below, at_middle, at_a / 2), np.where(below, at_b / 2, at_middle)
        a, b = np.where(below, middle, a), np.where(below, b, middle)
    return middle


def operate_at(setup: Setup, key: str, target: ArrayLike) -> State:
    """Return the steady state at which ``key`` (a field or property of `State`) has each target value.

    Raises
    ------
    ValueError
        If a target lies beyond full throttle.
    """
    wanted = np.atleast_1d(np.asarray(target, float))
    if key == "speed":
        return operate(setup, wanted)
    ceiling = setup.supply.volts / setup.motor.no_load_constant(setup.drive)
    # Past the ceiling full throttle turns nothing, so a target that is not met below it lies beyond full throttle.
    beyond = np.any(wanted > getattr(operate(setup, np.full_like(wanted, ceiling)), key))
    if not beyond:
        speed = increasing_root(lambda w: getattr(operate(setup, w), key), wanted, 1.0, ceiling)
        state = operate(setup, speed)
        beyond = np.any(state.throttle > 1 + 1e-9)
    if beyond:
        message = f"{key} {wanted.max():g} is beyond full throttle"
        raise ValueError(message)
    return state


def turning_free(motor: Motor, drive: Drive, volts: ArrayLike, temperature: float) -> tuple[Floats, Floats]:
    """Return speed [rad/s] and current [A] at full duty without load, at each voltage [V] of a stiff supply.

    Parameters
    ----------
    motor, drive : Motor, Drive
        Who turns.
    volts : array_like, shape (n,)
        At the drive's terminals.
    temperature : float
        Of the winding [degC].
    """
    supply = np.atleast_1d(np.asarray(volts, float))
    constant = motor.no_load_constant(drive)
    path = float(motor.resistance_at(temperature)) + 2 * drive.on_resistance

    def needed(speed: Floats) -> Floats:
        amperes = winding_current(motor.drag_torque(speed), constant, motor.saturation)
        return constant * (1 - motor.saturation * amperes) * speed + amperes * path

    speed = increasing_root(needed, supply, 1.0, float(supply.max()) / constant)
    return speed, winding_current(motor.drag_torque(speed), constant, motor.saturation)
