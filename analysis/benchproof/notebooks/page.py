"""The page record: everything around the figures that a page prints, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.campaign.models.base import required
from benchproof.campaign.plain import plain

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.campaign.checked import Checked

HEADLINE: Final = ("mass", "thrust", "thrust_per_power")
"""The figures a reader with three minutes wants, where nothing else is asked for."""

MAIN_CHART: Final = "thrust_vs_electrical_power"
"""The one chart for a reader with three minutes; where a campaign has it not, its first with an interval."""

_NOT_CONDITIONS: Final = frozenset(
    {"exclude", "finding", "photo", "about", "layout", "instruments", "date", "points", "pairs"}
)

_NOT_INSTRUMENT: Final = frozenset({"calibrations", "checks"})
_NOT_CALIBRATION: Final = frozenset({"arm", "masses"})


def page_record(checked: Checked) -> dict[str, Any]:
    """Return the page record of a campaign (shape: the report's PageRecord)."""
    campaign, lab, rig = checked.campaign, checked.lab, checked.rig
    return {
        "section": "page",
        "name": "page",
        "campaign": campaign.campaign,
        "title": campaign.title,
        "dates": plain(campaign.dates),
        "lab": {k: v for k, v in plain(lab.lab).items() if k != "invented"},
        "specimen": plain(campaign.specimen),
        "rig": {"name": rig.rig, **(plain(rig.location) if rig.location else {})},
        "drive": {"name": campaign.drive, **plain(rig.drives[campaign.drive])} if campaign.drive else None,
        "propellers": _used(campaign.tests, "propeller", rig.propellers),
        "flywheels": _used(campaign.tests, "flywheel", rig.flywheels),
        "instruments": _instruments(checked),
        "conditions": [_condition(test) for test in campaign.tests if test.exclude is None],
        "exclusions": [_exclusion(test) for test in campaign.tests if test.exclude is not None],
        "inspections": [
            {name: getattr(test, name) for name in ("sample", "finding", "photo", "about") if getattr(test, name)}
            for test in campaign.tests
            if test.test == "inspection" and test.exclude is None
        ],
        "reply": campaign.reply,
        "text": campaign.text,
        "warnings": [{"code": r.code, "where": r.where, "message": r.message} for r in checked.remarks],
        "headline": list(HEADLINE),
        "main_chart": MAIN_CHART,
        "invented": lab.lab.invented,
    }


def _used(tests: Sequence[Any], kind: str, declared: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the propellers or flywheels that the campaign's tests name, in order of first use."""
    names = [getattr(test, kind, None) for test in tests if test.exclude is None]
    used = [str(name) for name in dict.fromkeys(names) if name in declared]
    return [{"name": name, **plain(declared[name])} for name in used]


def _instruments(checked: Checked) -> list[dict[str, Any]]:
    listed = []
    for name, instrument in checked.rig.instruments.items():
        record = {key: value for key, value in plain(instrument).items() if key not in _NOT_INSTRUMENT}
        listed.append({"name": name, **record, "calibration": _calibration(instrument, checked)})
    return listed


def _calibration(instrument: Any, checked: Checked) -> dict[str, Any] | None:
    day = required(checked.campaign.dates).tested
    chosen = instrument.calibration_on(day)
    return {key: value for key, value in plain(chosen).items() if key not in _NOT_CALIBRATION} if chosen else None


def _condition(test: Any) -> dict[str, Any]:
    facts = {name: value for name, value in plain(test).items() if name not in _NOT_CONDITIONS}
    air = facts.pop("air", {})
    if isinstance(facts.get("readings"), list):
        facts.pop("readings")
    return {**facts, **air}


def _exclusion(test: Any) -> dict[str, Any]:
    record = {"test": test.test, "sample": test.sample, "reason": test.exclude}
    log = getattr(test, "log", None)
    return {**record, "log": log} if log else record
