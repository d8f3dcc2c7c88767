"""External recordings: the ways people write them, and what is told of those that cannot be used."""

from __future__ import annotations

import re
import time
from pathlib import Path

import numpy as np
import pytest

from railwright.recordings.errors import RecordingError
from railwright.recordings.of_inputs import record_of
from railwright.recordings.opening import open_recording
from railwright.traces import Record

INPUTS = ("main", "aux")


def read_recording(path: Path, recorder: str, inputs: tuple[str, ...]) -> Record:
    with open_recording(path, guess=False) as recording:
        return record_of(recording, recorder, inputs)


def given(folder: Path, text: str | bytes) -> Path:
    path = folder / "scope.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize(
    "text",
    [
        "time_s,main_voltage_V,main_current_A\n0,12.5,0.25\n0.001,12,0.5\n",
        "time_ms;main_voltage_mV;main_current_mA\n0;12500;250\n1;12000;500",
        "time_s;main_voltage_V;main_current_A\r\n0,000;12,5;0,25\r\n0,001;12,0;0,5\r\n",
        "\ufeff# a remark\n\ntime [s]\tmain voltage [V]\tmain current (mA)\n0\t12.5\t250\n1e-3\t12\t500\n\n",
        '"time_s", "main_voltage_V", "main_current_A"\n 0, 12.5, 0.25\n 0.001, 12, 0.5\n',
        "main_current_A,trigger,time_s,main_voltage_V\n0.25,x,0,12.5\n0.5,y,0.001,12\n",
    ],
)
def test_ways_of_writing_the_same(tmp_path: Path, text: str) -> None:
    record = read_recording(given(tmp_path, text), "transient recorder", INPUTS)
    assert record.origin == "transient recorder"
    traces = record.traces["main"]
    np.testing.assert_allclose(traces.time, [0.0, 0.001])
    np.testing.assert_allclose(traces.columns["voltage"], [12.5, 12.0])
    np.testing.assert_allclose(traces.columns["current"], [0.25, 0.5])
    assert record.notes == ({"left out": "trigger"} if "trigger" in text else {})


def test_several_inputs_and_voltages_at_the_terminals(tmp_path: Path) -> None:
    text = "time_s,main_current_A,aux_terminal_voltage_V\n-1,1,2\n0,3,4\n"
    record = read_recording(given(tmp_path, text), "r", INPUTS)
    assert list(record.traces) == ["main", "aux"]
    assert record.traces["aux"].columns["terminal_voltage"].tolist() == [2.0, 4.0]


def test_a_time_that_is_named_needs_no_unit(tmp_path: Path) -> None:
    path = given(tmp_path, "t,main_voltage_V\n0,1\n0.5,2\n")
    with pytest.raises(RecordingError, match="expected a unit in the column's name, as in 'time_s', got 't'"):
        read_recording(path, "r", INPUTS)
    with open_recording(path, time="t", guess=False) as recording:
        assert record_of(recording, "r", INPUTS).traces["main"].time.tolist() == [0.0, 0.5]


HEADER = "time_s,main_voltage_V\n"


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        ("", 1, "got an empty file"),
        ("# nothing\n\n", 1, "rows of numbers below a header"),
        ("hello\n", 1, "rows of numbers below a header"),
        ("time_s,main_voltage_V\n", 2, "at least two samples"),
        ("# c\n" + HEADER + "0,1\n", 3, "at least two samples, got 1"),
        (
            "main_current_A,main_voltage_V\n0,1\n",
            1,
            "a column of the time among main_current, main_voltage, got none",
        ),
        ("time_s,time_ms,main_voltage_V\n0,1,2\n", 1, "got 2 that may be it"),
        ("time,main_voltage_V\n0,1\n", 1, "a unit in the column's name, as in 'time_s', got 'time'"),
        ("time_s,main_voltage_A\n0,1\n", 1, "a unit of V in the column's name, got 'A'"),
        ("time_s,main_voltage_furlong\n0,1\n", 1, "got 'furlong'"),
        ("time_s,mian_voltage_V\n0,1\n", 1, "got 'mian_voltage_V'; did you mean 'main'?"),
        ("time_s,trigger\n0,1\n", 1, "a voltage or a current of an input"),
        ("time_s,main_voltage_V,main_voltage_mV\n0,1,2\n", 1, "each channel once"),
        (HEADER + "0,1\n" * 9 + "1,x\n", 11, "a number in 'main_voltage_V', got 'x'"),
        (HEADER + "0,1\n1,x\n", 3, "a number as in the other rows, got 'x'"),
        (HEADER + "0,1\n1,\n", 3, "a number as in the other rows, got an empty cell"),
        (HEADER + "0,1\n1,2,3\n", 3, "2 columns as in the other rows, got 3"),
        (HEADER + "0,1\n\n1,2\n", 3, "got an empty line"),
        (HEADER + "0,1\n1,nan\n", 3, "a number as in the other rows, got 'nan'"),
        (HEADER + "0,1\n" * 9 + "1,nan\n", 11, "a finite number"),
        (
            HEADER + "0,1\n" * 9 + "1,inf\n",
            11,
            "a finite number of at most 1e+15 in 'main_voltage_V', got inf",
        ),
        (HEADER + "0,1\n2,1\n1,1\n", 4, "never runs back"),
        (HEADER.encode() + b"0,1\n" * 50_001 + b"\xff\xfe,2\n", 50_003, "UTF-8"),
        (b"\x00\x01\x02", 1, "rows of numbers below a header"),
    ],
)
def test_what_cannot_be_used(tmp_path: Path, text: str | bytes, line: int, told: str) -> None:
    path = given(tmp_path, text)
    with pytest.raises(RecordingError) as raised:
        read_recording(path, "r", INPUTS)
    assert re.match(rf"{re.escape(str(path))}:{line}(:\d+)?: expected ", str(raised.value))
    assert told in str(raised.value)
    assert "\n" not in str(raised.value)


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(RecordingError, match="expected a recording"):
            read_recording(path, "r", INPUTS)


@pytest.mark.parametrize("text", ["SECRET\n", "root:SECRET:1\n", "SECRET: 1, SECRET\nx\n", "SECRET" * 40_000])
def test_nothing_of_another_file_is_repeated(tmp_path: Path, text: str) -> None:
    with pytest.raises(RecordingError) as caught:
        read_recording(given(tmp_path, text), "scope", INPUTS)
    assert "SECRET" not in str(caught.value)


def test_many_samples_take_a_moment(tmp_path: Path) -> None:
    rows = "\n".join(f"{i * 2e-5:.5f},{i % 12}.25,0.{i % 10}" for i in range(300_000))
    path = given(tmp_path, "time_s,main_voltage_V,main_current_A\n" + rows + "\n")
    begin = time.perf_counter()
    record = read_recording(path, "r", INPUTS)
    assert record.traces["main"].time.size == 300_000
    assert time.perf_counter() - begin < 3.0
