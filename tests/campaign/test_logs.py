"""Logs as loggers write them, read into SI channels; what cannot be meant is named with its line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchproof.campaign.logs import Log, read_log
from benchproof.campaign.models.layout import LogChannel
from benchproof.campaign.stuck import stuck_mask
from benchproof.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

LAYOUT = {
    "time": LogChannel(column="t_ms", unit="ms"),
    "throttle": LogChannel(column="u", unit="%"),
    "thrust": LogChannel(column="F", unit="gf", instrument="cell"),
    "speed": LogChannel(column="erpm", unit="rpm", divide_by="pole_pairs"),
}
ROWS = [
    f"{20 * k},{10 + (k // 100)},{100 + 0.1 * (k * 7919 % 31):.1f},{70000 + 10 * (k * 104729 % 17)}" for k in range(400)
]
HEAD = "t_ms,u,F,erpm"
GOOD = "\n".join([HEAD, *ROWS]) + "\n"


def read(tmp_path: Path, text: str | bytes, **more) -> Log:
    path = tmp_path / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_log(path, LAYOUT, pole_pairs=7, name="raw/log.csv", **more)


def fault(tmp_path: Path, text: str | bytes) -> str:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    for each in caught.value.faults:
        assert each.file == "raw/log.csv"
        assert each.found
        assert each.expected
        assert each.remedy
    return str(caught.value)


def test_columns_become_channels_in_si(tmp_path: Path) -> None:
    log = read(tmp_path, GOOD)
    assert log.rows == 400
    assert log.channels["time"][1] == pytest.approx(0.02)
    assert log.channels["throttle"][0] == pytest.approx(0.10)
    assert log.channels["thrust"][0] == pytest.approx(100 * 9.80665e-3)
    assert log.channels["speed"][0] == pytest.approx(70000 / 7 * np.pi / 30)
    assert not log.channels["thrust"].flags.writeable


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + GOOD,
        GOOD.replace("\n", "\r\n"),
        GOOD.replace(",", ";").replace(".", ","),
        GOOD.replace(",", "\t"),
        GOOD.replace(",", "  "),
        "# recorded on the bench\n# 50 Hz\n" + GOOD,
        GOOD.replace(HEAD, "# " + HEAD),
        GOOD.replace(HEAD, HEAD + "\nms,%,gf,rpm"),
        GOOD.replace("\n", ",some text\n"),
        "\n".join([HEAD, *ROWS[:200], "# a note in the middle", *ROWS[200:]]),
        GOOD.encode("utf-16"),
        GOOD.replace(HEAD, '"t_ms","u","F","erpm"'),
    ],
)
def test_every_habit_of_a_logger_reads_the_same(tmp_path: Path, text: str | bytes) -> None:
    log, plain = read(tmp_path, text), read(tmp_path, GOOD)
    for name, values in plain.channels.items():
        assert np.allclose(log.channels[name], values, rtol=1e-12), name


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "an empty file"),
        (HEAD + "\n", "0 rows of data"),
        (GOOD.replace("F,", "Force,", 1), 'column "F"'),
        (GOOD.replace("\n400,", "\n399x,", 1), ":22:"),
        (GOOD.replace("\n400,10,", "\n400,,", 1), "an empty cell"),
        (GOOD.replace("\n400,10,", "\n400,nan,", 1), "nan"),
        (GOOD[:-8], "a row cut short"),
        (GOOD.replace("\n400,", "\n100,", 1), "time 100 after 380"),
        ("\n".join([HEAD, *(f"{20 * k},1,2,3" for k in range(50))]), "every row alike"),
        (b"\x1f\x8b\x08" + b"\x00" * 50, "packed with gzip"),
        (GOOD.encode().replace(b"400", b"4\x000", 1), "no text"),
        (HEAD + "\n" + "1" * 100_000, "a line of more than"),
        (GOOD.replace("erpm", "F", 1), 'column "'),
        ("\n".join([HEAD, *(r for r in ROWS for _ in (0, 1))]), "rows with the time of the row before"),
    ],
)
def test_what_cannot_be_meant_is_named_with_place_and_remedy(tmp_path: Path, text: str | bytes, said: str) -> None:
    assert said in fault(tmp_path, text)


def test_a_gap_and_a_doubled_stamp_are_remarked_on_and_the_log_is_read(tmp_path: Path) -> None:
    rows = [*ROWS[:100], *ROWS[160:300], ROWS[299], *ROWS[300:]]
    log = read(tmp_path, "\n".join([HEAD, *rows]))
    assert {remark.code for remark in log.remarks} == {"gap", "duplicate_time"}
    assert log.rows == 340


def test_a_stuck_sensor_is_found_and_constant_plateaus_are_not() -> None:
    rng = np.random.default_rng(1)
    noisy = 5 + 0.05 * rng.standard_normal(2000)
    stuck = noisy.copy()
    stuck[800:1000] = stuck[800]
    assert stuck_mask(stuck)[800:1000].all()
    assert not stuck_mask(noisy).any()
    plateaus = np.repeat([0.0, 1.0, 2.0, 3.0, 2.0, 1.0, 0.0], 150)
    assert not stuck_mask(plateaus).any()


def test_hostile_headers_are_shown_shortened_and_harmless(tmp_path: Path) -> None:
    said = fault(tmp_path, "<script>alert(1)</script>" * 50 + ",{{7*7}},../../x\n1,2,3\n2,3,4\n")
    assert len(said) < 2000
    assert "\n" not in said.splitlines()[0]


PIECES = [
    "",
    ",",
    ";",
    "\n",
    "x",
    "nan",
    "1e999",
    '"',
    "\t",
    "\x00",
    "é",
    "-",
    "#",
    "9" * 300,
    "<script>",
    "\ufeff",
]


@settings(max_examples=150, deadline=None, derandomize=True)
@given(data=st.data())
def test_damaged_logs_read_or_are_refused_in_words(tmp_path_factory, data) -> None:
    text = GOOD
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        text = text[:at] + data.draw(st.sampled_from(PIECES)) + text[at + data.draw(st.sampled_from([0, 1, 5, 200])) :]
    try:
        log = read(tmp_path_factory.mktemp("l"), text)
    except InputError as error:
        assert all(f.found and f.expected and f.remedy and len(str(f)) < 2000 for f in error.faults)
    else:
        assert all(np.isfinite(values).all() for values in log.channels.values())
        assert (np.diff(log.channels["time"]) > 0).all()
