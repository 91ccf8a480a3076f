"""A workspace: where the lab's files lie, and reading them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from benchproof.campaign.calibration_files import read_calibration, read_loadings
from benchproof.campaign.faults import M, validated
from benchproof.campaign.location import LAB, workspace_root
from benchproof.campaign.models.campaign import RESERVED, Campaign
from benchproof.campaign.models.lab import Lab
from benchproof.campaign.models.rig import RigFile
from benchproof.campaign.units import shortened
from benchproof.campaign.yaml import compose, compose_text, read_text
from benchproof.errors import Fault, InputError

if TYPE_CHECKING:
    from pathlib import Path

    from benchproof.campaign.calibration_files import CalibrationTable, LoadingTable
    from benchproof.campaign.yaml import Document


@dataclass(frozen=True, slots=True)
class Workspace:
    """A folder with ``runs/`` and ``build/``.

    Parameters
    ----------
    root : Path
        The folder, absolute.
    """

    root: Path

    @classmethod
    def find(cls, start: Path) -> Workspace:
        """Return the workspace around a folder: the nearest parent with ``runs/lab.yaml``.

        Raises
        ------
        RequestError
            If there is none.
        """
        return cls(workspace_root(start))

    @property
    def runs(self) -> Path:
        """The folder of inputs."""
        return self.root / "runs"

    def campaign_names(self) -> tuple[str, ...]:
        """Return the names of all campaigns, sorted: folders under ``runs/`` with a campaign file."""
        found = (path.parent.name for path in self.runs.glob("*/campaign.yaml"))
        return tuple(sorted(name for name in found if name not in RESERVED))

    def lab(self) -> Lab:
        """Read the lab file.

        Raises
        ------
        InputError
            With all its faults.
        """
        return _lab(read_text(self.root / LAB, LAB))

    def rig(self, name: str) -> RigFile:
        """Read a rig file.

        Raises
        ------
        InputError
            With all its faults.
        """
        return _rig(read_text(self.root / rig_file(name), rig_file(name)), name)

    def campaign_document(self, name: str) -> Document:
        """Compose a campaign file.

        Raises
        ------
        InputError
            With all its faults of form.
        """
        return compose(self.root / campaign_file(name), campaign_file(name))

    def campaign(self, name: str) -> Campaign:
        """Read a campaign file.

        Raises
        ------
        InputError
            With all its faults.
        """
        return self.campaign_of(name, self.campaign_document(name))

    def campaign_of(self, name: str, document: Document) -> Campaign:
        """Return the campaign of a composed campaign file.

        Raises
        ------
        InputError
            With all its faults.
        """
        campaign = _read(Campaign, document)
        if campaign.campaign != name:
            line = document.places.line(("campaign",))
            raise InputError(_misnamed(campaign_file(name), "campaign", campaign.campaign, name, line))
        return campaign

    def calibration(self, rig: str, path: str) -> CalibrationTable:
        """Read a calibration file by its path in the rig file.

        Raises
        ------
        InputError
            If it leads out of the rig's folder, or with all its faults.
        """
        name = f"runs/rigs/{rig}/{path}"
        return read_calibration(self.inside(name, self.runs / "rigs" / rig), name)

    def loadings(self, rig: str, path: str) -> LoadingTable:
        """Read a cross-talk file by its path in the rig file; errors as of `calibration`."""
        name = f"runs/rigs/{rig}/{path}"
        return read_loadings(self.inside(name, self.runs / "rigs" / rig), name)

    def inside(self, name: str, folder: Path) -> Path:
        """Return the path of a file that must lie in a folder, links followed.

        Raises
        ------
        InputError
            If there is no such file, or it lies elsewhere.
        """
        path = self.root / name
        try:
            real = path.resolve(strict=True)
        except (OSError, RuntimeError):
            remedy = "Put the file there, or correct the path."
            raise InputError(Fault(name, "", "no such file", "a file with that name", remedy)) from None
        if not real.is_file() or not real.is_relative_to(folder.resolve()):
            remedy = "Copy the file itself to that place."
            raise InputError(Fault(name, "", "a link out of its folder, or no file", "a file", remedy))
        return path

    def digest(self, name: str) -> str:
        """Return ``sha256:…`` of a file of the workspace."""
        with (self.root / name).open("rb") as stream:
            return f"sha256:{hashlib.file_digest(stream, 'sha256').hexdigest()}"


def campaign_file(name: str) -> str:
    """Return the path of a campaign's file, relative to the workspace."""
    return f"runs/{name}/campaign.yaml"


def rig_file(name: str) -> str:
    """Return the path of a rig's file, relative to the workspace."""
    return f"runs/rigs/{name}/rig.yaml"


# A lab's campaigns share these two files: a process that reads many reads them once for each text they have.
@lru_cache(maxsize=16)
def _lab(text: str) -> Lab:
    return _read(Lab, compose_text(text, LAB))


@lru_cache(maxsize=64)
def _rig(text: str, name: str) -> RigFile:
    document = compose_text(text, rig_file(name))
    rig = _read(RigFile, document)
    if rig.rig != name:
        raise InputError(_misnamed(rig_file(name), "rig", rig.rig, name, document.places.line(("rig",))))
    return rig


def _read(model: type[M], document: Document) -> M:
    return validated(model, document.values, document.places)


def _misnamed(file: str, key: str, found: str, folder: str, line: int | None) -> Fault:
    remedy = f"Write {key}: {shortened(folder)}, or rename the folder."
    return Fault(file, key, f'"{shortened(found)}"', f'the name of its folder, "{shortened(folder)}"', remedy, line)
