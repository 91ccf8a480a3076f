"""A bench and its runs: thrust sweeps as logs, weighings and air readings as the instruments showed them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.signal import lfilter

from simulator.instruments import Occasion, Rig, si
from simulator.loggers import Fault, Recording, Style, record
from simulator.physics import Air, Drive, Flywheel, Motor, Propeller, Setup, State, Supply, operate_at
from simulator.streams import coloured

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

MOTOR_LAG = 0.045
"""Time constant of the speed after a throttle step [s]."""
STOPPING_LAG = 0.35
"""Time constant of the speed when the drive lets go [s]."""
WAKE_LAG = 0.3
"""Time constant with which the thrust follows the speed [s]."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviations from one sample of a model to the next, relative."""

    kv: float = 0.006
    resistance: float = 0.012
    drag: float = 0.06
    mass: float = 0.003


@dataclass(frozen=True, slots=True)
class Bench:
    """One motor model on one rig.

    Parameters
    ----------
    rig : Rig
        Instruments; benches that share it share its errors.
    model : Motor
        The model's mean.
    samples : mapping of str to Motor
        The samples tested.
    propellers : mapping of str to Propeller
        As they turn when mounted as on average; keys as in the rig file.
    drive, supply : Drive, Supply
        As they truly are.
    campaign : str
        First part of every run key.
    flywheels : mapping of str to Flywheel
        As they truly are; keys as in the rig file.
    """

    rig: Rig
    model: Motor
    samples: Mapping[str, Motor]
    propellers: Mapping[str, Propeller]
    drive: Drive = Drive()
    supply: Supply = Supply()
    campaign: str = "bench"
    flywheels: Mapping[str, Flywheel] = field(default_factory=dict)

    def motor(self, sample: str | None) -> Motor:
        """Return a sample's motor, or the model's mean."""
        return self.model if sample is None else self.samples[sample]

    def setup(self, sample: str | None, propeller: str, density: float, ambient: float = 21.0) -> Setup:
        """Return the mean mounting of a propeller on a sample in air of a density [kg/m**3]."""
        return Setup(self.motor(sample), self.drive, self.propellers[propeller], self.supply, density, ambient)

    def occasion(self, date: str, run: str) -> Occasion:
        """Return the occasion of a run of this campaign."""
        return Occasion(date, f"{self.campaign}/{run}")


@dataclass(frozen=True, slots=True)
class SweepPlan:
    """How a sweep is run: throttle levels upwards, seconds a plateau, seconds of tare, seconds between rows."""

    levels: tuple[float, ...] = tuple(np.round(np.linspace(0.1, 1.0, 19), 3).tolist())
    dwell: float = 3.0
    tare: float = 5.0
    interval: float = 0.02
    down: bool = True

    def segments(self) -> tuple[Floats, Floats, Floats]:
        """Return level, start time and branch (-1 up, +1 down, 0 tare) of each segment."""
        up = np.array(self.levels)
        down = up[-2::-1] if self.down else up[:0]
        level = np.concatenate([[0.0], up, down, [0.0]])
        # The top level is the turning point, and a sweep that only goes up has no second branch to be unlike.
        way = float(self.down)
        branch = np.concatenate([[0.0], -way * np.ones(up.size - 1), [0.0], way * np.ones(down.size), [0.0]])
        lasting = np.full(level.size, self.dwell)
        lasting[0] = self.tare
        return level, np.concatenate([[0.0], np.cumsum(lasting[:-1])]), branch

    @property
    def duration(self) -> float:
        """Length of the log [s]; the last tare waits for the propeller to stop."""
        return float(self.segments()[1][-1] + self.tare + 2.0)


@dataclass(frozen=True, slots=True)
class Roughness:
    """What the air and the drive do to a steady state: standard deviations, relative unless said.

    ``plateau`` is the scatter of thrust and power from one plateau to the next, ``warmth`` the excess of the winding's
    rise on the way down, ``zero`` the drift of a cell's tare over a run as a share of full scale, ``hum`` what the current
    of a drive at rest already scatters by [A].
    """

    thrust: float = 0.004
    speed: float = 6e-4
    current: float = 6e-3
    voltage: float = 4e-3
    plateau: float = 1e-3
    warmth: float = 0.15
    zero: float = 2e-4
    hum: float = 0.0


CALM = Roughness(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
"""Nothing but the steady states and the lags."""


def samples_of(model: Motor, spread: Spread, ids: Iterable[str], rng: np.random.Generator) -> dict[str, Motor]:
    """Draw samples about a model."""
    return {name: _sample(model, spread, rng.standard_normal(9)) for name in ids}


def _sample(model: Motor, spread: Spread, z: Floats) -> Motor:
    skew = 0.004 * (z[4:7] - z[4:7].mean())
    k0, k1, k2 = model.drag
    drag = 1 + spread.drag * z[2]
    return replace(
        model,
        ke_peak=model.ke_peak / (1 + spread.kv * z[0]),
        resistance=model.resistance * (1 + spread.resistance * z[1]),
        drag=(k0 * drag, k1 * drag, k2 * drag),
        mass=model.mass * (1 + spread.mass * z[3]),
        bell_mass=model.bell_mass * (1 + spread.mass * z[3]),
        pair_skew=tuple(skew.tolist()),
        unbalance=model.unbalance * complex(1 + 0.4 * z[7], 0.6 * z[8]),
    )


def thrust_sweep(
    bench: Bench,
    sample: str,
    occasion: Occasion,
    *,
    propeller: str,
    air: Air,
    layout: Mapping[str, Mapping[str, Any]],
    plan: SweepPlan | None = None,
    style: Style | None = None,
    faults: tuple[Fault, ...] = (),
    roughness: Roughness | None = None,
    slip: float | None = None,
) -> Recording:
    """Return the log of a thrust sweep.

    Parameters
    ----------
    bench, sample : Bench, str
        Who runs.
    occasion : Occasion
        Date and run key; the run key also finds this run's scatter and this mounting of the propeller.
    propeller : str
        Key of the propeller.
    air : Air
        The air as it truly is.
    layout, style : mapping, Style
        How the logger writes.
    plan : SweepPlan
        Levels and times.
    faults : tuple of Fault
        What goes wrong while logging.
    roughness : Roughness
        How unsteady the steady states are.
    slip : float, optional
        Throttle from which the propeller nut slips.
    """
    plan, roughness = plan or SweepPlan(), roughness or Roughness()
    rng = bench.rig.stream("run", occasion.run)
    level, start, branch = plan.segments()
    running = level > 0
    setup = _mounted(bench, sample, propeller, air, occasion)
    rough = 1 + roughness.plateau * rng.standard_normal((2, level.size))
    if slip is not None:
        rough[:, np.maximum.accumulate(level >= slip - 1e-9)] *= np.array([[0.55], [0.5]])
    setup = replace(
        setup,
        thrust_factor=setup.thrust_factor * rough[0, running],
        power_factor=setup.power_factor * rough[1, running],
        warmth=1 + roughness.warmth * branch[running],
    )
    states = operate_at(setup, "throttle", level[running])
    time = _stamps(plan, rng)
    true = _unsteady(setup, states, level, start, time, plan.interval)
    true = _roughen(true, bench.supply, roughness, plan.interval, rng)
    if roughness.hum:
        hum = bench.rig.stream("hum", occasion.run).standard_normal(time.size)
        true["current"] = true["current"] + roughness.hum * hum
    shown = _shown(bench, true, occasion, layout, plan.interval, roughness, rng)
    return record(shown, layout, style or Style(), pole_pairs=setup.motor.pole_pairs, faults=faults)


def _mounted(bench: Bench, sample: str, propeller: str, air: Air, occasion: Occasion) -> Setup:
    """This mounting of the propeller: thrust and power differ from the mean mounting, each by its own draw."""
    scatter = si(bench.rig.description["propellers"][propeller].get("reseat", "0 %"))
    factors = 1 + scatter * bench.rig.stream("mounting", occasion.run).standard_normal(2)
    setup = bench.setup(sample, propeller, air.density, air.temperature)
    return replace(setup, thrust_factor=float(factors[0]), power_factor=float(factors[1]))


def _stamps(plan: SweepPlan, rng: np.random.Generator) -> Floats:
    """Times of the rows: whole milliseconds, not quite regular."""
    times = np.arange(0, plan.duration, plan.interval)
    late = rng.integers(-1, 2, times.size) * 1e-3
    late[0] = 0
    return np.round(times + late * (plan.interval > 4e-3), 3)


def _unsteady(
    setup: Setup, states: State, level: Floats, start: Floats, time: Floats, interval: float
) -> dict[str, Floats]:
    """True channels of a sweep: each state reached through the lags of motor and wake."""

    # Segments with a tare before the first state and after the last.
    def around(values: Floats) -> Floats:
        return np.concatenate([[0.0], values, [0.0]])

    segment = np.searchsorted(start, time, side="right") - 1
    target = around(states.speed)
    lag = np.where(level > 0, MOTOR_LAG, STOPPING_LAG)
    before = np.concatenate([[0.0], target[:-1]])
    late = np.maximum(time - start[segment] - setup.drive.dead_time, 0)
    step = (before - target)[segment] * np.exp(-late / lag[segment])
    speed = target[segment] + step
    # In a tare the propeller that runs down keeps the coefficients of its last state.
    load = np.concatenate([[0], np.arange(states.speed.size), [states.speed.size - 1]])[segment]
    square = (speed / states.speed[load]) ** 2
    keep = np.exp(-interval / WAKE_LAG)
    thrust = lfilter([1 - keep], [1, -keep], states.thrust[load] * square)
    accelerating = -step / lag[segment] * (setup.motor.rotor_inertia + setup.propeller.inertia)
    torque = states.torque[load] * square + accelerating
    steady = states.torque + setup.motor.drag_torque(states.speed)
    share = np.maximum(torque + setup.motor.drag_torque(speed), 0) / steady[load]
    current = around(states.current)[segment] * share
    return {
        "time": time,
        "throttle": level[segment],
        "thrust": thrust,
        "torque": torque,
        "current": current,
        "voltage": setup.supply.volts - setup.supply.resistance * current,
        "speed": speed,
    }


def _roughen(
    true: dict[str, Floats], supply: Supply, rough: Roughness, interval: float, rng: np.random.Generator
) -> dict[str, Floats]:
    """Add what turbulence, ripple and a hunting drive do; every channel keeps its mean."""
    rows = true["time"].size
    noise = [coloured(rng, rows, interval, memory) for memory in (0.15, 0.1, 0.03, 0.03, 0.15)]
    current = true["current"] * (1 + rough.current * noise[2])
    return true | {
        "thrust": true["thrust"] * (1 + rough.thrust * noise[0]),
        "torque": true["torque"] * (1 + rough.thrust * noise[4]),
        "speed": true["speed"] * (1 + rough.speed * noise[1]),
        "current": current,
        "voltage": supply.volts - supply.resistance * current + rough.voltage * noise[3],
    }


def _shown(
    bench: Bench,
    true: Mapping[str, Floats],
    occasion: Occasion,
    layout: Mapping[str, Mapping[str, Any]],
    interval: float,
    roughness: Roughness,
    rng: np.random.Generator,
) -> dict[str, Floats]:
    """What the instruments show of true channels; time and command are exact."""
    shown = {}
    thrust, torque = bench.rig.crossing.felt(true["thrust"], true["torque"])
    felt = {**true, "thrust": thrust, "torque": torque}
    for channel, entry in layout.items():
        values = felt[channel]
        if "instrument" in entry:
            instrument = bench.rig.instrument(entry["instrument"])
            if channel in ("thrust", "torque"):
                values = values + _tare(true["time"], instrument.full_scale, roughness.zero, rng)
            values = instrument.indicate(values, occasion, rng, interval=interval)
        shown[channel] = values
    return shown


def _tare(time: Floats, full_scale: float, drift: float, rng: np.random.Generator) -> Floats:
    """What hangs on a cell with the motor at rest, and how it wanders over a run [SI]."""
    hanging, wander, bend = rng.uniform(0, 1), rng.standard_normal(), rng.uniform(-0.5, 0.5)
    share = time / time[-1]
    return full_scale * (5e-3 * hanging + drift * wander * share * (1 + bend * (1 - share)))


def weighing(bench: Bench, sample: str, part: str, occasion: Occasion, readings: int = 3) -> Floats:
    """Return the readings [kg] of the rig's balance for a motor or its bell."""
    motor = bench.samples[sample]
    true = {"motor": motor.mass, "bell": motor.bell_mass}[part]
    balance = bench.rig.that_measures("mass")
    rng = bench.rig.stream("weighing", occasion.run, sample, part)
    return balance.indicate(np.full(readings, true), occasion, rng)


def air_readings(bench: Bench, air: Air, occasion: Occasion) -> Air:
    """Return what the rig's thermometer, barometer and hygrometer show."""
    rng = bench.rig.stream("air", occasion.run)
    return Air(
        float(bench.rig.that_measures("temperature").indicate(air.temperature, occasion, rng)),
        float(bench.rig.that_measures("pressure").indicate(air.pressure, occasion, rng)),
        float(bench.rig.that_measures("humidity").indicate(air.humidity, occasion, rng)),
    )
