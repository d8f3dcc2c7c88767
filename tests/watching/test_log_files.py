"""The files of a log: rotation, statistics of each, Parquet, and what stands there while it goes on."""

from __future__ import annotations

import json
import math
import shutil
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from tests.watching.station import Station

from railwright.documents.output_name import OutputName
from railwright.instruments.supply import OutputReading
from railwright.recordings.opening import open_recording
from railwright.recordings.samples import Channel
from railwright.traces import Mode
from railwright.watching.conditions import LogRow
from railwright.watching.files import LogFiles, ParquetLog
from railwright.watching.statistics import MOST_CELLS
from railwright.watching.watch import log_files

LEFT = OutputName("left.1")


def row(number: int, *, every: float = 0.02, missed: bool = False) -> LogRow:
    volts = 12.0 + math.sin(number)
    reading = OutputReading("1", number * every, volts, 0.01 * number, Mode.CV, "", True)
    time = number * every
    if missed:
        return LogRow(number, time, 1.78e9 + time, {}, {}, {"left": "late"})
    return LogRow(number, time, 1.78e9 + time, {LEFT: reading}, {"left": 0.001}, {})


def written(folder: Path, count: int, **given: object) -> LogFiles:
    folder.mkdir()
    files = LogFiles(folder, [LEFT], **{"form": "csv", **given})  # type: ignore[arg-type]
    for number in range(count):
        files.add(row(number, missed=number == 5), written=True)
    files.close()
    return files


def test_a_file_ends_after_so_many_rows_and_none_is_lost_between(tmp_path: Path) -> None:
    files = written(tmp_path / "log", 1001, most=300)
    lines = [path.read_text("utf-8").splitlines() for path in log_files(tmp_path / "log")]
    assert [len(each) - 1 for each in lines] == [300, 300, 300, 101]
    assert all(each[0] == lines[0][0] for each in lines)
    times = [float(line.split(",")[0]) for each in lines for line in each[1:]]
    assert times == pytest.approx([0.02 * n for n in range(1001)])
    assert (files.rows, files.dropped, files.failed) == (1001, 0, None)


def test_a_file_ends_after_its_time_on_a_grid(tmp_path: Path) -> None:
    written(tmp_path / "log", 501, lasting=3.0)
    first = [path.read_text("utf-8").splitlines()[1] for path in log_files(tmp_path / "log")]
    assert [float(line.split(",")[0]) for line in first] == [0.0, 3.0, 6.0, 9.0]


def test_each_file_has_its_own_statistics_and_together_they_are_those_of_all(tmp_path: Path) -> None:
    files = written(tmp_path / "log", 1000, most=250)
    volts = np.array([12.0 + math.sin(n) for n in range(1000)])
    for number in range(4):
        about = json.loads((tmp_path / "log" / f"rows-{number + 1:04d}.json").read_text("utf-8"))
        own = np.delete(volts[250 * number : 250 * number + 250], 5 if number == 0 else [])
        found = about["statistics"]["left.1"]
        assert found["voltage_V"]["readings"] == own.size
        assert found["voltage_V"]["mean"] == pytest.approx(own.mean())
        assert found["voltage_V"]["maximum"] == own.max()
        assert found["missed_rows"] == ({"late": 1} if number == 0 else {})
        assert (about["from_s"], about["to_s"]) == pytest.approx((5.0 * number, 5.0 * number + 4.98))
    whole = files.whole.outputs[LEFT]
    assert whole.quantities["voltage"].count == 999
    assert whole.modes == {"CV": 999}
    assert whole.quantities["power"].mean == pytest.approx(
        np.delete(volts * 0.01 * np.arange(1000), 5).mean()
    )


def test_a_file_that_cannot_be_begun_ends_the_log_and_keeps_what_was_written(station: Station) -> None:
    (station.folder / "log" / "rows-0002.csv").mkdir(parents=True)
    outcome = station.watch("left.1", every="100 ms", until=["20 s"], file_rows=7, change=["1 V"])
    assert outcome.failed == ""
    assert outcome.rows == 2  # nothing moved: the first and the last
    shutil.rmtree(station.folder / "log")
    (station.folder / "log" / "rows-0002.csv").mkdir(parents=True)
    outcome = station.watch("left.1", every="100 ms", until=["20 s"], file_rows=7)
    assert "rows-0002.csv" in outcome.failed
    assert len(station.rows()) == outcome.rows == 7
    assert station.json("watch.json")["not_written"] == outcome.failed


def test_parquet_holds_what_csv_holds(tmp_path: Path) -> None:
    written(tmp_path / "csv", 9000)
    written(tmp_path / "parquet", 9000, form="parquet")
    assert [path.name for path in log_files(tmp_path / "parquet")] == ["rows-0001.parquet"]
    assert {path.suffix for path in (tmp_path / "parquet").iterdir()} == {".json", ".parquet"}
    file = parquet.ParquetFile(tmp_path / "parquet" / "rows-0001.parquet")
    table = file.read()
    assert file.metadata.num_row_groups == 2
    assert table.schema.field("utc").type == pa.timestamp("us", "UTC")
    lines = (tmp_path / "csv" / "rows-0001.csv").read_text("utf-8").splitlines()
    assert table.column_names == lines[0].split(",")
    volts = table["left.1_voltage_V"].to_pylist()
    assert volts[5] is None
    assert table["missed"].to_pylist()[4:7] == ["", "left: late", ""]
    assert table["left.1_mode"].to_pylist()[4:7] == ["CV", "", "CV"]
    for number in (0, 4, 6, 8999):
        cells = lines[number + 1].split(",")
        assert float(cells[2]) == pytest.approx(volts[number], rel=1e-8)
        assert cells[1] == f"{table['utc'][number].as_py():%Y-%m-%dT%H:%M:%S.%f}Z"


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_log_is_a_recording(tmp_path: Path, form: str) -> None:
    # A reading that is missed among the first six rows hides from the reader of CSV what a column holds.
    (tmp_path / "log").mkdir()
    files = LogFiles(tmp_path / "log", [LEFT], form)  # type: ignore[arg-type]
    for number in range(400):
        files.add(row(number, missed=number == 50), written=True)
    files.close()
    with open_recording(log_files(tmp_path / "log")[0], time="time", largest=1 << 30) as recording:
        units = {column.name: column.unit for _, column in recording.channels}
        place = next(place for place, column in recording.channels if column.name == "left.1_voltage")
        volts = recording.read([Channel(place)], most=None, checked=False).values[0]
    assert np.flatnonzero(np.isnan(volts)).tolist() == [50]
    assert volts[51] == pytest.approx(12.0 + math.sin(51), rel=1e-8)
    assert units["left.1_voltage"] == "V"
    assert units["left.1_current"] == "A"


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_what_was_read_lies_on_the_disk_while_the_log_goes_on(tmp_path: Path, form: str) -> None:
    (tmp_path / "log").mkdir()
    files = LogFiles(tmp_path / "log", [LEFT], form)  # type: ignore[arg-type]
    for number in range(100):
        files.add(row(number), written=True)
    end = time.monotonic() + 5.0
    path = tmp_path / "log" / "rows-0001.csv"
    while path.read_bytes().count(b"\n") < 101 and time.monotonic() < end:
        time.sleep(0.01)
    assert path.read_bytes().count(b"\n") == 101
    files.close()
    assert path.exists() == (form == "csv")


def test_what_is_held_in_memory_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ParquetLog, "rows", 256)
    (tmp_path / "log").mkdir()
    files = LogFiles(tmp_path / "log", [LEFT], "parquet")
    kept, cells = [], []
    for number in range(4000):
        files.add(row(number), written=True)
        assert files._parquet is not None
        time_column = files._parquet._kept["time_s"]
        kept.append(len(time_column._values))  # type: ignore[union-attr]
        quantities = files.whole.outputs[LEFT].quantities.values()
        cells.append(max(len(each._histogram._cells) for each in quantities))
    files.close()
    assert max(kept) == 255  # with the next one they are written
    assert max(cells) <= MOST_CELLS
    assert parquet.ParquetFile(files.path).num_row_groups == 16


def test_a_dataframe_of_all_files(station: Station) -> None:
    from railwright.watching.watch import BenchLog

    log = BenchLog(station.watch("left.1", every="100 ms", until=["5 s"], file_rows=20))
    frame = log.to_dataframe()
    assert len(log.files) == 3
    assert len(frame) == 51
    assert frame["time_s"].iloc[-1] == 5.0
    assert str(frame["utc"].dtype).startswith("datetime64")
    assert frame["left.1_voltage_V"].mean() == pytest.approx(12.0, abs=0.01)
