"""What a method may ask of a campaign: its instruments, its occasion, its air, its logs.

Readers of files are handed in, so that methods open none.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from benchproof.campaign.models.base import required
from benchproof.campaign.models.layout import channel_measures
from benchproof.campaign.plain import plain
from benchproof.campaign.units import read_measured
from benchproof.rig.air import moist_air_density
from benchproof.rig.build import build_cross_talk, build_instrument, instrument_for
from benchproof.rig.cross_talk import CHANNELS
from benchproof.rig.instrument import Occasion
from benchproof.trials.distributions import NORMAL, RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Quantity, combine

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from benchproof.campaign.calibration_files import CalibrationTable, LoadingTable
    from benchproof.campaign.logs import Log
    from benchproof.campaign.models.campaign import Campaign
    from benchproof.campaign.models.lab import Lab
    from benchproof.campaign.models.rig import RigFile
    from benchproof.methods.method import Choice
    from benchproof.rig.cross_talk import CrossTalk
    from benchproof.rig.instrument import Instrument
    from benchproof.trials.engine import Trials


def no_loadings(path: str) -> LoadingTable:
    """Read no cross-talk file: for benches whose rig has none."""
    raise FileNotFoundError(path)


@dataclass(frozen=True, slots=True)
class Bench:
    """A campaign opened for analysis.

    Parameters
    ----------
    lab, rig, campaign
        What the lab wrote down.
    trials : Trials
        The laboratory's trials.
    read_log : callable
        Takes a test and its method's key, gives its log in SI channels.
    read_table : callable
        Takes a calibration file's path as rig.yaml writes it, gives its table.
    read_loadings : callable
        The same for a cross-talk file.
    """

    lab: Lab
    rig: RigFile
    campaign: Campaign
    trials: Trials
    read_log: Callable[[Any], Log]
    read_table: Callable[[str], CalibrationTable]
    read_loadings: Callable[[str], LoadingTable] = no_loadings
    _contents: dict[int, str] = field(default_factory=dict, repr=False, compare=False)

    def tests(self, key: str, *, excluded: bool = False) -> tuple[Any, ...]:
        """Return the campaign's tests of one kind; those left out of every figure only when asked for."""
        return tuple(t for t in self.campaign.tests if t.test == key and (t.exclude is None or excluded))

    def choice(self, name: str, default: str) -> str:
        """Return an analysis choice as the campaign made it."""
        return str(self.campaign.choices.get(name, default))

    def quantity_choice(self, choice: Choice) -> float:
        """Return an analysis choice that is a quantity, SI."""
        if choice.dimension is None:
            message = f"{choice.name} is a word, not a quantity"
            raise TypeError(message)
        return read_measured(self.choice(choice.name, choice.default), choice.dimension).si

    def cross_talk(self, test: Any) -> CrossTalk | None:
        """Return what crosses over between the thrust and torque cells of a test's log.

        None where the log has not both channels, or the rig no loading of their cells.
        """
        layout = test.layout or self.rig.logs[test.test]
        if not layout.channels.keys() >= set(CHANNELS):
            return None
        cells = {name: self.channel_instrument(name, test) for name in CHANNELS}
        return build_cross_talk(self.rig, cells, self.date(test), self.read_loadings)

    def channel_instrument(self, channel: str, test: Any) -> Instrument:
        """Return the instrument a log's channel comes from: the layout's, or the one that measures it."""
        layout = test.layout or self.rig.logs[test.test]
        measures = channel_measures(channel) or channel
        return self.instrument(measures, test, channel, named=layout.channels[channel].instrument)

    def occasion(self, test: Any) -> Occasion:
        """Return where and when a test was made; the date is the test's own or the campaign's."""
        told = "" if getattr(test, "log", None) else f"{test.test.replace('_', ' ')} of sample {test.sample}"
        return Occasion(self.rig.rig, self.campaign.campaign, self.run_key(test), self.date(test), told)

    def date(self, test: Any) -> date:
        """Return the day of a test."""
        return test.date or required(self.campaign.dates).tested

    def run_key(self, test: Any) -> str:
        """Return what makes a test this run and no other: its log, or what was written down of it.

        Never a place in a list: inserting another test redraws nothing. Word for word equal tests are told
        apart by how many of them came before.
        """
        log = getattr(test, "log", None)
        if log is not None:
            return str(log)
        content = self._content(test)
        same = [other for other in self.campaign.tests if self._content(other) == content]
        twin = next(k for k, other in enumerate(same) if other is test)
        digest = hashlib.blake2b(content.encode(), digest_size=8).hexdigest()
        return f"{test.test}:{test.sample}:{digest}" + (f":{twin}" if twin else "")

    def instrument(self, measures: str, test: Any, field: str = "", *, named: str | None = None) -> Instrument:
        """Return the instrument a reading was made with, under the calibration in force that day.

        Parameters
        ----------
        measures : str
            What it measures.
        test : Test
            The test; where the rig has several such instruments, its ``instruments:`` says which.
        field : str
            Field or channel of the reading; the test may name an instrument for it alone.
        named : str or None
            An instrument that a log's layout names; it goes before the test's.

        Raises
        ------
        InputError
            If none measures it, several do and none is named, or no calibration is in force.
        """
        chosen = test.named(field, measures)
        name = named or instrument_for(self.rig, measures, {measures: chosen} if chosen else None)
        return build_instrument(self.rig, name, self.date(test), self.read_table)

    def read(self, measures: str, written: Any, test: Any, key: str, field: str = "") -> Quantity:
        """Return a typed value: with its own uncertainty, or with that of the rig's instrument.

        Parameters
        ----------
        measures : str
            What its instrument measures.
        written : Measured or Uncertain
            The value as the file has it.
        test : Test
            The test it stands in.
        key : str
            Names the reading inside the test.
        field : str
            The field it stands in, where the test may name an instrument for that field.
        """
        if hasattr(written, "standard"):
            return self.stated(written, self.place(test, key), key)
        instrument = self.instrument(measures, test, field)
        return instrument.reading([written.si], self.occasion(test), key, self.trials).quantity

    def stated(self, uncertain: Any, identity: tuple[str, ...], label: str) -> Quantity:
        """Return a value that brings its own uncertainty."""
        if not uncertain.standard:
            return Quantity.exact(uncertain.value.si, self.trials.count)
        shape = RECTANGULAR if uncertain.shape == "rectangular" else NORMAL
        return Quantity.of(uncertain.value.si, uncertain.standard, Source(identity, label, shape), self.trials)

    def air_density(self, test: Any) -> Quantity | None:
        """Return the density of the air during a test, kg/m3; None where the test does not state its air."""
        if test.air is None:
            return None
        readings = [
            self.read(name, getattr(test.air, name), test, f"air {name}", name)
            for name in ("temperature", "pressure", "humidity")
        ]
        return combine(moist_air_density, *readings)

    def reference_density(self) -> float:
        """Return the density of the lab's reference air, kg/m3."""
        air = self.lab.reference_air
        return float(moist_air_density(air.temperature.si, air.pressure.si, air.humidity.si))

    def samples(self, tests: Sequence[Any]) -> tuple[str, ...]:
        """Return the samples of some tests, in the order the campaign lists them."""
        used = {test.sample for test in tests}
        return tuple(sample.id for sample in required(self.campaign.specimen).samples if sample.id in used)

    def place(self, test: Any, *key: str) -> tuple[str, ...]:
        """Return the identity of something that belongs to one test alone, such as the scatter of its points."""
        return (self.campaign.campaign, self.run_key(test), *key)

    def _content(self, test: Any) -> str:
        """Return what was written down of a test, remembered: every reading of every test asks for it."""
        if id(test) not in self._contents:
            self._contents[id(test)] = json.dumps(plain(test), sort_keys=True)
        return self._contents[id(test)]
