"""A bundle may come from anybody: what nobody should unpack is refused in plain words, before a byte is written."""

from __future__ import annotations

import json
import os
import stat
import struct
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path
from zipfile import ZIP_BZIP2, ZIP_DEFLATED, ZipFile, ZipInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchproof.archive.unpacking import LIMITS, Limits, sum_problems, unpack
from benchproof.archive.verify import verify
from benchproof.errors import BundleRefused, RequestError
from bundles import SUMS, write

GOOD = {"SHA256SUMS": b"", "results.json": b"{}", "runs/lab.yaml": b"lab: {}\n"}


def zipped(path: Path, *more: tuple[ZipInfo | str, bytes], kind: int = ZIP_DEFLATED, good: bool = True) -> Path:
    with warnings.catch_warnings(), ZipFile(path, "w", kind) as made:
        warnings.simplefilter("ignore", UserWarning)  # zipfile warns of a name that comes twice
        for name, data in [*(GOOD.items() if good else ()), *more]:
            made.writestr(name, data, compress_type=kind)
    return path


def entry(name: str, mode: int) -> ZipInfo:
    made = ZipInfo(name)
    made.create_system = 3
    made.external_attr = mode << 16
    return made


NASTY = {
    "an absolute path": ("/etc/evil", b"x"),
    "a path with ..": ("runs/../../evil", b"x"),
    "a lone ..": ("..", b"x"),
    "a drive": ("C:evil", b"x"),
    "a backslash": ("runs\\..\\evil", b"x"),
    "a line break": ("runs/a\nb", b"x"),
    "an empty part": ("runs//evil", b"x"),
    "a very long name": ("x" * 300, b"x"),
    "a link": (entry("runs/link", stat.S_IFLNK | 0o777), b"/etc/passwd"),
    "a device": (entry("runs/null", stat.S_IFCHR | 0o666), b""),
    "a fifo": (entry("runs/pipe", stat.S_IFIFO | 0o666), b""),
    "a name twice": ("results.json", b"{}"),
    "a name that differs in case alone": ("RUNS/lab.yaml", b"x"),
    "a file inside a file": ("results.json/x", b"x"),
}


@pytest.mark.parametrize("what", NASTY)
def test_what_no_bundle_has_is_refused_and_nothing_is_unpacked(tmp_path: Path, what: str) -> None:
    into = tmp_path / "deep" / "into"
    before = set(tmp_path.rglob("*"))
    bundle = zipped(tmp_path / "b.zip", NASTY[what])
    with pytest.raises(BundleRefused, match="refused, nothing was unpacked"):
        unpack(bundle, into)
    assert set(tmp_path.rglob("*")) - before == {bundle, into.parent, into}


def test_letters_that_are_one_on_some_disks_are_one_name(tmp_path: Path) -> None:
    bundle = zipped(tmp_path / "b.zip", ("runs/\u00e9.csv", b""), ("runs/e\u0301.csv", b""))
    with pytest.raises(BundleRefused, match="one file on some machines"):
        unpack(bundle, tmp_path / "into")


def test_a_bomb_is_refused_by_what_it_says_of_itself(tmp_path: Path) -> None:
    bundle = zipped(tmp_path / "b.zip", ("runs/x/raw/log.csv", bytes(400 << 20)))
    assert bundle.stat().st_size < 1 << 20
    with pytest.raises(BundleRefused, match="more than a bundle's logs can come to"):
        unpack(bundle, tmp_path / "into")
    assert not any((tmp_path / "into").iterdir())


def test_a_bomb_that_lies_about_itself_is_stopped_at_the_length_it_states(tmp_path: Path) -> None:
    bundle = zipped(tmp_path / "b.zip", ("runs/x/raw/log.csv", bytes(8 << 20)))
    data = bytearray(bundle.read_bytes())
    for signature, offset in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
        place = data.rfind(signature)
        struct.pack_into("<L", data, place + offset, 1000)
    bundle.write_bytes(data)
    with pytest.raises((BundleRefused, RequestError)):
        unpack(bundle, tmp_path / "into")
    assert sum(p.stat().st_size for p in (tmp_path / "into").rglob("*") if p.is_file()) < 10_000


def test_too_many_entries_are_refused(tmp_path: Path) -> None:
    bundle = zipped(tmp_path / "b.zip", *((f"runs/{k}", b"") for k in range(50)))
    with pytest.raises(BundleRefused, match="53 entries; a bundle has at most 20"):
        unpack(bundle, tmp_path / "into", Limits(files=20))
    with pytest.raises(RequestError, match="a list of entries"):
        unpack(bundle, tmp_path / "again", Limits(directory=100))


def test_a_long_file_that_is_no_log_is_refused(tmp_path: Path) -> None:
    bundle = zipped(tmp_path / "b.zip", ("runs/x/campaign.yaml", os.urandom(4000)))
    with pytest.raises(BundleRefused, match="only a raw log may be that long"):
        unpack(bundle, tmp_path / "into", Limits(plain=2000))


def test_another_compression_and_encryption_are_refused(tmp_path: Path) -> None:
    with pytest.raises(BundleRefused, match="compressed in a way"):
        unpack(zipped(tmp_path / "b.zip", kind=ZIP_BZIP2), tmp_path / "into")
    bundle = zipped(tmp_path / "c.zip")
    data = bytearray(bundle.read_bytes())
    data[data.rfind(b"PK\x01\x02") + 8] |= 1
    bundle.write_bytes(data)
    with pytest.raises(BundleRefused, match="is encrypted"):
        unpack(bundle, tmp_path / "again")


@pytest.mark.parametrize("data", [b"", b"not a zip", b"PK\x03\x04", b"PK\x05\x06" + bytes(18), bytes(100)])
def test_what_is_no_bundle_says_so(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "b.zip").write_bytes(data)
    with pytest.raises(RequestError, match="is not a bundle"):
        unpack(tmp_path / "b.zip", tmp_path / "into")


def test_an_ordinary_zip_is_not_a_bundle(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="is not a bundle: it lacks SHA256SUMS"):
        unpack(zipped(tmp_path / "b.zip", ("a.txt", b"x"), good=False), tmp_path / "into")


def test_without_a_list_of_checksums_nothing_agrees(tmp_path: Path) -> None:
    files = {name: data for name, data in GOOD.items() if name != SUMS}
    unpack(write(tmp_path / "b.zip", files), tmp_path / "into")
    assert "SHA256SUMS is missing" in sum_problems(tmp_path / "into")[0]


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_damage_anywhere_is_refused_or_found(data: st.DataObject) -> None:
    with tempfile.TemporaryDirectory() as folder:
        files = {**GOOD, "runs/x/raw/log.csv": b"1,2\n" * 50}
        bundle = write(Path(folder) / "b.zip", files, fitting_sums=True)
        raw = bytearray(bundle.read_bytes())
        place = data.draw(st.integers(0, len(raw) - 1))
        raw[place] ^= data.draw(st.integers(1, 255))
        bundle.write_bytes(raw[: data.draw(st.integers(0, len(raw)))] if data.draw(st.booleans()) else raw)
        into = Path(folder) / "into"
        try:
            unpack(bundle, into)
        except (BundleRefused, RequestError):
            pass
        else:
            whole = all((into / name).read_bytes() == data for name, data in files.items() if name != SUMS)
            assert whole or sum_problems(into)
        written = {p.relative_to(folder).parts[0] for p in Path(folder).rglob("*")}
        assert written <= {"b.zip", "into"}


def test_results_that_are_no_results_bring_no_traceback(tmp_path: Path) -> None:
    for number, text in enumerate((b"{}", b"[" * 100_000, b"\xff", b'{"campaign": "../../x"}')):
        bundle = zipped(tmp_path / f"{number}.zip", ("x", text))
        with ZipFile(bundle, "w") as made:
            for name, data in {**GOOD, "results.json": text}.items():
                made.writestr(name, data)
        found = verify(bundle, {})
        assert not found.ok
        assert any("results.json" in problem for problem in found.problems)


@pytest.mark.parametrize(("more", "code"), [(NASTY["a path with .."], 1), (NASTY["a link"], 1), (None, 2)])
def test_the_command_refuses_in_words_and_by_its_exit_code(tmp_path: Path, more, code: int) -> None:
    bundle = zipped(tmp_path / "b.zip", more) if more else zipped(tmp_path / "b.zip", ("a", b""), good=False)
    command = [str(Path(sys.executable).parent / "benchproof"), "verify", str(bundle)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path, timeout=100)
    assert done.returncode == code
    assert "Traceback" not in done.stdout + done.stderr
    assert ("refused" if code == 1 else "is not a bundle") in done.stdout + done.stderr
    told = subprocess.run([*command, "--json"], capture_output=True, text=True, check=False, timeout=100)
    assert json.loads(told.stdout)["ok"] is False
    assert {path.name for path in tmp_path.iterdir()} == {"b.zip"}


def test_the_limits_leave_room_for_a_years_logs() -> None:
    assert LIMITS.size >= 4 << 30
    assert LIMITS.files >= 1000
