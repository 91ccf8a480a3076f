"""From a sweep's plateaus to points in logarithms, with every source of error by trial."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError, Remark
from benchproof.methods.plateaus import noise_of_mean
from benchproof.methods.sweep.shared import SharedErrors, directions, draws_of, solution, telling
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, merge_parts

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.plateaus import Plateau, Segments
    from benchproof.rig.cross_talk import CrossTalk
    from benchproof.rig.instrument import Instrument, Occasion
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

CHANNELS: Final = ("thrust", "torque", "voltage", "current", "speed")
"""Channels a sweep averages."""

TARED: Final = ("thrust", "torque")
"""Channels whose reading at standstill is taken off."""

STANDING_STILL: Final = 0.05
"""Below this share of the highest speed the shaft counts as standing still."""

LARGEST_TARE_SHIFT: Final = 0.003
"""Shift of the tare over a run, of full scale, that is remarked on."""


SAMPLED: Final = slice(1000)
"""Trials that tell which directions the errors of the points have."""

SURE: Final = 0.5
"""Errors that reach no further than this, in the logarithm, leave a point positive in every trial."""

AT_ONCE: Final = 10_000
"""Trials of the asked points that are worked out at once."""


@dataclass(frozen=True, slots=True)
class SweepRun:
    """One log of a thrust sweep, with what is needed to read it.

    Parameters
    ----------
    sample : str
        The sample.
    propeller : str
        Name of the propeller on this rig.
    diameter : float
        Of the propeller, m.
    reseat : float
        Standard scatter of thrust and of power from one mounting to the next, relative; 0 where not stated.
    time, throttle : FloatArray
        s and ratio, shape (n,).
    channels : Mapping of str to FloatArray
        thrust (N), voltage (V), current (A) and, where logged, speed (rad/s) and torque (N m), each shape (n,).
    instruments : Mapping of str to Instrument
        The instrument of each channel.
    occasion : Occasion
        Rig, campaign, run, date.
    density : Quantity or None
        Of the air, kg/m3; None where it was not measured.
    reference_density : float or None
        Of the air to refer to, kg/m3; None leaves figures as tested.
    pole_pairs : int
        Of the motor, to name a mistaken speed; 0 where not stated.
    settle : float
        Least time left out after a command, s.
    cross_talk : CrossTalk or None
        What crosses over between the thrust and torque cells; None where it was not measured.
    """

    sample: str
    propeller: str
    diameter: float
    reseat: float
    time: FloatArray
    throttle: FloatArray
    channels: Mapping[str, FloatArray]
    instruments: Mapping[str, Instrument]
    occasion: Occasion
    density: Quantity | None
    reference_density: float | None
    pole_pairs: int = 0
    settle: float = 0.5
    cross_talk: CrossTalk | None = None


@dataclass(frozen=True, slots=True)
class Points:
    """The plateaus of one run in logarithms.

    Parameters
    ----------
    identity : tuple of str
        Campaign and run.
    plateaus : tuple of Plateau
        The plateaus the points stand for.
    roots : Mapping of str to FloatArray
        Logarithm of each root at each plateau, best estimate, shape (n,).
    errors : SharedErrors
        What the rig adds to them, by trial.
    noise : Mapping of str to FloatArray
        Relative departure of block means from their plateau's mean, shape (n, blocks).
    throttle : FloatArray
        Commands, ratio, shape (n,).
    rising : NDArray of bool
        Which plateaus were reached from below, shape (n,).
    parts : tuple of Part
        Sources in the trials.
    diameter : float
        Of the propeller, m.
    density : Quantity or None
        Air during the run, kg/m3.
    reference_density : float or None
        Air the curve is referred to, kg/m3; None leaves it as tested.
    """

    identity: tuple[str, ...]
    plateaus: tuple[Plateau, ...]
    roots: Mapping[str, FloatArray]
    errors: SharedErrors
    noise: Mapping[str, FloatArray]
    throttle: FloatArray
    rising: NDArray[np.bool_]
    parts: tuple[Part, ...]
    diameter: float
    density: Quantity | None
    reference_density: float | None


@dataclass(frozen=True, slots=True)
class Tare:
    """Readings at standstill, before and after.

    Parameters
    ----------
    times : FloatArray
        Middle of each standstill used, s, shape (k,), k = 0, 1 or 2.
    values : Mapping of str to FloatArray
        Indicated mean of each tared channel, shape (k,).
    uncertain : Mapping of str to float
        Standard uncertainty of the tare of each channel: the drift that a straight line between the two cannot
        show (a twelfth of the squared shift) and the noise of the readings.
    """

    times: FloatArray
    values: Mapping[str, FloatArray]
    uncertain: Mapping[str, float]

    @classmethod
    def of(cls, segments: Segments, run: SweepRun) -> Tare:
        """Return the tare from the standstills before the first and after the last plateau."""
        first, last = segments.plateaus[0].start, segments.plateaus[-1].stop
        still = [s for s in segments.standstills if _stands_still(s, segments, run)]
        before = [s for s in still if s.stop <= first][-1:]
        after = [s for s in still if s.start >= last][:1]
        used = before + after
        values, uncertain = {}, {}
        for name in TARED:
            if name in run.channels:
                values[name] = np.array([s.means[name] for s in used])
                shift = float(np.ptp(values[name])) if len(used) == 2 else 0.0
                noise = sum(float(noise_of_mean(s.blocks[name])) ** 2 for s in used) / max(len(used), 1) ** 2
                uncertain[name] = (shift**2 / 12 + noise) ** 0.5
        return cls(np.array([(s.start + s.stop) / 2 for s in used]), values, uncertain)

    def at(self, name: str, times: FloatArray) -> FloatArray:
        """Return the indicated tare at some times, on the straight line between before and after, shape (n,)."""
        return np.asarray(np.interp(times, self.times, self.values[name]), dtype=np.float64)

    def remarks(self, run: SweepRun) -> tuple[Remark, ...]:
        """Return what a reader must know of the tare."""
        where = run.occasion.run
        if not self.times.size:
            sentence = (
                "the log has no second at zero throttle with the shaft at rest, so thrust is as indicated, without tare"
            )
            return (Remark("no_tare", where, sentence),)
        found = []
        for name, values in self.values.items():
            full = run.instruments[name].full_scale
            shift = float(np.ptp(values))
            if full and shift > LARGEST_TARE_SHIFT * full:
                sentence = f"the tare of {name} moved by {shift / full:.1%} of full scale during the run"
                found.append(Remark("tare_shift", where, sentence))
        return tuple(found)


def _stands_still(still: Plateau, segments: Segments, run: SweepRun) -> bool:
    if "speed" not in run.channels:
        return True
    top = max(plateau.means["speed"] for plateau in segments.plateaus)
    return still.means["speed"] <= STANDING_STILL * top


def points_of(run: SweepRun, segments: Segments, trials: Trials) -> tuple[Points, Tare, tuple[Remark, ...]]:
    """Return a run's plateaus as points in logarithms.

    Raises
    ------
    MethodError
        If no plateau settled, or thrust is never positive.
    """
    where = run.occasion.run
    if not segments.plateaus:
        message = "no throttle step settled for a second; hold each step longer, or exclude the run"
        raise MethodError(where, message)
    tare = Tare.of(segments, run)
    nominal, good, errors = _positive(run, segments.plateaus, tare, trials)
    if errors is None:
        message = "thrust, torque or power is positive on no step; look at signs and tare in the log layout"
        raise MethodError(where, message)
    used = tuple(p for p, keep in zip(segments.plateaus, good, strict=True) if keep)
    points = Points(
        identity=(run.occasion.campaign, where),
        plateaus=used,
        roots={name: np.log(values[good]) for name, values in nominal.items()},
        errors=errors,
        noise={name: _relative_blocks(name, used, tare, nominal[name][good]) for name in nominal},
        throttle=np.array([p.throttle for p in used]),
        rising=np.array([p.rising for p in used]),
        parts=_lineage(run, tare, trials),
        diameter=run.diameter,
        density=run.density,
        reference_density=run.reference_density,
    )
    return points, tare, (*tare.remarks(run), *_left_out(segments, good, where))


def _positive(
    run: SweepRun, plateaus: Sequence[Plateau], tare: Tare, trials: Trials
) -> tuple[dict[str, FloatArray], NDArray[np.bool_], SharedErrors | None]:
    """Return every root at every plateau, which plateaus are positive in all trials, and the errors of those.

    Which directions the errors have is told by some trials of all plateaus; what the draws along them are, by all
    trials of a few plateaus. A plateau that some trials saw positive and others do not, and one whose errors reach so
    far that it might be, begins it again.
    """
    nominal, some = _roots(run, plateaus, tare, trials.some(SAMPLED))
    good = _all_positive(nominal, some)
    doubtful = np.zeros_like(good)
    while good.any():
        places = np.flatnonzero(good)
        loadings = directions(_logs(nominal, some, places))
        asked = doubtful[places]
        asked[telling(loadings)] = True
        positive, draws = _draws(run, plateaus, tare, trials, loadings, places, np.flatnonzero(asked))
        unsure = np.logical_or.reduce([_reach(each, draws) > SURE for each in loadings.values()]) & ~asked
        if positive.all() and not unsure.any():
            return nominal, good, SharedErrors(loadings, draws)
        doubtful[places[unsure]] = True
        good[places[asked][~positive]] = False
    return nominal, good, None


def _draws(
    run: SweepRun,
    plateaus: Sequence[Plateau],
    tare: Tare,
    trials: Trials,
    loadings: Mapping[str, FloatArray],
    places: NDArray[np.intp],
    asked: NDArray[np.intp],
) -> tuple[NDArray[np.bool_], FloatArray]:
    """Return which of the asked points are positive in all trials, and the draws that they tell, shape (r, trials).

    Trials are worked through in pieces, which stay in the processor's cache. Draws are as far as the first piece in
    which a point is not positive.
    """
    inverse = solution(loadings, asked)
    few = [plateaus[place] for place in places[asked]]
    draws = []
    for piece in trials.in_pieces(AT_ONCE):
        nominal, values = _roots(run, few, tare, piece)
        positive = _all_positive(nominal, values)
        if not positive.all():
            break
        draws.append(draws_of(_logs(nominal, values, slice(None)), inverse))
    return positive, np.hstack(draws) if draws else np.zeros((len(next(iter(inverse.values()))), 1))


def _reach(loadings: FloatArray, draws: FloatArray) -> FloatArray:
    """Return how far from the best estimate the errors might take each point at most, shape (n,)."""
    return np.asarray(np.abs(loadings) @ np.abs(draws).max(axis=1), dtype=np.float64)


def _all_positive(nominal: Mapping[str, FloatArray], by_trial: Mapping[str, FloatArray]) -> NDArray[np.bool_]:
    positive = [(nominal[name] > 0) & (by_trial[name] > 0).all(axis=1) for name in nominal]
    return np.asarray(np.logical_and.reduce(positive))


def _logs(
    nominal: Mapping[str, FloatArray], by_trial: Mapping[str, FloatArray], places: NDArray[np.intp] | slice
) -> dict[str, FloatArray]:
    """Return how far the logarithms of the roots lie from the best estimates' at some places, by trial."""
    return {name: np.log(by_trial[name][places] / nominal[name][places, None]) for name in nominal}


def _left_out(segments: Segments, good: NDArray[np.bool_], where: str) -> tuple[Remark, ...]:
    found = []
    if segments.unsettled:
        steps = ", ".join(f"{throttle:.0%}" for _, throttle in segments.unsettled)
        sentence = f"steps that never settled are left out: throttle {steps}"
        found.append(Remark("not_settled", where, sentence))
    if not good.all():
        dropped = [p.throttle for p, keep in zip(segments.plateaus, good, strict=True) if not keep]
        sentence = "steps without positive thrust and power are left out: throttle " + ", ".join(
            f"{throttle:.0%}" for throttle in dropped
        )
        found.append(Remark("not_positive", where, sentence))
    return tuple(found)


def _roots(
    run: SweepRun, plateaus: Sequence[Plateau], tare: Tare, trials: Trials
) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Return every root at every plateau, as best estimate (n,) and by trial (n, trials), SI."""
    nominal, by_trial = {}, {}
    for name in CHANNELS:
        if name in run.channels:
            nominal[name], by_trial[name] = _channel(run, name, plateaus, tare, trials)
    if run.cross_talk is not None:
        nominal, by_trial = run.cross_talk.taken_out(nominal, by_trial, trials)
    indicated = {
        name: np.array([p.means[name] for p in plateaus]) for name in ("voltage", "current", "electrical_power")
    }
    gain = indicated["electrical_power"] / (indicated["voltage"] * indicated["current"])
    voltage, voltage_trials = nominal.pop("voltage"), by_trial.pop("voltage")
    nominal["electrical_power"] = gain * voltage * nominal["current"]
    by_trial["electrical_power"] = gain[:, None] * voltage_trials * by_trial["current"]
    return nominal, _reseated(run, by_trial, trials)


def _channel(
    run: SweepRun, name: str, plateaus: Sequence[Plateau], tare: Tare, trials: Trials
) -> tuple[FloatArray, FloatArray]:
    instrument = run.instruments[name]
    indicated = np.array([p.means[name] for p in plateaus])
    value = instrument.corrected(indicated)
    by_trial = instrument.true_trials(indicated, run.occasion, trials)
    if name not in TARED or not tare.times.size:
        return value, by_trial
    middle = np.array([(p.start + p.stop) / 2 for p in plateaus])
    standstill = tare.at(name, middle)
    # The same draws in both readings: intercept and offset cancel trial by trial, as they do on the bench.
    value = value - instrument.corrected(standstill)
    by_trial = by_trial - instrument.true_trials(standstill, run.occasion, trials)
    return value, by_trial - tare.uncertain[name] * _tare_part(run, name, trials).draws


def _tare_part(run: SweepRun, name: str, trials: Trials) -> Part:
    identity = (run.occasion.campaign, run.occasion.run, "tare", name)
    source = Source(identity, f"tare of {name}, {run.occasion.run}", NORMAL)
    return Part(source, trials.draw(source))


def _reseat_parts(run: SweepRun, trials: Trials) -> tuple[Part, Part]:
    sources = [
        Source(
            (run.occasion.campaign, run.occasion.run, "reseat", what),
            f"mounting of the propeller, {what}, {run.occasion.run}",
            NORMAL,
        )
        for what in ("thrust", "power")
    ]
    return Part(sources[0], trials.draw(sources[0])), Part(sources[1], trials.draw(sources[1]))


def _reseated(run: SweepRun, by_trial: dict[str, FloatArray], trials: Trials) -> dict[str, FloatArray]:
    """Return the roots as a typical mounting of the propeller would give them; thrust and power scatter apart."""
    if not run.reseat:
        return by_trial
    thrust, power = _reseat_parts(run, trials)
    factor = {"thrust": thrust, "torque": power, "current": power, "electrical_power": power}
    return {
        name: values / (1 + run.reseat * factor[name].draws) if name in factor else values
        for name, values in by_trial.items()
    }


def _lineage(run: SweepRun, tare: Tare, trials: Trials) -> tuple[Part, ...]:
    groups = [run.instruments[name].parts(run.occasion, trials) for name in run.channels]
    if run.cross_talk is not None:
        groups.append(run.cross_talk.parts(trials))
    if tare.times.size:
        groups.append(tuple(_tare_part(run, name, trials) for name in tare.values))
    if run.reseat:
        groups.append(_reseat_parts(run, trials))
    return merge_parts(groups)


def _relative_blocks(name: str, plateaus: Sequence[Plateau], tare: Tare, value: FloatArray) -> FloatArray:
    """Return how far block means lie from their plateau's mean, relative to the root's value, shape (n, blocks)."""
    size = min(p.blocks[name].size for p in plateaus)
    blocks = np.array([p.blocks[name][:size] for p in plateaus])
    apart = blocks - blocks.mean(axis=1, keepdims=True)
    scale = value if name in TARED and tare.times.size else blocks.mean(axis=1)
    return np.asarray(apart / scale[:, None], dtype=np.float64)
