"""Logs as loggers write them, read into SI channels; what cannot be meant is named with its line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchproof.campaign import log_text, logs
from benchproof.campaign.logs import Log, read_log
from benchproof.campaign.models.layout import LogChannel
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


def refused(tmp_path: Path, text: str | bytes, **more) -> InputError:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text, **more)
    complete(caught.value)
    return caught.value


def complete(error: InputError) -> None:
    assert 1 <= len(error.faults) <= 21
    for each in error.faults:
        assert each.file == "raw/log.csv"
        assert each.found
        assert each.expected
        assert each.remedy
        assert str(each).isprintable()
        assert len(str(each)) < 2000


def fault(tmp_path: Path, text: str | bytes, **more) -> str:
    return str(refused(tmp_path, text, **more))


def codes(log: Log) -> list[str]:
    return [remark.code for remark in log.remarks]


def same(log: Log, other: Log) -> bool:
    return all(np.array_equal(values, other.channels[name]) for name, values in log.channels.items())


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
        GOOD.encode("utf-16-le"),
        GOOD.encode("utf-16-be"),
        GOOD.replace(HEAD, '"t_ms","u","F","erpm"'),
        GOOD.replace(",", "|"),
        GOOD.replace(",", " , "),
        GOOD.replace("\n", "\r"),
        GOOD.replace("\n", ",\n"),
        GOOD.replace("\n", ",\n").replace(HEAD + ",", HEAD),
        GOOD.replace("\n", "\n\n"),
        GOOD + "\n\n",
        GOOD[:-1],
        GOOD.replace("\n", "\n   ").replace(",", " \t "),
        'bench;"north, upper floor"\noperator;°\n\n' + GOOD,
        GOOD.replace(HEAD, HEAD + "\n[ms],[%],[gf],[rpm]"),
        GOOD.replace("\n", ',12" propeller\n').replace(HEAD + ',12" propeller', HEAD + ",note"),
        GOOD.replace("\n", ',"a, b"\n'),
        GOOD.replace("\n", ",°\n").encode("cp1252"),
        GOOD.replace("\n20,", "\n+2.0e1,"),
        "\n".join(['"' + line.replace(",", '","') + '"' for line in GOOD.splitlines()]).replace(".", ","),
    ],
)
def test_every_habit_of_a_logger_reads_the_same(tmp_path: Path, text: str | bytes) -> None:
    log, plain = read(tmp_path, text), read(tmp_path, GOOD)
    assert same(log, plain)
    assert log.remarks == plain.remarks


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
        ("\n".join([HEAD, *ROWS[:9], ROWS[8], ROWS[8], *ROWS[9:]]), "time 160 in three or more rows"),
        ("\ufeff\n \n", "an empty file"),
        ("\n".join(ROWS), 'a header row with the column "t_ms"'),
        (GOOD.replace("t_ms", "T_ms", 1), 'Map the column "T_ms"'),
        (GOOD.replace("\n400,", "\n400,,", 1), "more cells than the header"),
        (GOOD.replace(".", ","), "more cells than the header"),
        (GOOD.replace("\n400,", "\n4\uff10\uff10,", 1), ":22:"),
        (GOOD.replace("\n400,", "\n4_00,", 1), '"4_00"'),
        (GOOD.replace("\n400,10,", "\n400,1e999,", 1), "1e999"),
        (GOOD.replace(",", ";").replace("\n400;10;", "\n400;10,5;", 1), "one decimal mark"),
        (GOOD.replace(",", ";").replace(".", ",").replace("\n400;10;", "\n400;10.500;", 1), "one decimal mark"),
        (GOOD.encode()[:3000] + b"\x00" * 5000, "NUL bytes"),
        (GOOD.encode() + b"\x00" * 500_000, ":402: found NUL bytes"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 9, "no text"),
        (b"PK\x03\x04" + bytes(99), "packed with zip"),
        (GOOD + "x" * 200_000, ":402: found a line of more than"),
    ],
)
def test_what_cannot_be_meant_is_named_with_place_and_remedy(tmp_path: Path, text: str | bytes, said: str) -> None:
    assert said in fault(tmp_path, text)


def test_a_gap_and_a_doubled_stamp_are_remarked_on_and_the_log_is_read(tmp_path: Path) -> None:
    rows = [*ROWS[:100], *ROWS[160:300], ROWS[299], *ROWS[300:]]
    log = read(tmp_path, "\n".join([HEAD, *rows]))
    assert codes(log) == ["duplicate_time", "gap"]
    assert "the first on line 242" in log.remarks[0].message
    assert "a gap of 1.22 s from 1.98 s" in log.remarks[1].message
    assert log.rows == 340
    assert np.array_equal(np.delete(read(tmp_path, GOOD).channels["time"], range(100, 160)), log.channels["time"])


def test_a_stuck_channel_is_remarked_on_with_its_time_and_a_held_throttle_is_not(tmp_path: Path) -> None:
    stuck = ",".join(ROWS[200].split(",")[2:3])
    rows = [
        row if not 200 <= k < 240 else f"{row.split(',')[0]},12,{stuck},{row.split(',')[3]}"
        for k, row in enumerate(ROWS)
    ]
    log = read(tmp_path, "\n".join([HEAD, *rows]))
    assert [(r.code, r.message) for r in log.remarks] == [
        ("stuck", "thrust stuck from 4 s to 4.78 s; these rows are left out of means")
    ]


def test_a_measured_channel_with_one_value_throughout_is_remarked_on(tmp_path: Path) -> None:
    rows = [row.rpartition(",")[0] + ",0" for row in ROWS]
    assert [(r.code, r.message) for r in read(tmp_path, "\n".join([HEAD, *rows])).remarks] == [
        ("constant", "speed has one value in all 400 rows")
    ]


def test_a_row_of_units_that_contradicts_the_layout_is_remarked_on(tmp_path: Path) -> None:
    log = read(tmp_path, GOOD.replace(HEAD, HEAD + "\nms,%,N,1/min"))
    assert [r.message for r in log.remarks] == [
        'thrust: the log\'s row of units says "N", the layout "gf", which is used'
    ]


def test_several_faults_are_reported_together_in_the_order_of_the_log_and_no_more_than_twenty(tmp_path: Path) -> None:
    rows = ROWS.copy()
    rows[10], rows[20], rows[30] = "200,x,1,2", "400,10", "620,10,100,70000"
    rows[31], rows[40] = "600,10,100,70000", "800,10,nan,inf"
    error = refused(tmp_path, "\n".join([HEAD, *rows]))
    assert [each.line for each in error.faults] == [12, 22, 33, 42, 42]
    assert len(refused(tmp_path, GOOD.replace(",1", ",q")).faults) == 20


def test_lines_are_counted_over_comments_blanks_and_blocks(tmp_path: Path) -> None:
    before = "# one\n\n# two\n" + HEAD + "\nms,%,gf,rpm\n\n"
    rows = [f"{k},{k % 7},{k % 11},{k % 13}" for k in range(200_000)]
    rows[150_000] = "150000,1,oops,2"
    rows[160_000] = "1,1,2,3"
    error = refused(tmp_path, before + "\n".join(rows))
    assert [each.line for each in error.faults] == [150_007, 160_007]
    error = refused(tmp_path, before + "\r\n\r\n".join(rows))
    assert [each.line for each in error.faults] == [300_007, 320_007]


def test_a_log_of_many_blocks_reads_as_it_stands(tmp_path: Path) -> None:
    count = 100_000
    values = np.random.default_rng(3).normal(100, 30, (count, 3)).round(3)
    rows = [f"{0.1 * k:.1f},{a},{b},{c}" for k, (a, b, c) in enumerate(values.tolist())]
    log = read(tmp_path, "\n".join([HEAD, *rows]))
    assert log.rows == count
    assert np.array_equal(log.channels["time"], np.array([float(f"{0.1 * k:.1f}") for k in range(count)]) * 1e-3)
    assert np.array_equal(log.channels["throttle"], values[:, 0] * 0.01)


def test_a_decimal_comma_that_comes_late_is_still_understood(tmp_path: Path) -> None:
    rows = [f"{k};{k % 7};{k % 11};{k % 13}" for k in range(5000)] + [f"{k};0,5;1,25;2" for k in range(5000, 5050)]
    log = read(tmp_path, "\n".join([HEAD.replace(",", ";"), *rows]))
    assert log.channels["throttle"][-1] == 0.005


def test_a_stated_dialect_is_followed_and_a_wrong_one_explained(tmp_path: Path) -> None:
    twice = "t_ms;u;F;erpm (raw)\n" + GOOD.replace(",", ";").replace(".", ",")
    stated = {"delimiter": ";", "decimal": ",", "header": 2, "comment": None, "encoding": "latin-1"}
    assert same(read(tmp_path, twice, dialect=stated), read(tmp_path, GOOD))
    assert "9999" in fault(tmp_path, GOOD, dialect={"header": 9999})
    said = fault(tmp_path, GOOD, dialect={"delimiter": "x", "decimal": "'", "encoding": "none such", "colour": "red"})
    assert [word in said for word in ("delimiter", "decimal", "encoding", "colour")] == [True] * 4


def test_an_electrical_speed_needs_the_pole_pairs(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(GOOD)
    with pytest.raises(InputError, match="pole_pairs"):
        read_log(path, LAYOUT, pole_pairs=None, name="raw/log.csv")


def test_a_file_that_is_not_there_is_a_fault_of_the_log(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no readable file"):
        read_log(tmp_path / "none.csv", LAYOUT, pole_pairs=7, name="raw/none.csv")
    with pytest.raises(InputError, match="no readable file"):
        read_log(tmp_path, LAYOUT, pole_pairs=7, name="raw")


def test_a_log_too_large_for_double_precision_keeps_its_time_exact(tmp_path: Path, monkeypatch) -> None:
    double = read(tmp_path, GOOD)
    monkeypatch.setattr(logs, "DOUBLE", 1000)
    single = read(tmp_path, GOOD)
    assert np.array_equal(single.channels["time"], double.channels["time"])
    for name, values in double.channels.items():
        assert np.allclose(single.channels[name], values, rtol=1e-7)
    assert single.channels["thrust"].dtype == np.float32


def test_a_log_too_large_for_the_machine_is_refused(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(logs, "MOST", 1000)
    assert "fewer channels" in fault(tmp_path, GOOD)


@pytest.mark.parametrize(
    "header",
    [
        "<script>alert(1)</script>" * 50 + ",{{7*7}},../../x",
        "{% for x in ().__class__.__bases__ %},${7*7},`rm -rf`",
        "\x1b[31mred\x1b[0m,\u202egnp.exe,\u2028",
        ",".join(f"<img src=x onerror=alert({k})>" for k in range(500)),
    ],
)
def test_hostile_headers_are_shown_shortened_and_harmless(tmp_path: Path, header: str) -> None:
    error = refused(tmp_path, header + "\n1,2,3\n2,3,4\n")
    assert all("<script>alert(1)</script><script>alert(1)</script>" not in each.found for each in error.faults)


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


@settings(max_examples=200, deadline=None, derandomize=True)
@given(data=st.data())
def test_damaged_logs_read_or_are_refused_in_words(tmp_path_factory, data) -> None:
    text = GOOD
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        text = text[:at] + data.draw(st.sampled_from(PIECES)) + text[at + data.draw(st.sampled_from([0, 1, 5, 200])) :]
    usable_or_refused(tmp_path_factory, text.encode())


@settings(max_examples=150, deadline=None, derandomize=True)
@given(data=st.data())
def test_logs_with_broken_bytes_read_or_are_refused_in_words(tmp_path_factory, data) -> None:
    text = bytearray(GOOD.encode(data.draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"]))))
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(text) - 1))
        text[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=4))
    usable_or_refused(tmp_path_factory, bytes(text[: data.draw(st.sampled_from([len(text), 5000, 60, 1]))]))


def usable_or_refused(factory, text: bytes) -> None:
    try:
        log = read(factory.mktemp("l"), text)
    except InputError as error:
        complete(error)
    else:
        assert all(np.isfinite(values).all() for values in log.channels.values())
        assert (np.diff(log.channels["time"]) > 0).all()
        assert {values.size for values in log.channels.values()} == {log.rows}


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    table=st.lists(st.tuples(*[st.floats(-1e9, 1e9, allow_subnormal=False)] * 3), min_size=2, max_size=40),
    delimiter=st.sampled_from([",", ";", "\t", "|", "  "]),
    decimal=st.sampled_from([".", ","]),
    ending=st.sampled_from(["\n", "\r\n"]),
    block=st.sampled_from([64, 100, 1 << 18]),
)
def test_every_way_through_the_reader_gives_the_numbers_that_were_written(
    tmp_path_factory, table, delimiter, decimal, ending, block
) -> None:
    rows = [(k, *row) for k, row in enumerate(table)]
    mark = decimal if delimiter != "," else "."
    lines = [delimiter.join(repr(float(cell)).replace(".", mark) for cell in row) for row in rows]
    lines = [HEAD.replace(",", delimiter), *lines]
    folder = tmp_path_factory.mktemp("l")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(log_text, "BLOCK", block)
        patch.setattr(logs, "BLOCK", block)
        try:
            fast = read(folder, ending.join(lines))
        except InputError as error:
            assert "every row alike" in str(error)
            return
        by_hand = read(folder, ending.join([lines[0], *(f"{line}{ending}# note" for line in lines[1:])]))
    expected = np.array(rows, float).T
    assert np.array_equal(fast.channels["thrust"], expected[2] * 9.80665e-3)
    assert np.array_equal(fast.channels["time"], expected[0] * 1e-3)
    assert same(by_hand, fast)
