"""Recordings that are none, that are damaged, or that would fill the memory: one line each."""

from __future__ import annotations

import os
import struct
import time
import warnings
from pathlib import Path

import h5py
import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from scipy.io import wavfile

from railwright.documents.recording_keys import RecordingParts
from railwright.documents.shape_recordings import recording_pieces
from railwright.recordings.errors import RecordingError
from railwright.regular import MOST_SAMPLES

VALUES = np.linspace(12.0, 6.0, 200)


def refused(path: Path, **keys: object) -> str:
    """What is said of a recording that cannot be used; nothing else may come out, no warning either."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(RecordingError) as caught:
            recording_pieces(path, RecordingParts.model_construct(**keys))
    assert str(caught.value).isprintable()
    return caught.value.told


@pytest.fixture
def wav(tmp_path: Path) -> bytes:
    wavfile.write(tmp_path / "a.wav", 1000, VALUES.astype(np.float32))
    return (tmp_path / "a.wav").read_bytes()


@pytest.mark.parametrize("kept", [5, 18, 31, 43])
def test_a_wav_file_that_ends_in_its_head(tmp_path, wav, kept):
    (tmp_path / "a.wav").write_bytes(wav[:kept])
    assert refused(tmp_path / "a.wav").startswith("expected a WAV file, got another")


@pytest.mark.parametrize(
    ("place", "value", "told"),
    [
        (24, struct.pack("<I", 0), "samples a second"),
        (34, struct.pack("<H", 4128), "expected a WAV file, got another"),
        (22, struct.pack("<H", 0), "expected a WAV file, got another"),
    ],
    ids=["rate", "bits", "channels"],
)
def test_a_wav_file_with_an_impossible_head(tmp_path, wav, place, value, told):
    (tmp_path / "a.wav").write_bytes(wav[:place] + value + wav[place + len(value) :])
    assert told in refused(tmp_path / "a.wav")


@pytest.mark.parametrize("value", [3e38, np.nan, np.inf])
def test_a_sample_that_no_recorder_gives(tmp_path, value):
    values = VALUES.astype(np.float32)
    values[77] = value
    wavfile.write(tmp_path / "a.wav", 1000, values)
    with pytest.raises(RecordingError) as caught:
        recording_pieces(tmp_path / "a.wav", RecordingParts())
    assert caught.value.line == 78
    assert caught.value.told.startswith("expected a finite number of at most 1e+15 in 'channel 1', got ")


@pytest.mark.parametrize("place", [4, 2300, -60, -20])
def test_a_parquet_file_that_is_damaged(tmp_path, place):
    table = pa.table({"time_s": np.arange(200) * 1e-3, "main_voltage_V": VALUES})
    parquet.write_table(table, tmp_path / "a.pq", use_dictionary=False)
    content = bytearray((tmp_path / "a.pq").read_bytes())
    content[place : place + 12] = b"\xff\x0f" * 6
    (tmp_path / "a.pq").write_bytes(content)
    assert refused(tmp_path / "a.pq").startswith("expected ")


def test_an_hdf5_file_that_is_damaged(tmp_path):
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["rail"] = VALUES
        file["rail"].attrs["dt"] = 1e-3
    content = (tmp_path / "a.h5").read_bytes()
    (tmp_path / "a.h5").write_bytes(content.replace(b"HEAP", b"HEAT"))
    assert refused(tmp_path / "a.h5").startswith("expected an HDF5 file, got another")


@pytest.mark.parametrize("interval", [0.0, -1.0, np.nan, 1e-300, "x"])
def test_an_interval_that_is_none(tmp_path, interval):
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["rail"] = VALUES
        file["rail"].attrs["dt"] = interval
    assert "expected a column of the time" in refused(tmp_path / "a.h5")


def test_a_small_file_that_stands_for_terabytes(tmp_path):
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file.create_dataset("rail", shape=(10**12,), dtype="f8", chunks=(1 << 16,))
        file["rail"].attrs["dt"] = 1e-6
    assert (tmp_path / "a.h5").stat().st_size < 100_000
    assert refused(tmp_path / "a.h5").startswith(
        f"expected at most {MOST_SAMPLES:,} samples, got 1,000,000,000,000"
    )


@pytest.mark.parametrize("name", ["a.csv", "a.wav", "a.parquet", "a.h5"])
@pytest.mark.parametrize(
    ("size", "told"),
    [
        (8 << 30, "expected "),
        (200 << 30, "expected a recording, got 215 GB, and at most 100 GB are read; cut it down"),
    ],
)
def test_gigabytes_of_nothing_are_refused_at_once(tmp_path, name, size, told):
    (tmp_path / name).touch()
    os.truncate(tmp_path / name, size)
    begin = time.process_time()
    assert refused(tmp_path / name).startswith(told)
    assert time.process_time() - begin < 1.0


@pytest.mark.parametrize("make", [os.mkfifo, os.mkdir, lambda path: path.symlink_to("/dev/zero")])
def test_what_is_no_file_is_not_opened(tmp_path, make):
    make(tmp_path / "a.csv")
    assert refused(tmp_path / "a.csv").startswith("expected a recording, got a ")


def test_one_column_for_time_and_values(tmp_path):
    (tmp_path / "a.csv").write_text("time_s,U_V\n0,1\n1,2\n2,3\n")
    told = refused(tmp_path / "a.csv", column="1", time="1")
    assert told == "expected another column than that of the time, got 'time' for both"


def test_a_time_with_a_zone(tmp_path):
    rows = "".join(f"2026-03-02T10:00:0{second}.000Z,{second}\n" for second in range(6))
    (tmp_path / "a.csv").write_text(f"time,U_V\n{rows}2026-03-02T10:00:06.000+01:00,7\n")
    assert "expected" in refused(tmp_path / "a.csv")


def test_samples_nearer_than_any_clock_tells(tmp_path):
    (tmp_path / "a.csv").write_text("time_s,U_V\n0,1\n1e-300,2\n1,3\n")
    assert refused(tmp_path / "a.csv").startswith("expected samples at one time or 1e-18 s apart at least")


def test_nothing_of_another_file_is_repeated(tmp_path):
    (tmp_path / "a.csv").write_text("root:$6$SECRET:19000:0:99999:7:::\ndaemon:SECRET:19000:::::\n")
    assert "SECRET" not in refused(tmp_path / "a.csv")
