"""Starting a campaign: its folder, its logs, and a campaign file that explains every field."""

from __future__ import annotations

import json
import re
import shutil
from typing import TYPE_CHECKING, Any, Final

from pydantic import TypeAdapter, ValidationError

from benchproof.campaign.models.base import LogPath, Name
from benchproof.campaign.models.campaign import RESERVED, Campaign, Dates, Price, Sample, Specimen
from benchproof.campaign.models.tests import ThrustSweep, Weighing
from benchproof.campaign.schema import schemas
from benchproof.errors import RequestError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from pydantic import BaseModel

    from benchproof.campaign.models.rig import RigFile
    from benchproof.campaign.workspace import Workspace


SCHEMAS: Final = ".schemas"
"""Folder under ``runs/`` for the schemas."""


def start_campaign(workspace: Workspace, name: str, logs: Sequence[Path]) -> list[str]:
    """Make a campaign's folder with a file to fill in, and copy its logs.

    Parameters
    ----------
    workspace : Workspace
        Where.
    name : str
        Name of the campaign.
    logs : sequence of Path
        Logs, copied byte for byte into ``raw/``; the originals stay.

    Returns
    -------
    list of str
        Files written, relative to the workspace, the campaign file first.

    Raises
    ------
    RequestError
        If the name cannot be used, the campaign exists, or a log cannot be copied.
    """
    _refuse_name(name)
    folder = workspace.runs / name
    if folder.exists():
        message = f"runs/{name} exists already; choose another name, or edit its campaign.yaml"
        raise RequestError(message)
    paths = [_target(log) for log in logs]
    if len(set(paths)) != len(paths):
        message = "two logs have the same file name; rename one"
        raise RequestError(message)
    rig = _rig(workspace)
    (folder / "raw").mkdir(parents=True)
    for log, path in zip(logs, paths, strict=True):
        shutil.copyfile(log, folder / path)
    text = "\n".join(_lines(name, rig, paths)) + "\n"
    (folder / "campaign.yaml").write_text(text, encoding="utf-8", newline="\n")
    return [f"runs/{name}/campaign.yaml", *(f"runs/{name}/{path}" for path in paths), *_schemas(workspace)]


def _schemas(workspace: Workspace) -> Iterator[str]:
    """Write the schemas that editors complete and check by; the campaign file names its own."""
    folder = workspace.runs / SCHEMAS
    folder.mkdir(exist_ok=True)
    for kind, schema in schemas().items():
        (folder / f"{kind}.json").write_text(json.dumps(schema, indent=1) + "\n", encoding="utf-8", newline="\n")
        yield f"runs/{SCHEMAS}/{kind}.json"


def _refuse_name(name: str) -> None:
    try:
        TypeAdapter(Name).validate_python(name)
    except ValidationError as error:
        problem = error.errors()[0]["ctx"]["problems"][0]
        message = f"the name {problem.found} cannot be used; {problem.remedy}"
        raise RequestError(message) from None
    if name in RESERVED:
        message = f"the name {name} is reserved; choose another"
        raise RequestError(message)


def _target(log: Path) -> str:
    if not log.is_file():
        message = f"no log at {log}; check the path"
        raise RequestError(message)
    path = f"raw/{log.name}"
    try:
        TypeAdapter(LogPath).validate_python(path)
    except ValidationError:
        message = f"the log's name {log.name!r} cannot be used; rename it to letters, digits and . _ -"
        raise RequestError(message) from None
    return path


def _rig(workspace: Workspace) -> RigFile | None:
    """Return the lab's only rig, or the first by name; None where there is none yet."""
    names = sorted(path.parent.name for path in workspace.runs.glob("rigs/*/rig.yaml"))
    return workspace.rig(names[0]) if names else None


def _lines(name: str, rig: RigFile | None, logs: Sequence[str]) -> Iterator[str]:
    """Yield the campaign file: every field with its meaning, optional ones as comments."""
    yield f"# yaml-language-server: $schema=../{SCHEMAS}/campaign.json"
    yield "# Every field with its meaning. Lines that begin with # are optional; values marked FILL are yours."
    yield f"kind: motor                 # {_about(Campaign, 'kind')}"
    yield f"campaign: {name}            # {_about(Campaign, 'campaign')}"
    yield f'title: "FILL"                # {_about(Campaign, "title")}'
    yield f"dates:                      # {_about(Campaign, 'dates')}"
    yield f"  # received: 2026-01-31    # {_about(Dates, 'received')}"
    yield f"  tested: FILL              # {_about(Dates, 'tested')}, as 2026-02-03"
    yield f"rig: {rig.rig if rig else 'FILL'}"
    drive = next(iter(rig.drives), None) if rig else None
    yield f"drive: {drive}" if drive else f"# drive: FILL               # {_about(Campaign, 'drive')}"
    yield from _specimen()
    yield f"tests:                      # {_about(Campaign, 'tests')}"
    yield f'  - {{test: weighing, sample: A1, part: motor, readings: ["FILL g"]}}   # part: {_about(Weighing, "part")}'
    propeller = next(iter(rig.propellers), "FILL") if rig else "FILL"
    air = 'air: {temperature: "FILL degC", pressure: "FILL hPa", humidity: "FILL %"}'
    for log in logs:
        yield f"  - {{test: thrust_sweep, sample: A1, log: {log}, propeller: {propeller}, {air}}}"
    if not logs:
        yield f"  # - {{test: thrust_sweep, sample: A1, log: raw/FILL.csv, propeller: {propeller}, {air}}}"
    yield f"  # air: {_about(ThrustSweep, 'air')}"
    yield '  # any test: exclude: "why" keeps it and its log, and leaves it out of every figure'
    for key, example in (
        ("choices", "{air: as_tested}"),
        ("claims", "[{say: …, quantity: thrust, at: {electrical_power: …}, relation: at_least, than: …}]"),
        ("reply", "|"),
    ):
        yield f"# {key}: {example}    # {_about(Campaign, key)}"
    yield "text: |"
    yield '  FILL in the verdict first. The motor weighs {{ quote("mass") }}.'


def _specimen() -> Iterator[str]:
    yield f"specimen:                   # {_about(Campaign, 'specimen')}"
    yield f'  maker: "FILL"              # {_about(Specimen, "maker")}'
    yield f'  model: "FILL"              # {_about(Specimen, "model")}'
    yield f'  # label: {{kv: "1750 rpm/V", mass: "33 g", cells: 6}}   # {_about(Specimen, "label")}'
    price = "{amount: 24.00, currency: EUR, channel: direct, seen: 2026-01-20, shipping: 4.00}"
    yield f"  # price: {price}   # {_about(Price, 'channel')}"
    yield f"  source: FILL              # {_about(Specimen, 'source')}: bought, supplied or loan; stands at the top"
    yield f"  # pole_pairs: 7           # {_about(Specimen, 'pole_pairs')}; needed where a log holds electrical speed"
    yield f"  # connection: wye         # {_about(Specimen, 'connection')}: wye or delta"
    yield f"  # design: {{bell: one-piece}}   # {_about(Specimen, 'design')}"
    yield f'  samples: [{{id: A1}}]       # {_about(Sample, "id")}; add batch: "…" where it is known'


def _about(model: type[BaseModel], name: str) -> str:
    field: Any = model.model_fields[name]
    return re.sub(r"\s+", " ", str(field.description))
