"""A recording that is open: what is read of it and what is not, its time, and files that change meanwhile."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from tests.recordings.samples import KINDS, columns, written

from railwright.documents.recording_keys import RecordingParts
from railwright.documents.shape_recordings import recorded_waveform
from railwright.recordings.errors import RecordingError
from railwright.recordings.file import find_file
from railwright.recordings.opening import open_recording
from railwright.recordings.recording import OpenRecording
from railwright.recordings.samples import Channel
from railwright.records.manifest import write_atomically

MADE = columns(5000)


def opened(path: Path, **keys: Any) -> tuple[OpenRecording, list[Channel]]:
    recording = open_recording(path, **keys)
    return recording, [Channel(place) for place, _ in recording.channels]


@pytest.fixture
def small_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks of a hundred rows or so, so that a small file has many."""
    for module in ("parquet", "hdf5", "wav"):
        monkeypatch.setattr(f"railwright.recordings.{module}.BLOCK", 100)
    monkeypatch.setattr("railwright.recordings.csv_table.PIECE", 4000)


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize("kind", KINDS)
def test_it_comes_in_blocks_one_after_the_other(tmp_path: Path, kind: str) -> None:
    recording, channels = opened(written(tmp_path, kind, MADE))
    with recording:
        blocks = list(recording.blocks(channels))
    assert len(blocks) > 4
    assert max(block.time.size for block in blocks) <= 1000  # the chunks of the HDF5 file
    rows = [block.row for block in blocks]
    assert rows == np.cumsum([0, *(block.time.size for block in blocks[:-1])]).tolist()
    assert np.array_equal(np.concatenate([block.time for block in blocks]), MADE["time_s"])


class Counted:
    """The rows that a table has given."""

    def __init__(self, recording: OpenRecording, monkeypatch: pytest.MonkeyPatch) -> None:
        self.rows = 0
        given = recording._table.blocks

        def blocks(places: Any, start: int = 0) -> Iterator[list[Any]]:
            for arrays in given(places, start):
                self.rows += arrays[0].size
                yield arrays

        monkeypatch.setattr(recording._table, "blocks", blocks)


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize(("kind", "most"), [(".csv", 5000), (".parquet", 4500), (".h5", 9000), (".wav", 200)])
def test_what_lies_outside_of_a_part_is_not_read(
    tmp_path: Path, kind: str, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file of text is read from its beginning; the others are searched for where the part begins."""
    made = columns(50_000)
    recording, channels = opened(written(tmp_path, kind, made))
    with recording:
        counted = Counted(recording, monkeypatch)
        samples = recording.read(channels, 4.0, 4.05)
    assert samples.time.size == 53
    assert counted.rows <= most
    if kind != ".csv":
        recording, channels = opened(tmp_path / f"scope{kind}")
        with recording:
            counted = Counted(recording, monkeypatch)
            recording.read(channels, 40.0, 40.05)
        assert counted.rows < 20_000


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize("kind", KINDS)
def test_a_number_that_is_none_is_refused_where_it_is_read(tmp_path: Path, kind: str) -> None:
    """At its row; outside of the part that is read it does not matter."""
    made = {name: values.copy() for name, values in MADE.items()}
    made["main_voltage_V"][4000] = np.nan
    recording, channels = opened(written(tmp_path, kind, made))
    with recording:
        assert recording.read(channels, 1.0, 3.0).time.size == 2003
        with pytest.raises(RecordingError, match=r"got none \(a gap, or NaN\)") as raised:
            recording.read(channels, 3.0)
    assert raised.value.line == (4002 if kind == ".csv" else 4001)


@pytest.mark.parametrize("kind", [".csv", ".parquet", ".h5"])
@pytest.mark.usefixtures("small_blocks")
def test_a_time_that_runs_back_from_one_block_to_the_next(tmp_path: Path, kind: str) -> None:
    recording, channels = opened(written(tmp_path, kind, MADE))
    with recording:
        second = [block.row for block in recording.blocks(channels)][1]
    made = MADE | {"time_s": MADE["time_s"].copy()}
    made["time_s"][second:] -= 0.5 * made["time_s"][second]
    recording, channels = opened(written(tmp_path, kind, made))
    with recording, pytest.raises(RecordingError, match="a time that never runs back") as raised:
        recording.read(channels)
    assert raised.value.line == second + (2 if kind == ".csv" else 1)


@pytest.mark.parametrize("kind", KINDS)
def test_more_samples_than_may_be_held(tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    recording, channels = opened(written(tmp_path, kind, MADE))
    counted = Counted(recording, monkeypatch)
    with recording:
        with pytest.raises(RecordingError, match=r"expected at most 4,999 samples, got .*; cut out a part"):
            recording.read(channels, most=4999)
        assert counted.rows == (5000 if kind == ".csv" else 0)
        assert recording.read(channels, most=5000).time.size == 5000
        assert recording.read(channels, 1.0, 2.0, most=1003).time.size == 1003


def test_a_time_that_does_not_begin_at_zero(tmp_path: Path) -> None:
    made = MADE | {"time_s": MADE["time_s"] - 7.0}
    recording, channels = opened(written(tmp_path, ".parquet", made))
    with recording:
        samples = recording.read(channels, 2.0, 3.0)
        assert (samples.zero, samples.row) == (-7.0, 1999)
        assert samples.time[0] == made["time_s"][1999]


def changed(path: Path, how: str) -> None:
    if how == "cut off":
        os.truncate(path, path.stat().st_size // 2)
    elif how == "longer":
        with path.open("ab") as stream:
            stream.write(b"5000,12,0.3\n")
    elif how == "replaced":
        path.with_name("other").write_bytes(path.read_bytes())
        os.replace(path.with_name("other"), path)
    else:
        path.unlink()


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("change", ["cut off", "longer", "replaced", "gone"])
def test_a_file_that_does_not_stay_as_it_is(tmp_path: Path, kind: str, change: str) -> None:
    """Whatever happens to it while it is read: one line, and the process goes on."""
    path = written(tmp_path, kind, columns(400_000 if kind == ".parquet" else 50_000))
    recording, channels = opened(path)

    def read_on() -> None:
        for number, _ in enumerate(recording.blocks(channels)):
            if number == 0:
                changed(path, change)

    with recording:
        with pytest.raises(RecordingError, match="that stays as it is, got one that changed meanwhile"):
            read_on()
        with pytest.raises(RecordingError, match="changed meanwhile"):
            write_atomically(tmp_path / "copy", recording.file.content())
        assert not (tmp_path / "copy").exists()


def test_a_copy_is_of_what_was_read(tmp_path: Path) -> None:
    file, begins = find_file(written(tmp_path, ".csv", MADE))
    assert (begins, file.size) == (b"time", file.path.stat().st_size)
    write_atomically(tmp_path / "copy.csv", file.content())
    assert (tmp_path / "copy.csv").read_bytes() == file.path.read_bytes()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("make", [os.mkfifo, os.mkdir, lambda path: path.symlink_to("/dev/zero")])
def test_what_is_no_file_is_not_opened(tmp_path: Path, kind: str, make: Any) -> None:
    make(tmp_path / f"a{kind}")
    with pytest.raises(RecordingError, match=r"expected a recording, got a (pipe|folder|device); "):
        open_recording(tmp_path / f"a{kind}")


def test_a_file_that_has_no_size_but_never_ends(tmp_path: Path) -> None:
    """What the system makes up as it is read has zero bytes, and is taken for what it says."""
    with pytest.raises(RecordingError, match="got an empty file"):
        open_recording(Path("/proc/self/maps"))


def test_samples_in_other_files_are_not_fetched(tmp_path: Path) -> None:
    (tmp_path / "secret").write_bytes(bytes(8000))
    with h5py.File(tmp_path / "outside.h5", "w") as file:
        outside = [(str(tmp_path / "secret"), 0, 8000)]
        file.create_dataset("rail", shape=(1000,), dtype="f8", external=outside).attrs["dt"] = 1e-3
    layout = h5py.VirtualLayout(shape=(1000,), dtype="f8")
    layout[:] = h5py.VirtualSource(str(tmp_path / "outside.h5"), "rail", shape=(1000,))
    with h5py.File(tmp_path / "virtual.h5", "w") as file:
        file.create_virtual_dataset("rail", layout)
        file["rail"].attrs["dt"] = 1e-3
    with h5py.File(tmp_path / "linked.h5", "w") as file:
        file["rail"] = h5py.ExternalLink("outside.h5", "rail")
        file.attrs["dt"] = 1e-3
    for name in ("outside.h5", "virtual.h5"):
        recording, channels = opened(tmp_path / name)
        with (
            recording,
            pytest.raises(RecordingError, match="file itself, got '/rail' with samples in"),
        ):
            recording.read(channels)
    with open_recording(tmp_path / "linked.h5") as recording:
        assert (recording.columns, recording.channels) == ((), ())
    with pytest.raises(RecordingError, match="expected one column that can be played, got none"):
        recorded_waveform(tmp_path / "linked.h5", RecordingParts())


def test_a_piece_that_a_file_gives_only_as_a_whole_is_not_too_large(tmp_path: Path) -> None:
    """A hundred bytes that unpack to gigabytes."""
    with h5py.File(tmp_path / "a.h5", "w") as file:
        made = file.create_dataset(
            "rail", shape=(1 << 27,), dtype="f8", chunks=(1 << 26,), compression="gzip"
        )
        made.attrs["dt"] = 1e-9
    recording, channels = opened(tmp_path / "a.h5")
    with (
        recording,
        pytest.raises(RecordingError, match="chunks of at most 33,554,432 samples, got 67"),
    ):
        recording.read(channels, 0.0, 1e-6)


def test_a_file_that_says_it_holds_what_nobody_wrote(tmp_path: Path) -> None:
    """A few kilobytes that would be read for years."""
    with h5py.File(tmp_path / "a.h5", "w") as file:
        for name in ("time_s", "U_V"):
            file.create_dataset(name, shape=(1 << 50,), dtype="f8", chunks=(1 << 16,))
    recording, channels = opened(tmp_path / "a.h5")
    begin = time.process_time()
    told = "expected at most 2,000 samples in each byte of the file, got more"
    with recording:
        for read in (recording.thinned, lambda all_: recording.read(all_, 5.0, most=None)):
            with pytest.raises(RecordingError, match=told):
                read(channels)
        assert recording.file.size < 100_000
    assert time.process_time() - begin < 60.0


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize("kind", [".csv", ".parquet", ".h5"])
def test_a_first_time_that_is_none(tmp_path: Path, kind: str) -> None:
    """It is told whatever part is asked for: every time counts from it."""
    made = MADE | {"time_s": MADE["time_s"].copy()}
    made["time_s"][0] = np.nan
    if kind == ".csv":  # what looks like no number is no sample
        made["time_s"][0] = 1e300
    for begin in (0.0, 3.0):
        recording, channels = opened(written(tmp_path, kind, made))
        with (
            recording,
            pytest.raises(RecordingError, match=r"number of at most 1e\+15 in 'time_s'") as raised,
        ):
            recording.read(channels, begin)
        assert raised.value.line == (2 if kind == ".csv" else 1)


def test_row_groups_without_rows(tmp_path: Path) -> None:
    table = pa.table(MADE)
    with parquet.ParquetWriter(tmp_path / "a.pq", table.schema) as writer:
        for part in (table[:0], table[:2000], table[:0], table[2000:], table[:0]):
            writer.write_table(part)
    assert parquet.ParquetFile(tmp_path / "a.pq").num_row_groups == 5
    recording, channels = opened(tmp_path / "a.pq")
    with recording:
        assert recording.read(channels).time.size == 5000
        for begin in (1.999, 2.0, 2.001, 4.998):
            assert recording.read(channels, begin).time[0] == pytest.approx(begin - 0.001)


def test_gaps_are_nan_where_nothing_is_checked(tmp_path: Path) -> None:
    table = pa.table({"time_s": [0.0, 1.0, 0.5], "U_V": pa.array([1, None, 3], pa.int16())})
    parquet.write_table(table, tmp_path / "a.pq")
    recording, channels = opened(tmp_path / "a.pq")
    with recording:
        samples = recording.read(channels, checked=False)
    assert samples.time.tolist() == [0.0, 1.0, 0.5]
    assert np.array_equal(samples.values[0], [1.0, np.nan, 3.0], equal_nan=True)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"time": "2"}, None),
        ({"time": "main_current"}, "expected a unit of time for 'main_current', got 'A'"),
        ({"time": "tyme"}, "a column of the time 'tyme' among the columns .*; did you mean 'time'"),
        ({"time": "9"}, "a column of the time '9' among"),
        ({"time": "9" * 5000}, "a column of the time '9999"),
    ],
)
def test_the_column_of_the_time(tmp_path: Path, keys: dict[str, str], told: str | None) -> None:
    made = {"main_voltage_V": MADE["main_voltage_V"], "time_s": MADE["time_s"]} | {
        "main_current_A": MADE["main_current_A"]
    }
    path = written(tmp_path, ".csv", made)
    if told is None:
        with open_recording(path, **keys) as recording:
            assert [place for place, _ in recording.channels] == [0, 2]
        return
    with pytest.raises(RecordingError, match=told):
        open_recording(path, **keys)


def test_a_column_that_is_not_there_is_told_at_the_header(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("# rail\n# at 23 degrees\ntime_s,U_V\n0,1\n1,2\n")
    with open_recording(tmp_path / "a.csv") as recording, pytest.raises(RecordingError) as raised:
        recording.place("V")
    assert raised.value.line == 3
