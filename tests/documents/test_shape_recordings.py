"""Recordings to play: the ways people and programs write them, what is guessed, and what is refused."""

from __future__ import annotations

import builtins
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from pydantic import ValidationError
from scipy.io import wavfile

from railwright.documents.recording_keys import RecordingParts
from railwright.documents.shape_recordings import recorded_waveform, recording_pieces
from railwright.recordings.errors import RecordingError
from railwright.recordings.opening import open_recording
from railwright.waveforms.shapes import Hold, Jump


def given(folder: Path, text: str | bytes, name: str = "drop.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read_recording(path: Path, given: RecordingParts | None = None) -> tuple[Any, tuple[str, ...]]:
    return recorded_waveform(path, given or RecordingParts())[:2]


def keys(**more: Any) -> RecordingParts:
    return RecordingParts(**more)


ISO, DAY = "2026-03-02T10:00:00", "02.03.2026 10:00:00"
ROWS = [(0.0, 12.5), (0.001, 12.0), (0.003, 6.25)]


@pytest.mark.parametrize(
    ("text", "guess"),
    [
        ("time_s,main_voltage_V\n0,12.5\n0.001,12\n0.003,6.25\n", "commas, decimal point"),
        ("time_ms;main_voltage_mV\n0;12500\n1;12000\n3;6250\n", "semicolons"),
        ("Zeit [ms];U [V]\r\n0,0;12,5\r\n1,0;12,0\r\n3,0;6,25\r\n", "semicolons, decimal comma"),
        ("\ufeff# made by hand\n\nt/ms\tU/V\n0\t12.5\n1\t12\n3\t6.25\n\n", "tabs"),
        ("0,12.5\n0.001,12\n0.003,6.25\n", "no header"),
        ("0 12.5\n1e-3 12\n3e-3 6.25\n", "blanks"),
        (
            "model,X\nsamples,3\ntime,voltage\ns,V\n0,12.5\n.001,12.0\n.003,6.25\n",
            "names in line 3, units in line 4",
        ),
        ('"time (us)","rail (kV)"\n0,0.0125\n1000,0.012\n3000,0.00625\n', "names and units in line 1"),
        ("time;U\n10:00:00,000;12,5\n10:00:00,001;12\n10:00:00,003;6,25\n", "instants"),
        (f"time,U\n{ISO}.000Z,12.5\n{ISO}.001Z,12\n{ISO}.003Z,6.25\n", "times are instants"),
        (
            f"when;U [V]\n{DAY},000;12,5\n{DAY},001;12\n{DAY},003;6,25\n",
            "first column, 'when': no column is called 'time'",
        ),
        ("time_s,main_voltage_V\n5,12.5\n5.001,12\n5.003,6.25\n", "its first time, 5 s, is taken as 0"),
        (
            "time_s,main_voltage_V,note\n0,12.5,a\n0.001,12,b\n0.003,6.25,c\n",
            "values in column 'main_voltage'",
        ),
    ],
)
def test_ways_of_writing_the_same(tmp_path: Path, text: str, guess: str) -> None:
    wave, guessed = read_recording(given(tmp_path, text))
    assert wave.time == pytest.approx([time for time, _ in ROWS], abs=1e-12)
    assert wave.value == pytest.approx([value for _, value in ROWS])
    assert any(guess in told for told in guessed), guessed


def test_past_midnight_it_is_the_next_day(tmp_path: Path) -> None:
    text = "time,U\n23:59:59.5,1\n23:59:59.9,2\n00:00:00.5,3\n"
    wave, _ = read_recording(given(tmp_path, text))
    assert wave.time == pytest.approx([0.0, 0.4, 1.0])


def test_text_in_another_encoding_is_read_and_said(tmp_path: Path) -> None:
    wave, guessed = read_recording(given(tmp_path, "Zeit (µs);U\n0;1\n2;3\n".encode("latin-1")))
    assert wave.time == pytest.approx([0.0, 2e-6])
    assert any("Latin-1" in told for told in guessed)
    assert any("unit of 'U': none is given, V is taken" in told for told in guessed)


def test_columns_units_and_a_part_as_a_document_gives_them(tmp_path: Path) -> None:
    path = given(tmp_path, "t,a,b\n0,1,10\n1,2,20\n2,3,30\n3,4,40\n")
    wave, _ = read_recording(path, keys(column="b", unit="mV", begin="500 ms", end="2 s"))
    assert wave.time == pytest.approx([0.0, 0.5, 1.5])
    assert wave.value == pytest.approx([0.015, 0.020, 0.030])
    wave, _ = read_recording(path, keys(column="2", time="1"))
    assert wave.value == pytest.approx([1.0, 2.0, 3.0, 4.0])


def test_one_column_with_an_interval(tmp_path: Path) -> None:
    wave, guessed = read_recording(given(tmp_path, "U [V]\n1.5\n2.5\n3.5\n"), keys(interval="20 us"))
    assert wave.time == pytest.approx([0.0, 20e-6, 40e-6])
    assert wave.value == pytest.approx([1.5, 2.5, 3.5])
    assert any("one column" in told for told in guessed)


def test_two_samples_at_one_time_are_a_jump_and_a_gap_is_told(tmp_path: Path) -> None:
    rows = "".join(f"{k},1\n" for k in range(10)) + "9,5\n40,5\n"
    wave, guessed = read_recording(given(tmp_path, "time_s,U_V\n" + rows))
    assert list(wave.time[9:11]) == [9.0, 9.0]
    assert any("a gap of 31 s at 9 s" in told for told in guessed)


@pytest.mark.parametrize(
    ("text", "more", "line", "told"),
    [
        ("", {}, 1, "an empty file"),
        ("hello\nworld\n", {}, 1, "rows of numbers below a header"),
        ("time_s,U_V\n0,1\n1,x\n2,1\n", {}, 3, "a number as in the other rows, got 'x'"),
        ("time_s,U_V\n" + "0,1\n" * 20 + "1,x\n", {}, 22, "a number in 'U_V', got 'x'"),
        (
            "time_s,U_V\n" + "0,1\n" * 20 + "1,nan\n",
            {},
            22,
            "a finite number of at most 1e+15 in 'U_V', got none",
        ),
        ("time_s,U_V\n0,1\n2,1\n1,1\n", {}, 4, "never runs back"),
        ("time_s,a_V,b_V\n0,1,2\n1,2,3\n", {}, 1, "one column that can be played, got a, b"),
        ("time_s,a_V\n0,1\n1,2\n", {"column": "aa"}, 1, "did you mean 'a'?"),
        ("time_s,a_A\n0,1\n1,2\n", {}, 1, "expected a unit of V for 'a', got 'A', another unit"),
        ("time_s,a_V\n0,1\n1,2\n", {"column": "a", "unit": "furlong"}, 1, "no unit that is known"),
        ("U\n1\n2\n", {}, 1, "a column of the time among U, got none"),
        ("time_s,time_ms,U\n0,0,1\n1,1000,2\n", {}, 1, "got 2 that may be it"),
        ("time_s,U_V\n0,1\n0,2\n", {}, 2, "samples at two times"),
        ("time_s,U_V\n0,1\n1,2\n", {"begin": "2 s"}, 2, "a part within its 1 s"),
        ("time,U_V\n10:00:00,1\n10:61:00,2\n", {}, 3, "a time as in the rows above, got '10:61:00'"),
        (b"\xff\xfet\x00", {}, 1, "UTF-16"),
    ],
)
def test_what_cannot_be_used(
    tmp_path: Path, text: str | bytes, more: dict[str, str], line: int, told: str
) -> None:
    path = given(tmp_path, text)
    with pytest.raises(RecordingError) as raised:
        read_recording(path, keys(**more))
    assert re.match(rf"{re.escape(str(path))}:{line}(:\d+)?: expected ", str(raised.value))
    assert told in str(raised.value)
    assert "\n" not in str(raised.value)


GOOD = "".join(f"0,{k};11,{k}\n" for k in range(2, 9))


@pytest.mark.parametrize(
    ("text", "place", "got"),
    [
        ("t_s;U_V\n0,0;12,0\n0,1;elf\n" + GOOD, "3:5", "'elf'"),
        ("t_s;U_V\n0,1;elf\n" + GOOD, "2:5", "'elf'"),
        ("t_s;U_V\n0,0;12,0\n elf ;12,0\n" + GOOD, "3:2", "'elf'"),
        ("t_s;U_V\n0,0;12,0\n0,1;elf\n0,15;12\n" + GOOD, "3:5", "'elf'"),
        ("t_s;U_V\n0,0;12,0\nerr;err\n" + GOOD, "3:1", "'err'"),
        ("Zeit;U\nms;V\n0,0;12,0\n0,1;\n" + GOOD, "4:5", "an empty cell"),
        ("0,1;elf\n" + GOOD, "1:5", "'elf'"),
        ("t_s;U_V\n0,0;12,0\n0,1;elf\n0,2;11,0\n", "3:5", "'elf'"),
    ],
)
def test_a_bad_cell_among_the_first_rows_is_no_header(
    tmp_path: Path, text: str, place: str, got: str
) -> None:
    path = given(tmp_path, text)
    with pytest.raises(RecordingError) as raised:
        read_recording(path)
    assert str(raised.value).startswith(f"{path}:{place}: expected a number as in the other rows, got {got}")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("t;1;2\n0;3;4\n1;4;5\n", "names and units in line 1"),
        ("model;X\n3;4\nt [s];U [V]\n0;3\n1;4\n", "names and units in line 3"),
        ("t;U;n\n(s);[V];(1)\n0;3;4\n1;4;5\n", "names in line 1, units in line 2"),
        ("t;U;n\ns;V;1\n0;3;4\n1;4;5\n", "names and units in line 2"),
    ],
)
def test_names_and_units_with_numbers_in_them_are_no_bad_rows(tmp_path: Path, text: str, told: str) -> None:
    assert told in open_recording(given(tmp_path, text)).recognised


def test_no_file_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="no such file or directory; correct the path"):
        read_recording(tmp_path / "none.csv")


def test_keys_that_exclude_each_other_are_refused() -> None:
    with pytest.raises(ValidationError, match="'time' or 'interval', got both"):
        keys(time="t", interval="1 ms")
    with pytest.raises(ValidationError, match="'end' after 'begin'"):
        keys(begin="2 s", end="1 s")


def test_parquet_with_units_in_names_or_metadata_and_times_as_instants(tmp_path: Path) -> None:
    path = tmp_path / "drop.parquet"
    seconds, volts = [time for time, _ in ROWS], [value for _, value in ROWS]
    parquet.write_table(
        pa.table({"time_s": seconds, "main_voltage_V": volts, "label": ["a", "b", "c"]}), path
    )
    wave, guessed = read_recording(path)
    assert wave.time == pytest.approx(seconds)
    assert wave.value == pytest.approx(volts)
    assert "a Parquet file" in guessed
    fields = [pa.field("when", pa.timestamp("us")), pa.field("U", pa.float32(), metadata={"unit": "mV"})]
    stamps = pa.array([round(1e6 * second) for second in seconds], pa.timestamp("us"))
    table = pa.table([stamps, pa.array(volts, pa.float32())], schema=pa.schema(fields))
    parquet.write_table(table, path)
    wave, _ = read_recording(path, keys(time="when"))
    assert wave.time == pytest.approx(seconds)
    assert wave.value == pytest.approx([value / 1e3 for value in volts])
    parquet.write_table(pa.table({"time_s": seconds, "U_V": pa.array([1.0, None, 2.0])}), path)
    with pytest.raises(
        RecordingError, match=r"parquet:2:1: expected a finite number .* in 'U_V', got none \(a gap, or NaN\)"
    ):
        read_recording(path)
    with pytest.raises(RecordingError, match="expected a Parquet file"):
        read_recording(given(tmp_path, "PAR1 and no more", "broken.parquet"))


def test_hdf5_with_a_time_or_an_interval(tmp_path: Path) -> None:
    import h5py

    path = tmp_path / "drop.h5"
    with h5py.File(path, "w") as file:
        file["scope/time_ms"] = np.array([0.0, 1.0, 3.0])
        file["scope/rail"] = np.array([12500, 12000, 6250], np.int32)
        file["scope/rail"].attrs["unit"] = "mV"
        file["scope/picture"] = np.zeros((4, 4))
    wave, guessed = read_recording(path, keys(time="scope/time"))
    assert wave.time == pytest.approx([0.0, 1e-3, 3e-3])
    assert wave.value == pytest.approx([12.5, 12.0, 6.25])
    assert "an HDF5 file" in guessed
    with h5py.File(path, "w") as file:
        file["rail"] = np.array([1.0, 2.0])
        file["rail"].attrs["sample_rate"] = 1000.0
    wave, _ = read_recording(path)
    assert wave.time == pytest.approx([0.0, 1e-3])
    with pytest.raises(RecordingError, match="expected an HDF5 file"):
        read_recording(given(tmp_path, "no such thing at all", "broken.h5"))


def test_hdf5_without_its_library_says_what_to_install(tmp_path: Path, monkeypatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name == "h5py":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.delitem(sys.modules, "h5py", raising=False)
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(RecordingError, match=r"pip install 'railwright\[hdf5\]'"):
        read_recording(given(tmp_path, "\x89HDF", "drop.h5"))


@pytest.mark.parametrize("kind", [np.int16, np.int32, np.uint8])
def test_wav_of_whole_numbers_by_its_full_scale(tmp_path: Path, kind: type) -> None:
    path = tmp_path / "ripple.wav"
    middle, half = (128, 128) if kind is np.uint8 else (0, 2 ** (8 * np.dtype(kind).itemsize - 1))
    samples = np.array([[0, 0], [0.5, -0.5], [-1.0, 0.25]]) * half + middle
    wavfile.write(path, 48_000, samples.astype(kind))
    wave, guessed = read_recording(path, keys(column="channel 2", full_scale="10 V"))
    assert wave.time == pytest.approx([0.0, 1 / 48_000, 2 / 48_000])
    assert wave.value == pytest.approx([0.0, -5.0, 2.5])
    assert any("48000 samples a second" in told for told in guessed)
    with pytest.raises(RecordingError, match=r"expected 'full_scale' .* give the voltage at full scale"):
        read_recording(path, keys(column="channel 1"))
    with pytest.raises(RecordingError, match="one column that can be played, got channel 1, channel 2"):
        read_recording(path, keys(full_scale="10 V"))


def test_wav_of_fractions_is_in_volts_and_a_broken_one_refused(tmp_path: Path) -> None:
    path = tmp_path / "ripple.wav"
    wavfile.write(path, 1000, np.array([0.0, 1.5, 3.0], np.float32))
    wave, _ = read_recording(path)
    assert wave.value == pytest.approx([0.0, 1.5, 3.0])
    with pytest.raises(RecordingError, match="expected a WAV file"):
        read_recording(given(tmp_path, "RIFF, no more", "broken.wav"))


def test_a_long_recording_takes_a_moment(tmp_path: Path) -> None:
    rows = "\n".join(f"{i * 2e-5:.5f},{i % 12}.25,x" for i in range(300_000))
    wave, _ = read_recording(given(tmp_path, "time_s,main_voltage_V,note\n" + rows + "\n"))
    assert wave.time.size == 300_000


def test_a_recording_becomes_pieces_of_a_shape(tmp_path: Path) -> None:
    rows = "".join(f"{i * 1e-3:.3f},{12 - 6 * (200 <= i < 700)}\n" for i in range(1000))
    pieces, told, _ = recording_pieces(given(tmp_path, "time_s,U_V\n" + rows), RecordingParts())
    assert sum(piece.duration for piece in pieces[1:] if not isinstance(piece, Jump)) == pytest.approx(0.999)
    assert pieces == (
        Jump(12.0),
        Hold(pytest.approx(0.1995)),
        Jump(6.0),
        Hold(pytest.approx(0.5)),
        Jump(12.0),
        Hold(pytest.approx(0.2995)),
    )
    assert told[-1] == "1000 samples as 3 lines, off by 0 V at most apart from 2 jumps"
