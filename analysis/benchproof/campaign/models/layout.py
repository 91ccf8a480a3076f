"""Log layouts: which column of a lab's logger is which of our channels, in which unit."""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Literal, Self

from pydantic import ConfigDict, model_validator

from benchproof.campaign.models.base import Model, Name, Words, doc, unknown
from benchproof.campaign.problems import Problem, refuse
from benchproof.campaign.units import UnitError, scale_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from benchproof.campaign.spellings import Dimension

CHANNELS: Final[Mapping[str, Dimension]] = MappingProxyType(
    {
        "time": "time",
        "throttle": "ratio",
        "thrust": "force",
        "torque": "torque",
        "voltage": "voltage",
        "current": "current",
        "speed": "speed",
        "once_per_turn": "ratio",
        "winding_temperature": "temperature",
        "motor_temperature": "temperature",
        "air_temperature": "temperature",
        "acceleration": "acceleration",
    }
)
"""Channels and what they are measured in; ``cell_voltage_1`` and so on are voltages."""

LAYOUT_TESTS: Final = (
    "thrust_sweep",
    "flywheel_run",
    "coast_down",
    "throttle_step",
    "heat_soak",
    "vibration",
    "pack_discharge",
    "pack_pulse",
    "pack_replay",
)
"""Tests that bring a log."""

NEEDED_CHANNELS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "thrust_sweep": ("throttle", "thrust", "voltage", "current"),
        "throttle_step": ("throttle", "speed"),
        "heat_soak": ("voltage", "current", "speed", "winding_temperature", "air_temperature"),
        "vibration": ("once_per_turn", "acceleration"),
    }
)
"""Channels a test's log must have beside time."""

_CELL: Final = re.compile(r"cell_voltage_[1-9][0-9]?")


def channel_dimension(name: str) -> Dimension | None:
    """Return what a channel is measured in; None where there is no such channel."""
    return "voltage" if _CELL.fullmatch(name) else CHANNELS.get(name)


def channel_measures(name: str) -> str | None:
    """Return what the instrument of a channel measures; None where a channel has no instrument of its own."""
    dimension = channel_dimension(name)
    if dimension is None or name in ("time", "throttle", "once_per_turn"):
        return None
    return "thrust" if dimension == "force" else dimension


class LogChannel(Model):
    """One column of a log."""

    column: Words = doc("name of the column in the log's header", "thrust_gf")
    unit: Words = doc("unit of the column", "gf")
    instrument: Name | None = doc("instrument of the rig that it comes from", "thrust_cell", default=None)
    divide_by: Literal["pole_pairs"] | None = doc(
        "divides an electrical speed by the motor's pole pairs", "pole_pairs", default=None
    )


class StatedDialect(Model):
    """How a log is written, where the tool should not find out by itself."""

    delimiter: Words | None = doc("between cells", ";", default=None)
    decimal: Words | None = doc("decimal mark", ",", default=None)
    comment: Words | None = doc("what a comment line begins with", "#", default=None)
    encoding: Words | None = doc("text encoding", "utf-8", default=None)
    header: int | None = doc("line of the header row, counted from 1", 3, default=None, ge=1)


class LogLayout(Model):
    """The columns of one kind of log, by channel."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, LogChannel]

    dialect: StatedDialect | None = doc("how the log is written", {"delimiter": ";"}, default=None)

    @model_validator(mode="after")
    def _known_channels(self) -> Self:
        refuse(self._problems())
        return self

    @property
    def channels(self) -> Mapping[str, LogChannel]:
        """The channels, by our names."""
        return MappingProxyType(self.__pydantic_extra__)

    def _problems(self) -> Iterator[Problem]:
        for name, channel in self.channels.items():
            dimension = channel_dimension(name)
            if dimension is None:
                problem = unknown(name, tuple(CHANNELS), "channel")
                yield Problem(problem.found, problem.expected, problem.remedy, (name,))
                continue
            try:
                scale_of(channel.unit, dimension)
            except UnitError as error:
                yield Problem(error.found, error.expected, error.remedy, (name, "unit"))
            if channel.divide_by and name != "speed":
                remedy = "Delete divide_by:."
                yield Problem(f"divide_by: on {name}", "divide_by: on speed only", remedy, (name, "divide_by"))
        if "time" not in self.channels:
            remedy = 'Add time: {column: "t_ms", unit: ms} with the log\'s own column.'
            yield Problem("no channel time", "the channel time", remedy)


def layout_problems(layout: LogLayout, instruments: Mapping[str, str]) -> Iterator[Problem]:
    """Yield what is wrong with a layout's instruments.

    Parameters
    ----------
    layout : LogLayout
        The layout.
    instruments : Mapping of str to str
        What each instrument of the rig measures.
    """
    for name, channel in layout.channels.items():
        if channel.instrument is None:
            continue
        measures = channel_measures(name)
        able = tuple(each for each, what in instruments.items() if what == measures)
        if channel.instrument not in able:
            problem = unknown(channel.instrument, able, f"instrument that measures {measures}")
            yield Problem(problem.found, problem.expected, problem.remedy, (name, "instrument"))
