"""From a campaign's tests to typed runs: channels, instruments with their lags, the flywheel, the rotor, the air."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.errors import MethodError
from benchproof.methods.spin.coasting import CoastRun
from benchproof.methods.spin.discs import air_viscosity
from benchproof.methods.spin.inertia import flywheel_inertia, rotor_inertia
from benchproof.methods.spin.motion import SpinRun
from benchproof.methods.spin.windage import Disc
from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from benchproof.methods.bench import Bench
    from benchproof.rig.instrument import Instrument

BARE: Final = "none"
"""What a coast-down names instead of a flywheel when the rotor turns alone."""

USUAL_DENSITY: Final = 1.2
"""kg/m3, where the air was not measured; only the flywheel's windage goes with it."""

USUAL_TEMPERATURE: Final = 293.15
"""K, for the viscosity of air that was not measured."""

_DENSITY_HALF_WIDTH: Final = 0.1
_MEASURED: Final[tuple[str, ...]] = ("speed", "voltage", "current")
_CHANNELS: Final = (*_MEASURED, "throttle", "once_per_turn")


def disc_of(name: str, bench: Bench) -> Disc:
    """Return a flywheel of the rig.

    Raises
    ------
    InputError
        If its inertia can neither be read nor worked out.
    """
    written = bench.rig.flywheels[name]
    inertia, known_by = flywheel_inertia(name, written, bench)
    return Disc(
        name=name,
        inertia=inertia,
        known_by=known_by,
        diameter=written.diameter.si,
        bore=written.bore.si if written.bore is not None else 0.0,
        thickness=written.thickness.si,
        material=written.material,
        rated_speed=written.rated_speed.si,
    )


def spin_run(test: Any, bench: Bench) -> SpinRun:
    """Return a flywheel run of the campaign as typed input."""
    channels, instruments, lags, time = _channels(test, bench)
    rotor = rotor_inertia(test.sample, bench)
    density, viscosity = air_of(test, bench)
    return SpinRun(
        sample=test.sample,
        disc=disc_of(test.flywheel, bench),
        rotor=rotor[0] if rotor else None,
        rotor_known_by=rotor[1] if rotor else "not stated",
        time=time,
        channels=channels,
        instruments=instruments,
        lags=lags,
        occasion=bench.occasion(test),
        density=density,
        viscosity=viscosity,
        air_measured=test.air is not None,
        coasts=tuple(coast_run(each, bench) for each in bench.tests("coast_down") if each.sample == test.sample),
        resistance=winding_resistance(test.sample, bench),
    )


def coast_run(test: Any, bench: Bench) -> CoastRun:
    """Return a coast-down of the campaign as typed input.

    Raises
    ------
    MethodError
        If its log holds no speed.
    """
    channels, instruments, lags, time = _channels(test, bench)
    if not {"speed", "once_per_turn"} & channels.keys():
        message = "the log has neither speed nor once_per_turn; map one of them in its layout"
        raise MethodError(bench.run_key(test), message)
    return CoastRun(
        sample=test.sample,
        flywheel=None if test.flywheel == BARE else test.flywheel,
        shorted=test.windings == "shorted",
        time=time,
        channels=channels,
        instrument=instruments.get("speed"),
        lag=lags.get("speed", 0.0),
        occasion=bench.occasion(test),
    )


def _channels(
    test: Any, bench: Bench
) -> tuple[dict[str, NDArray[Any]], dict[str, Instrument], Mapping[str, float], NDArray[Any]]:
    log = bench.read_log(test)
    channels = {name: log.channels[name] for name in _CHANNELS if name in log.channels}
    instruments = {name: bench.channel_instrument(name, test) for name in _MEASURED if name in channels}
    lags = {name: _lag(instrument, bench) for name, instrument in instruments.items()}
    return channels, instruments, lags, log.channels["time"]


def _lag(instrument: Instrument, bench: Bench) -> float:
    lag = bench.rig.instruments[instrument.name].lag
    return lag.si if lag is not None else 0.0


def air_of(test: Any, bench: Bench) -> tuple[Quantity, float]:
    """Return density (kg/m3) and viscosity (Pa s) of the air of a test; usual values where it was not measured."""
    density = bench.air_density(test)
    if density is not None:
        temperature = test.air.temperature
        kelvin = temperature.value.si if hasattr(temperature, "standard") else temperature.si
        return density, float(air_viscosity(kelvin))
    source = Source(("method", "air not measured"), "density of air that was not measured", RECTANGULAR)
    assumed = Quantity.of(USUAL_DENSITY, _DENSITY_HALF_WIDTH / 3**0.5, source, bench.trials)
    return assumed, float(air_viscosity(USUAL_TEMPERATURE))


def winding_resistance(sample: str, bench: Bench) -> float | None:
    """Return a sample's resistance from phase to phase as it was read, ohm; None where it was not measured."""
    test = next((each for each in bench.tests("winding_resistance") if each.sample == sample), None)
    if test is None:
        return None
    pairs = [_si(getattr(test.pairs, name)) for name in ("ab", "bc", "ca")]
    leads = _si(test.leads) if test.leads is not None else 0.0
    return float(sum(pairs) / 3 - leads)


def _si(written: Any) -> float:
    return float(written.value.si if hasattr(written, "standard") else written.si)
