"""The four kinds of files, one reader: the same numbers, and what each of them can say besides."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from scipy.io import wavfile
from tests.recordings.samples import KINDS, RATE, columns, written
from tests.said import says

from railwright.recordings.errors import RecordingError
from railwright.recordings.of_inputs import Given, record_of
from railwright.recordings.opening import open_recording
from railwright.recordings.samples import Channel, Samples

MADE = columns(3000)
WAV = {"main_voltage": Given("channel 1", "V"), "main_current": Given("2", "A")}


def read(path: Path, *, part: tuple[float, float | None] = (0.0, None), **keys: Any) -> Samples:
    """Every channel as it stands in the file; a file without an order gives them in that of their names."""
    with open_recording(path, **keys) as recording:
        named = [(column.name, place) for place, column in recording.channels]
        if recording.ending == ".h5":
            named.sort(reverse=True)
        return recording.read([Channel(place) for _, place in named], *part)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_gives_the_same_numbers(tmp_path: Path, kind: str) -> None:
    samples = read(written(tmp_path, kind, MADE))
    assert np.array_equal(samples.time, MADE["time_s"])
    assert np.array_equal(samples.values[0], MADE["main_voltage_V"])
    assert np.array_equal(samples.values[1], MADE["main_current_A"])
    assert (samples.row, samples.zero) == (0, 0.0)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_gives_the_same_channels_of_an_input(tmp_path: Path, kind: str) -> None:
    with open_recording(written(tmp_path, kind, MADE), guess=False) as recording:
        record = record_of(recording, "scope", ("main",), WAV if kind == ".wav" else None)
        assert recording.ending == kind
    assert (record.origin, record.notes) == ("scope", {})
    assert np.array_equal(record.traces["main"].time, MADE["time_s"])
    assert np.array_equal(record.traces["main"].columns["voltage"], MADE["main_voltage_V"])
    assert np.array_equal(record.traces["main"].columns["current"], MADE["main_current_A"])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("part", [(0.0, 0.5), (0.4995, 0.9), (1.0, 1.0015), (2.5, None), (0.9, 2.999)])
def test_every_kind_gives_the_same_part(
    tmp_path: Path, kind: str, part: tuple[float, float | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sample more on either side, wherever the blocks of the file end."""
    for module in ("parquet", "hdf5", "wav"):
        monkeypatch.setattr(f"railwright.recordings.{module}.BLOCK", 500)
    monkeypatch.setattr("railwright.recordings.csv_table.PIECE", 20_000)
    samples = read(written(tmp_path, kind, MADE), part=part)
    time, (begin, end) = MADE["time_s"], part
    first = max(0, int(np.searchsorted(time, begin)) - 1)
    last = time.size if end is None else min(time.size, int(np.searchsorted(time, end, side="right")) + 1)
    assert samples.row == first
    assert np.array_equal(samples.time, time[first:last])
    assert np.array_equal(samples.values[0], MADE["main_voltage_V"][first:last])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("part", [(0.0, 3.5), (3.0, None), (5.0, 6.0), (1e300, None)])
def test_a_part_beyond_the_end_is_refused(
    tmp_path: Path, kind: str, part: tuple[float, float | None]
) -> None:
    with pytest.raises(RecordingError, match=r"expected a part within its 2\.999 s, got \S+ s to"):
        read(written(tmp_path, kind, MADE), part=part)


def test_an_interval_stands_for_a_column_of_the_time(tmp_path: Path) -> None:
    rows = zip(MADE["main_voltage_V"].tolist(), MADE["main_current_A"].tolist(), strict=True)
    (tmp_path / "bare.csv").write_text("U_V,I_A\n" + "".join(f"{u!r},{i!r}\n" for u, i in rows))
    table = pa.table({name: MADE[name] for name in ("main_voltage_V", "main_current_A")})
    parquet.write_table(table, tmp_path / "bare.parquet", row_group_size=700)
    with h5py.File(tmp_path / "bare.h5", "w") as file:
        file["main_voltage_V"], file["main_current_A"] = MADE["main_voltage_V"], MADE["main_current_A"]
        file.attrs["dt"] = 1.0 / RATE
    for name in ("bare.csv", "bare.parquet", "bare.h5"):
        keys = {} if name == "bare.h5" else {"interval": 1.0 / RATE}
        for begin, end, first in ((0.0, None, 0), (2.0, 2.5, 1999)):
            samples = read(tmp_path / name, part=(begin, end), **keys)
            rows = slice(samples.row, samples.row + samples.time.size)
            assert samples.row == first
            assert np.array_equal(samples.time, MADE["time_s"][rows])
            assert np.array_equal(samples.values[0], MADE["main_voltage_V"][rows])


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("kind", ["u1", "i2", "i4", "i8", "f4", "f8"])
def test_samples_of_a_wav_file_are_those_that_scipy_reads(tmp_path: Path, kind: str, order: str) -> None:
    made = np.random.default_rng(2).normal(size=(500, 3)) / 6.0
    half = 2.0 ** (8 * int(kind[1]) - 1) if kind[0] in "iu" else 1.0
    middle = half if kind == "u1" else 0.0
    values = (made * half + middle).astype(order + kind)
    wavfile.write(tmp_path / "a.wav", 8000, values)
    samples = read(tmp_path / "a.wav")
    _, scipys = wavfile.read(tmp_path / "a.wav")
    assert np.array_equal(np.column_stack(samples.values), (scipys.astype(np.float64) - middle) / half)
    assert np.array_equal(samples.time, np.arange(500) * (1.0 / 8000))


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("head", [b"RIFF", b"RF64"])
def test_a_wav_file_of_24_bits_with_sizes_beyond_4_gb_in_its_head(
    tmp_path: Path, order: str, head: bytes
) -> None:
    if order == ">":
        head = b"RIFX"
    whole = np.array([[0, -(1 << 23)], [(1 << 23) - 1, 1], [-1, 4660]], "i4")
    raw = b"".join(
        int(value).to_bytes(3, "little" if order == "<" else "big", signed=True) for value in whole.ravel()
    )
    form = struct.pack(f"{order}HHIIHH", 0xFFFE, 2, 48_000, 48_000 * 6, 6, 24)
    form += (
        struct.pack(f"{order}HHI", 22, 24, 3)
        + struct.pack(f"{order}H", 1)
        + bytes.fromhex("00000000 1000 8000 00aa00389b71")
    )
    large = b"ds64" + struct.pack("<IQQQI", 28, 0, len(raw), 3, 0) if head == b"RF64" else b""
    size = 0xFFFFFFFF if head == b"RF64" else len(raw)
    chunks = b"WAVE" + large + b"LIST" + struct.pack(f"{order}I", 3) + b"abc\0"
    chunks += b"fmt " + struct.pack(f"{order}I", len(form)) + form
    chunks += b"data" + struct.pack(f"{order}I", size) + raw
    (tmp_path / "a.wav").write_bytes(head + struct.pack(f"{order}I", len(chunks) % (1 << 32)) + chunks)
    samples = read(tmp_path / "a.wav")
    assert np.array_equal(np.column_stack(samples.values), whole / 2.0**23)
    if head == b"RIFF":
        _, scipys = wavfile.read(tmp_path / "a.wav")  # as the upper bytes of four
        assert np.array_equal(scipys, whole << 8)


def test_a_wav_file_is_recognised_by_how_it_begins(tmp_path: Path) -> None:
    path = written(tmp_path, ".wav", MADE).rename(tmp_path / "scope.csv")
    assert read(path).time.size == 3000


def test_full_scale_is_a_voltage_or_a_current(tmp_path: Path) -> None:
    wavfile.write(tmp_path / "a.wav", RATE, np.array([[16384, -8192], [0, 0], [8192, 32767]], np.int16))
    given = {
        "main_voltage": Given("1", full_scale=20.0),
        "main_current": Given("channel 2", full_scale=5.0),
    }
    with open_recording(tmp_path / "a.wav") as recording:
        columns = record_of(recording, "scope", ("main",), given).traces["main"].columns
        assert columns["voltage"].tolist() == [10.0, 0.0, 5.0]
        assert columns["current"].tolist() == pytest.approx([-1.25, 0.0, 5.0 * 32767 / 32768])
        with pytest.raises(RecordingError, match=r"expected 'full_scale' .* give the current at full scale"):
            record_of(recording, "scope", ("main",), {"main_current": Given("2")})


@pytest.mark.parametrize("kind", KINDS)
def test_a_full_scale_that_would_not_count_is_refused(tmp_path: Path, kind: str) -> None:
    """Whoever gives it expects the samples to be scaled; fractions of a WAV file are not, either."""
    given = Given("channel 1" if kind == ".wav" else None, "V", full_scale=10.0)
    told = "'full_scale' for a WAV file of whole numbers only, got one for '(channel 1|main_voltage)'"
    path = written(tmp_path, kind, MADE)
    with open_recording(path, guess=False) as recording, pytest.raises(RecordingError, match=told):
        record_of(recording, "scope", ("main",), {"main_voltage": given})


def test_instants_go_on_from_block_to_block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Past midnight it is the next day, also where a block ends there."""
    monkeypatch.setattr("railwright.recordings.csv_table.PIECE", 40)
    seconds = np.arange(0, 200_000, 7000)
    clock = "".join(f"{s // 3600 % 24:02d}:{s // 60 % 60:02d}:{s % 60:02d},{s}\n" for s in seconds)
    (tmp_path / "clock.csv").write_text("time,U_V\n" + clock)
    samples = read(tmp_path / "clock.csv")
    assert samples.time.tolist() == samples.values[0].tolist() == seconds.tolist()
    stamps = pa.array(seconds * 10**9, pa.timestamp("ns"))
    parquet.write_table(pa.table({"when": stamps, "U_V": seconds}), tmp_path / "a.pq", row_group_size=5)
    samples = read(tmp_path / "a.pq", part=(21_000.0, 30_000.0))
    assert samples.time.tolist() == [14_000.0, 21_000.0, 28_000.0, 35_000.0]


def test_sets_of_other_lengths_are_no_channels_of_one_time(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["time_s"], file["rail_V"] = np.arange(5.0), np.arange(6.0)
    with pytest.raises(RecordingError, match=r"as many samples, got 6 in 'rail_V' and 5 in 'time_s'"):
        read(tmp_path / "a.h5")


@pytest.mark.parametrize("name", ["dt", "fs"])
def test_attributes_that_are_arrays_of_one_value(tmp_path: Path, name: str) -> None:
    """As programs write them whose every value is an array."""
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["rail"] = np.arange(3.0)
        file["rail"].attrs["units"] = np.array([b"mV"])
        file["rail"].attrs[name] = np.array([[0.5]])
    with open_recording(tmp_path / "a.h5") as recording:
        assert recording.columns[0].unit == "mV"
        assert recording.time.interval == (0.5 if name == "dt" else 2.0)
        assert recording.channel(0, "V").factor == 1e-3


@pytest.mark.parametrize("kind", ["parquet", "hdf5"])
@pytest.mark.parametrize(
    ("header", "unit", "wanted"),
    [
        ("rail_voltage_mV", "mV", ("rail_voltage", "mV")),
        ("rail_voltage_mV", "", ("rail_voltage", "mV")),
        ("rail_voltage", "mV", ("rail_voltage", "mV")),
        ("rail [V]", "V", ("rail", "V")),
        (
            "rail_V",
            "mV",
            ("rail_V", "mV"),
        ),  # which of the two it is nobody knows: the file's own place counts
        ("rail_mode", "1", ("rail_mode", "1")),
    ],
)
def test_a_unit_may_stand_in_the_header_beside_it_or_in_both(
    tmp_path: Path, kind: str, header: str, unit: str, wanted: tuple[str, str]
) -> None:
    path = tmp_path / f"r.{kind}"
    told = {"unit": unit} if unit else None
    if kind == "parquet":
        fields = [
            pa.field("time_s", pa.float64(), metadata={"unit": "s"}),
            pa.field(header, pa.float64(), metadata=told),
        ]
        table = pa.table([pa.array([0.0, 1.0])] * 2, schema=pa.schema(fields))
        parquet.write_table(table, path)
    else:
        with h5py.File(path, "w") as file:
            for name, own in (("time_s", {"unit": "s"}), (header, told or {})):
                file[name] = [0.0, 1.0]
                file[name].attrs.update(own)
    with open_recording(path, guess=False) as recording:
        columns = {column.header: (column.name, column.unit) for column in recording.columns}
        assert columns == {"time_s": ("time", "s"), header: wanted}
        assert (recording.time.factor, recording.time.guessed) == (1.0, False)


def test_times_that_are_durations(tmp_path: Path) -> None:
    since = pa.array([7000, 7250, 7500], pa.duration("ms"))
    parquet.write_table(pa.table({"time": since, "U_V": [1, 2, 3]}), tmp_path / "a.pq")
    samples = read(tmp_path / "a.pq")
    assert samples.time.tolist() == [0.0, 0.25, 0.5]


def test_what_is_not_wanted_does_not_count(tmp_path: Path) -> None:
    """A set that nobody asks for may have more samples than may be held, or be of another length."""
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file.create_dataset("a picture", shape=(10**10,), dtype="u1", chunks=(1 << 20,))
        file["rail_V"] = np.arange(6.0)
        file["rail_V"].attrs["dt"] = 0.5
    with open_recording(tmp_path / "a.h5") as recording:
        assert recording.read([Channel(1)]).time.tolist() == [0.0, 0.5, 1.0, 1.5, 2.0, 2.5]
        with pytest.raises(RecordingError, match="at most 50,000,000 samples, got 10,000,000,000"):
            recording.read([Channel(0)])


def test_a_file_without_columns(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["time_s"] = np.arange(6.0).reshape(1, 6)
    with pytest.raises(
        RecordingError, match="expected sets of numbers with one dimension as columns, got none"
    ):
        read(tmp_path / "a.h5")
    parquet.write_table(pa.table({}), tmp_path / "a.pq")
    with pytest.raises(RecordingError, match="expected numbers as columns, got none"):
        read(tmp_path / "a.pq")


def test_columns_of_one_name_are_refused(tmp_path: Path) -> None:
    table = pa.table([np.arange(3.0), np.arange(3.0), np.arange(3.0)], names=["time_s", "U_V", "U_V"])
    parquet.write_table(table, tmp_path / "a.pq")
    with pytest.raises(RecordingError, match="expected one column 'U_V', got 2 of them"):
        read(tmp_path / "a.pq")


def test_remarks_that_are_not_there_are_not_made_up(tmp_path: Path) -> None:
    with open_recording(written(tmp_path, ".parquet", MADE)) as recording:
        assert recording.recognised == ("a Parquet file", "time in column 'time'")
        assert recording.count([Channel(1)]) == 3000
        assert [(column.name, column.unit, column.header) for column in recording.columns] == [
            ("time", "s", "time_s"),
            ("main_voltage", "V", "main_voltage_V"),
            ("main_current", "A", "main_current_A"),
        ]
    with open_recording(written(tmp_path, ".csv", MADE)) as recording:
        assert recording.count([Channel(1)]) is None


@pytest.mark.parametrize(
    "kind", [pa.time64("ns"), pa.time32("ms"), pa.date32(), pa.bool_(), pa.binary()], ids=str
)
def test_a_time_of_another_type_is_named(tmp_path: Path, kind: pa.DataType) -> None:
    path = tmp_path / "typed.parquet"
    parquet.write_table(pa.table({"time": pa.nulls(3, kind), "main_voltage_V": [0.0, 1.0, 2.0]}), path)
    with pytest.raises(RecordingError) as refused, open_recording(path, guess=False):
        pass
    assert str(kind) in str(refused.value)
    assert "texts" not in str(refused.value)


@pytest.mark.parametrize(("size", "needed"), [(0, 16), (14, 16), (16, 40), (24, 40), (26, 40), (39, 40)])
def test_a_wav_format_that_is_too_short_is_told_with_its_length(
    tmp_path: Path, size: int, needed: int
) -> None:
    form = struct.pack("<HHIIHH", 0xFFFE, 1, 1000, 2000, 2, 16) + bytes(24)
    chunk = b"fmt " + struct.pack("<I", size) + form[:size] + bytes(size % 2)
    data = b"data" + struct.pack("<I", 20) + bytes(20)
    path = tmp_path / "short.wav"
    path.write_bytes(b"RIFF" + struct.pack("<I", 4 + len(chunk + data)) + b"WAVE" + chunk + data)
    with pytest.raises(RecordingError) as refused, open_recording(path, guess=False):
        pass
    assert says(str(refused.value), str(size), str(needed))
