"""Whatever ends a build, the last good pages stay whole, and the next build gives what an undisturbed one gives."""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from concurrent.futures import Future
from pathlib import Path

import pytest

from benchproof.archive import build as building
from benchproof.archive import steps, tree
from benchproof.archive.build import Build, Manner
from benchproof.archive.lock import sole_use
from benchproof.archive.schedule import Schedule
from benchproof.campaign.workspace import Workspace
from benchproof.errors import RequestError
from trees import damage, tree_of
from workspaces import CAMPAIGN, sweep_log, write_workspace

SCRIPTS = Path(sys.executable).parent
NAMES = ("2026-03-a", "2026-03-b")


def build(root: Path) -> dict[str, tuple[str, tuple[str, ...]]]:
    workspace = Workspace(root)
    found = Build(workspace, workspace.campaign_names(), Manner(workers=2)).run(lambda _: None, print)
    return {outcome.campaign: (outcome.state, outcome.problems) for outcome in found}


def edit(root: Path, word: str) -> None:
    for name in NAMES:
        text = CAMPAIGN.format(name=name).replace("A test motor", f"{word} motor")
        (root / "runs" / name / "campaign.yaml").write_text(text)


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Path:
    root = write_workspace(tmp_path_factory.mktemp("built") / "w", *NAMES, log=sweep_log(levels=8))
    build(root)
    return root


@pytest.fixture
def lab(built: Path, tmp_path: Path) -> Path:
    shutil.copytree(built, tmp_path / "w")
    return tmp_path / "w"


@pytest.fixture(scope="module")
def undisturbed(built: Path, tmp_path_factory) -> dict[str, bytes]:
    """What a build of the edited inputs gives when nothing disturbs it."""
    root = tmp_path_factory.mktemp("undisturbed") / "w"
    shutil.copytree(built, root)
    edit(root, "Other")
    build(root)
    return tree_of(root / "build" / "preview")


def test_a_build_killed_at_any_moment_leaves_whole_pages_and_the_next_one_heals(lab: Path, undisturbed) -> None:
    before = tree_of(lab / "build" / "preview")
    edit(lab, "Other")
    command = [str(SCRIPTS / "benchproof"), "--workspace", str(lab), "build", "--workers", "2"]
    for seconds in (1.3, 2.1, 3.4, 4.6):
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            time.sleep(seconds)
            process.kill()
        assert damage(lab / "build" / "preview") == []
        assert tree_of(lab / "build" / "preview") in (before, undisturbed)
    assert not any(problems for _, problems in build(lab).values())
    assert tree_of(lab / "build" / "preview") == undisturbed
    assert {path.name for path in (lab / "build").iterdir()} <= {".lock", "kept", "preview"}


def full_disk(*_args, **_keywords):
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.usefixtures("in_this_process")
@pytest.mark.parametrize("where", ["kept", "report", "index", "contents", "scratch"])
def test_a_full_disk_leaves_the_last_good_pages(lab: Path, undisturbed, monkeypatch, where: str) -> None:
    before = tree_of(lab / "build" / "preview")
    edit(lab, "Other")
    with monkeypatch.context() as patch:
        {
            "kept": lambda: patch.setattr(Path, "write_bytes", full_disk),
            "report": lambda: patch.setattr("benchproof.archive.assembling.previewed", full_disk),
            "index": lambda: patch.setattr("benchproof.report.site.assemble_index", full_disk),
            "contents": lambda: patch.setattr(building, "write_contents", full_disk),
            "scratch": lambda: patch.setattr(steps, "scratch_workspace", full_disk),
        }[where]()
        if where in ("index", "contents"):
            with pytest.raises(OSError, match="No space left"):
                build(lab)
        else:
            for state, problems in build(lab).values():
                assert state == "failed"
                assert "No space left on device; check the disk" in problems[0]
    assert tree_of(lab / "build" / "preview") == before
    assert not any(problems for _, problems in build(lab).values())
    assert tree_of(lab / "build" / "preview") == undisturbed


@pytest.mark.parametrize("one_step", [True, False])
def test_a_tree_takes_the_place_of_another(tmp_path: Path, monkeypatch, one_step: bool) -> None:
    if not one_step:
        monkeypatch.setattr(tree, "_exchanged", lambda *_: False)
    for name in ("place", "fresh"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "page").write_text(name)
    tree.exchange(tmp_path / "fresh", tmp_path / "place")
    assert (tmp_path / "place" / "page").read_text() == "fresh"
    assert [path.name for path in tmp_path.iterdir()] == ["place"]


def test_linking_ahead_leaves_whole_folders_or_none(tmp_path: Path, monkeypatch) -> None:
    for name in ("a", "b", "c"):
        (tmp_path / "old" / name / "raw").mkdir(parents=True)
        (tmp_path / "old" / name / "raw" / "log.csv").write_text(name)
    (tmp_path / "new").mkdir()
    once = tree.link_tree

    def full_at_b(source: Path, target: Path) -> None:
        if source.name == "b":
            (target / "raw").mkdir(parents=True)
            full_disk()
        once(source, target)

    monkeypatch.setattr(tree, "link_tree", full_at_b)
    linking = tree.Linking(tmp_path / "old", tmp_path / "new")
    linking.start(("a", "b", "c"))
    linking.stop()
    done = sorted(path.name for path in (tmp_path / "new").iterdir())
    assert done in ([], ["a"])  # stopped before it began, or at the full disk
    assert all((tmp_path / "new" / name / "raw" / "log.csv").read_text() == name for name in done)


def test_an_exchange_cut_short_between_two_renames_heals(tmp_path: Path) -> None:
    (tmp_path / ".place-earlier").mkdir()
    (tmp_path / ".place-earlier" / "page").write_text("earlier")
    (tmp_path / ".place-unfinished").mkdir()
    tree.heal(tmp_path / "place")
    assert (tmp_path / "place" / "page").read_text() == "earlier"
    assert [path.name for path in tmp_path.iterdir()] == ["place"]


def test_the_systems_one_step_exchange_is_used_where_it_is(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()
    if tree._exchanged(tmp_path / "a", tmp_path / "b"):
        assert (tmp_path / "a" / "b").exists()
        assert (tmp_path / "b" / "a").exists()
    assert tree._exchanged(tmp_path / "a", tmp_path / "missing") is False


def test_two_builds_keep_out_of_each_others_way(lab: Path) -> None:
    with (
        sole_use(lab / "build", "publish"),
        pytest.raises(RequestError, match=rf"in use by benchproof publish, process {os.getpid()} on .*; wait"),
    ):
        build(lab)
    assert build(lab) == dict.fromkeys(NAMES, ("unchanged", ()))


def test_a_killed_holder_holds_nothing(tmp_path: Path) -> None:
    code = (
        "import sys, time, pathlib; from benchproof.archive.lock import sole_use\n"
        "with sole_use(pathlib.Path(sys.argv[1]), 'build'):\n    print('held', flush=True)\n    time.sleep(60)"
    )
    command = [sys.executable, "-c", code, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout.readline() == "held\n"
        with pytest.raises(RequestError, match=f"process {process.pid}"), sole_use(tmp_path, "build"):
            pass
        process.send_signal(signal.SIGKILL)
        process.wait()
    with sole_use(tmp_path, "build"):
        pass


def test_a_worker_lost_too_often_is_a_failed_campaign_and_no_more(lab: Path, monkeypatch) -> None:
    edit(lab, "Other")

    class Lossy:
        """An executor that loses every worker that takes the first campaign."""

        def __init__(self, good) -> None:
            self.good = good

        def submit(self, step, place, name, *rest):
            if name != NAMES[0]:
                return self.good.submit(step, place, name, *rest)
            lost: Future = Future()
            lost.set_exception(RuntimeError("worker lost"))
            return lost

    init = Schedule.__init__

    def lossy(self, place, crew, *rest):
        init(self, place, type(crew)(Lossy(crew.executor), crew.slots), *rest)

    monkeypatch.setattr(Schedule, "__init__", lossy)
    found = build(lab)
    assert found[NAMES[0]][0] == "failed"
    assert "worker lost" in found[NAMES[0]][1][0]
    assert found[NAMES[1]] == ("built", ())


def test_a_summary_and_the_exit_code_say_what_became_of_it(lab: Path) -> None:
    edit(lab, "Other")
    file = lab / "runs" / NAMES[0] / "campaign.yaml"
    file.write_text(file.read_text().replace("kind: motor", "kind: mortar"))
    command = [str(SCRIPTS / "benchproof"), "--workspace", str(lab), "build"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "1 built, 1 FAILED in " in done.stdout
    again = subprocess.run([*command, "--json"], capture_output=True, text=True, check=False)
    assert [each["state"] for each in json.loads(again.stdout)["campaigns"]] == ["failed", "unchanged"]
