"""`check`: every campaign's inputs judged, one after the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchproof.archive.outcome import Outcome
from benchproof.campaign.check import check_campaign
from benchproof.campaign.checked import Checked
from benchproof.errors import BenchproofError, unforeseen
from benchproof.methods import built_tests, known_choices
from benchproof.rig.build import build_instrument

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.campaign.workspace import Workspace


@dataclass(frozen=True, slots=True)
class Judgement:
    """What was found of one campaign.

    Parameters
    ----------
    campaign : str
        The campaign.
    problems, warnings : tuple of str
        A line each.
    """

    campaign: str
    problems: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def summary(self) -> str:
        """A word and a count."""
        if self.problems:
            return f"{len(self.problems)} to correct"
        return f"good, {len(self.warnings)} warnings" if self.warnings else "good"

    @property
    def outcome(self) -> Outcome:
        """The judgement as an outcome, for the exit code."""
        return Outcome(self.campaign, "failed" if self.problems else "unchanged", self.problems)

    def record(self) -> dict[str, Any]:
        """Return the judgement as plain data for ``--json``."""
        return {"campaign": self.campaign, "problems": list(self.problems), "warnings": list(self.warnings)}


def check_all(workspace: Workspace, names: Sequence[str]) -> tuple[Judgement, ...]:
    """Judge some campaigns; one that cannot be used stops no other."""
    workspace.lab()  # a lab file that cannot be used makes the whole request unusable
    return tuple(_judged(workspace, name) for name in names)


def _judged(workspace: Workspace, name: str) -> Judgement:
    try:
        checked = check_campaign(workspace, name, built_tests=built_tests(), known_choices=known_choices())
        for each in (checked,) if isinstance(checked, Checked) else checked.members:
            _fit_calibrations(each)
        return Judgement(name, (), tuple(f"{r.where}: {r.message}" for r in checked.remarks))
    except BenchproofError as error:
        return Judgement(name, tuple(str(error).splitlines()))
    except Exception as error:  # noqa: BLE001 - a mistake of ours in one campaign must not stop the others
        return Judgement(name, (unforeseen(name, error),))


def _fit_calibrations(checked: Checked) -> None:
    """Fit every calibration in force, which shows loads and indications that no straight or bent line joins.

    Raises
    ------
    BenchproofError
        If one has no usable fit.
    """
    for name, entry in checked.rig.instruments.items():
        for day in {checked.day(test) for test in checked.campaign.tests}:
            if entry.calibration_on(day) is not None:
                build_instrument(checked.rig, name, day, checked.table)
