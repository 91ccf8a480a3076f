"""Check weights of the days a campaign was tested on: a calibration that no longer holds is named."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from benchproof.campaign.models.layout import channel_measures
from benchproof.campaign.references import typed_readings
from benchproof.errors import Remark
from benchproof.rig.build import build_instrument
from benchproof.rig.check_weight import judge_check

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from benchproof.methods.bench import Bench


def check_remarks(bench: Bench) -> tuple[Remark, ...]:
    """Return a remark for every failed check weight, and for every session of a checked instrument without one."""
    days: dict[str, set[date]] = {}
    for test in bench.campaign.tests:
        if test.exclude is None:
            for name in _used(test, bench):
                days.setdefault(name, set()).add(bench.date(test))
    return tuple(
        remark
        for name, entry in bench.rig.instruments.items()
        if entry.checks
        for day in sorted(days.get(name, ()))
        for remark in _of_day(name, day, bench)
    )


def _of_day(name: str, day: date, bench: Bench) -> Iterator[Remark]:
    check = next((each for each in bench.rig.instruments[name].checks if each.date == day), None)
    if check is None:
        yield Remark("check_missing", name, f"{name} was not checked with its weight on {day}")
        return
    judged = judge_check(bench.rig, build_instrument(bench.rig, name, day, bench.read_table), check, bench.trials)
    if not judged.passed:
        sentence = (
            f"the check weight {check.applied.value.text} of {day} fails on {name}: E_n = {judged.normalised:.2f}, "
            f"it reads {judged.read.value / judged.reference.value - 1:+.2%} off; calibrate before figures are trusted"
        )
        yield Remark("check_failed", name, sentence)


def _used(test: Any, bench: Bench) -> set[str]:
    """Return the instruments a test's log and typed readings come from."""
    layout = getattr(test, "layout", None) or (bench.rig.logs.get(test.test) if hasattr(test, "log") else None)
    channels = layout.channels if layout is not None else {}
    wanted = [(name, channel_measures(name), channel.instrument) for name, channel in channels.items()]
    wanted += [(_field(path), measures, None) for path, measures in typed_readings(test)]
    return {
        found
        for field, measures, named in wanted
        if measures and (found := named or test.named(field, measures) or _only(bench, measures))
    }


def _field(path: tuple[str | int, ...]) -> str:
    return next(step for step in reversed(path) if isinstance(step, str))


def _only(bench: Bench, measures: str) -> str | None:
    able = [name for name, entry in bench.rig.instruments.items() if entry.measures == measures]
    return able[0] if len(able) == 1 else None
