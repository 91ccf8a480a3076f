"""Reports that look as if they had been built: synthetic notebooks kept under the key that a build looks for."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from benchproof.archive import assembling, second_pass
from benchproof.archive.build import Build, Manner
from benchproof.archive.kept import Kept
from benchproof.archive.manifest import Digests
from benchproof.archive.second_pass import Addition
from benchproof.archive.staleness import run_key
from benchproof.campaign.check import check_campaign
from benchproof.campaign.workspace import Workspace
from benchproof.findings.archive import Traits
from benchproof.findings.stored import packed
from benchproof.methods import built_tests, known_choices
from report.sample_notebook import CAMPAIGN as SAMPLE
from report.sample_notebook import sample_notebook

RESULTS = "application/vnd.benchproof.results+json"
METHOD = "application/vnd.benchproof.method+json"
NAMES = ("2026-03-a", "2026-03-b")


@pytest.fixture(autouse=True, scope="module")
def apart() -> Iterator[None]:
    """Let campaigns tell the archive nothing: the sample notebook's pieces differ by more than its model's interval."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(second_pass, "traits_in", lambda _kept, _checked: Traits())
        yield


def notebook_of(
    name: str, *, scale: float = 1.0, only: str = "", version: str = "1.0", settle: str = "0.5 s", **more: Any
):
    """Return an executed notebook of a campaign.

    ``scale`` multiplies the figures of the quantity ``only``, or all; ``version`` is the thrust sweep's, ``settle`` its
    choice; ``text`` and others go to the sample notebook.
    """
    notebook = json.loads(_drawn(**more).replace(SAMPLE, name))
    for cell in notebook["cells"]:
        data = cell["outputs"][0].get("data", {})
        if RESULTS in data:
            results = data[RESULTS]
            results["methods"]["thrust_sweep"] = version
            for entry in results["quantities"]:
                _scale(entry, scale if only in ("", entry["name"]) else 1.0)
                entry["method"] = entry["method"].replace("thrust_sweep/1.0", f"thrust_sweep/{version}")
        if data.get(METHOD, {}).get("section") == "thrust_sweep":
            data[METHOD]["version"] = version
            data[METHOD]["choices"] = [
                {"name": "settle", "value": settle, "default": settle, "meaning": "time left out"}
            ]
    return notebook


@cache
def _drawn(**more: Any) -> str:
    """Return the sample notebook; its charts are drawn once."""
    return json.dumps(sample_notebook(**more))


def _scale(entry: dict[str, Any], scale: float) -> None:
    if entry["value"] is not None:
        entry["value"] *= scale
        entry["interval"] = [end * scale for end in entry["interval"]]


def keep(root: Path, name: str, **more: Any) -> None:
    """Keep a synthetic run of a campaign, as a build would."""
    workspace = Workspace(root)
    checked = check_campaign(workspace, name, built_tests=built_tests(), known_choices=known_choices(), logs=False)
    digests = Digests(root, {})
    key = run_key({file: digests.of(file) for file in checked.files()}, checked.values)
    Kept(root / "build" / "kept").keep(name, key, notebook_of(name, **more), packed([]))


def build(root: Path, *names: str) -> None:
    """Assemble the preview anew; nothing runs, because all is kept."""
    outcomes = Build(Workspace(root), names, Manner(recheck=True)).run(lambda _: None, lambda _: None)
    assert [outcome.problems for outcome in outcomes] == [()] * len(names), outcomes


def with_claims(patch: pytest.MonkeyPatch, **verdicts: str) -> None:
    """Make the second pass give each campaign one claim; ``verdicts`` are by the last letter of its name."""

    def second_pass(checked, kept, glance):
        verdict = verdicts.get(checked.campaign.campaign[-1])
        claim = {"say": "Lifts 6 N at 200 W", "verdict": verdict, "probability": 0.5}
        return Addition((claim,) if verdict else ())

    patch.setattr(assembling, "second_pass", second_pass)
