"""The record on its way: constant memory in the run, folded into files, and read back from either."""

from __future__ import annotations

import errno
import json
import math
import random
import shutil
import threading
import tracemalloc
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pytest
from pyarrow import parquet
from tests.running.small import Small
from tests.said import says

from railwright.archive.stored import StoredRun
from railwright.records import log as log_module
from railwright.records import readings as readings_module
from railwright.records.ended import Ended
from railwright.records.log import Log
from railwright.records.manifest import verify_manifest
from railwright.records.readings import Events, StoredTraces, fold, read_parquet, read_record
from railwright.records.stored import NoRun, open_run
from railwright.running import folder as folder_module
from railwright.running.outcome import InputReading, Progress
from railwright.running.recorder import RunRecorder
from railwright.traces import Event, EventKind, Mode
from railwright.virtual_time import VirtualLoop

if TYPE_CHECKING:
    from railwright.settings.settle import Settings

AT = {"main": "at load", "aux": "at terminals"}


def recorder_in(folder: Path, **options: Any) -> RunRecorder:
    return RunRecorder(Log(folder / "log.ndjson"), Progress(), AT, **options)


def reading(time: float, name: str = "main", mode: Mode | None = Mode.CV, **more: Any) -> InputReading:
    given = {"voltage": 12.0, "current": 0.3, **more}
    return InputReading(time, name, AT[name], mode=mode, trip="", **given)


def killed(folder: Path) -> None:
    """Make of a run that was finished one that never came to that."""
    about = json.loads((folder / "run.json").read_text("utf-8"))
    (folder / "run.json").write_text(json.dumps({**about, "ended": None}), "utf-8")
    for path in (*folder.glob("*.parquet"), folder / "events.json", folder / "manifest.json"):
        path.unlink()


def test_files_log_and_recorder_tell_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readings_module, "ROWS", 64)
    recorder = recorder_in(tmp_path)
    recorder.begin(100.0)
    for turn in range(200):
        recorder.reading(reading(100.0 + turn / 7, voltage=math.sin(turn)))
        if turn % 2:
            recorder.reading(reading(100.0 + turn / 7, "aux", mode=None, current=turn / 3))
    recorder.event(EventKind.ON, "main", "Ω", 0.5)
    recorder.close()
    record = recorder.record()
    logged, _, story = read_record(tmp_path / "log.ndjson")
    assert recorder.rows == story.rows == {"main": 200, "aux": 100}
    from_log = {name: record.traces[name] for name in record.traces}
    folded = fold(tmp_path / "log.ndjson", tmp_path, AT)
    assert folded.rows == recorder.rows
    assert parquet.ParquetFile(tmp_path / "record-main.parquet").num_row_groups == 4
    assert not list(tmp_path.glob("*.part"))
    for name, channels in (
        ("main", ["voltage", "current", "mode"]),
        ("aux", ["terminal_voltage", "current"]),
    ):
        own = read_parquet(tmp_path / f"record-{name}.parquet", name)
        assert list(own.columns) == channels
        assert parquet.read_metadata(tmp_path / f"record-{name}.parquet").num_rows == own.time.size
        for other in (logged.traces[name], from_log[name], recorder.record().traces[name]):
            np.testing.assert_array_equal(own.time, other.time)
            for channel in channels:
                np.testing.assert_array_equal(own.columns[channel], other.columns[channel])
    assert record.events == logged.events
    np.testing.assert_allclose(own.time, [turn / 7 for turn in range(1, 200, 2)], atol=1e-7)


def test_what_came_before_the_record_began_is_below_its_zero(tmp_path: Path) -> None:
    loop = VirtualLoop(start=50.0)
    recorder = recorder_in(tmp_path, clock=loop)
    recorder.event(EventKind.IDENTIFIED, "left")
    first = recorder.reading(reading(51.0))
    assert (first.time, recorder.now()) == (1.0, 0.0)
    recorder.begin(60.0)
    assert recorder.now() == -10.0
    assert recorder.newest["main"].time == -9.0
    recorder.reading(reading(61.0))
    recorder.close()
    fold(tmp_path / "log.ndjson", tmp_path, AT)
    for record in (recorder.record(), read_record(tmp_path / "log.ndjson")[0]):
        assert record.traces["main"].time.tolist() == [-9.0, 1.0]
        assert [event.time for event in record.events] == [-10.0]
    loop.close()


def test_a_mode_that_is_not_told_throughout_is_no_channel(tmp_path: Path) -> None:
    recorder = recorder_in(tmp_path)
    recorder.begin(0.0)
    recorder.reading(reading(0.0))
    recorder.reading(reading(1.0, mode=None, voltage=float("nan")))
    recorder.close()
    fold(tmp_path / "log.ndjson", tmp_path, AT)
    assert parquet.read_table(tmp_path / "record-main.parquet")["main_mode"].to_pylist() == [1.0, None]
    for traces in (read_parquet(tmp_path / "record-main.parquet", "main"), recorder.record().traces["main"]):
        assert list(traces.columns) == ["voltage", "current"]
        np.testing.assert_array_equal(traces.columns["voltage"], [12.0, np.nan])
    assert read_parquet(tmp_path / "record-aux.parquet", "aux").time.size == 0


class Nowhere:
    """Takes lines and keeps none."""

    path = Path("log.ndjson")
    dropped = 0
    longest_sync = 0.0
    failed = None

    def write(self, kind: str, **fields: Any) -> None:
        self.dropped += 1

    def close(self) -> None:
        pass


def test_a_recorder_keeps_no_readings_in_memory() -> None:
    recorder = RunRecorder(Nowhere(), Progress(), AT)
    recorder.begin(0.0)
    sizes = []
    tracemalloc.start()
    for _ in range(3):
        for turn in range(12_000):
            recorder.reading(reading(turn / 100))
            recorder.event(EventKind.ENTERS_CV, "main", f"at {turn} V")
        sizes.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    assert recorder.rows["main"] == 36_000
    assert len(recorder.events) == 10_001
    assert sizes[2] - sizes[1] < 50_000


def test_of_very_many_events_the_first_and_the_last_are_kept() -> None:
    events = Events(most=10)
    for turn in range(10):
        events.add(Event(float(turn), "main", EventKind.OTHER, words=str(turn)))
    assert [event.what for event in events.kept()] == [str(turn) for turn in range(10)]
    for turn in range(10, 17):
        events.add(Event(float(turn), "main", EventKind.OTHER, words=str(turn)))
    events.shift(1.0)
    kept = events.ordered()
    assert [event.what for event in kept] == [*"01234", "events left out", *map(str, range(12, 17))]
    assert says(kept[5].detail, "7", "log.ndjson")
    assert (kept[0].time, kept[-1].time) == (-1.0, 15.0)


def test_a_log_cut_anywhere_is_read_and_loses_at_most_a_line(bench: Small) -> None:
    folder = bench.run().folder
    killed(folder)
    (folder / "guard.ndjson").unlink()  # what the guard tells of a killed run is tested in test_stored
    log = folder / "log.ndjson"
    content = log.read_bytes()
    draw = random.Random(9)
    cuts = [0, 1, len(content) - 1, len(content), *(draw.randrange(len(content)) for _ in range(100))]
    for cut in cuts:
        for fill in (b"", b"\0" * draw.randrange(1, 5000)):
            log.write_bytes(content[:cut] + fill)
            data = open_run(folder)
            whole = content[:cut].count(b"\n") + (content[cut : cut + 1] == b"\n")
            lines = [json.loads(line) for line in content.split(b"\n")[:whole]]
            assert data.ended is Ended.KILLED
            assert len(data.record.events) == sum(line["kind"] == "event" for line in lines)
            sizes = {name: traces.time.size for name, traces in data.record.traces.items()}
            assert sum(sizes.values()) == sum(line["kind"] == "reading" for line in lines)
            torn = len(fill) + (
                0 if content[cut : cut + 1] == b"\n" else cut - content.rfind(b"\n", 0, cut) - 1
            )
            told = [f"log.ndjson: the last {torn} bytes are no whole line and were left out"] if torn else []
            assert [line for line in data.recovered if "whole line" in line] == told


def test_a_torn_tail_is_told_where_problems_of_a_run_are(bench: Small) -> None:
    folder = bench.run().folder
    killed(folder)
    content = (folder / "log.ndjson").read_bytes()
    (folder / "log.ndjson").write_bytes(content[: content.rfind(b"\n", 0, -1) + 10])
    (line,) = open_run(folder).recovered
    assert says(line, "log.ndjson", "9")
    data = open_run(folder)
    stored = StoredRun(data, bench.documents, cast("Settings", None))
    assert f"run folder: {line}" in stored.remarks


def test_a_run_killed_while_it_was_finished_is_read_from_its_log(bench: Small) -> None:
    outcome = bench.run()
    (outcome.folder / "record-aux.parquet").unlink()
    (outcome.folder / "manifest.json").unlink()
    data = open_run(outcome.folder)
    assert data.ended is Ended.COMPLETED
    assert [says(each, "record-aux.parquet", "log.ndjson") for each in data.recovered] == [True]
    assert data.whole
    assert data.record.events == outcome.record.events
    assert data.record.spans == outcome.record.spans
    size = data.about["rows"]["aux"]
    assert data.record.traces["aux"].time.size == size == outcome.record.traces["aux"].time.size
    killed_later = shutil.copytree(outcome.folder, bench.folder / "later")
    (killed_later / "record-aux.parquet").touch()
    (killed_later / "manifest.json").touch()
    killed(killed_later)
    assert [
        says(each, "run.json", "log.ndjson", "completed") for each in open_run(killed_later).recovered
    ] == [True]


def test_readings_that_are_not_there_are_told(bench: Small) -> None:
    folder = bench.run().folder
    path = folder / "record-main.parquet"
    table = parquet.read_table(path)
    parquet.write_table(table.slice(0, table.num_rows - 3), path)
    data = open_run(folder)
    assert not data.whole
    assert not data.differences.sound
    line = f"record-main.parquet: holds {table.num_rows - 3} readings, the run took {table.num_rows}"
    assert line in data.differences.lines()


def test_a_disk_that_is_full_at_the_end_keeps_what_there_is(
    bench: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(readings_module.ParquetRows, "_flush", full)
    outcome = bench.run()
    assert outcome.ended is Ended.COMPLETED
    assert [says(each, "record", "Errno 28") for each in outcome.cautions] == [True]
    assert not list(outcome.folder.glob("*.part"))
    assert not list(outcome.folder.glob("*.parquet"))
    data = open_run(outcome.folder)
    assert (data.whole, data.differences.sound) == (True, True)
    assert says(data.recovered[0], "record-main.parquet", "record-aux.parquet", "log.ndjson")
    assert outcome.record.traces["main"].time.size == data.about["rows"]["main"]


class Hanging(Log):
    """The file system hangs once everything is on."""

    hangs = False
    goes_on = threading.Event()

    def _put(self, data: memoryview) -> int:
        self.hangs = self.hangs or b'"name":"steady"' in bytes(data)
        if self.hangs:
            self.goes_on.wait()
        return super()._put(data)


def test_a_file_system_that_hangs_holds_up_neither_the_outputs_nor_the_ending(
    bench: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_module, "CLOSE_LIMIT", 0.1)
    monkeypatch.setattr(folder_module, "ANSWER_LIMIT", 0.1)
    write_json = folder_module.write_json

    def written(path: Path, data: Any) -> None:
        if "steady" in "".join(bench.told.said):
            Hanging.goes_on.wait()
        write_json(path, data)

    monkeypatch.setattr(folder_module, "write_json", written)
    outcome = bench.run(open_log=Hanging)
    assert outcome.ended is Ended.RECORD
    assert says(outcome.cause, "keep up")
    assert bench.everything_off
    assert [says(each, "run folder", "disk hangs") for each in outcome.cautions] == [True]
    Hanging.goes_on.set()


def test_a_folder_that_was_deleted_is_told_and_nothing_raises(bench: Small) -> None:
    bench.during_steady(lambda: shutil.rmtree(bench.folder / "run"))
    procedure = bench.documents.procedure
    outcome = bench.run()
    assert outcome.ended is Ended.RECORD
    assert bench.everything_off
    assert procedure.steps
    assert len(outcome.cautions) == 4
    assert not (bench.folder / "run").exists()


def test_the_guards_own_log_is_of_the_run(bench: Small) -> None:
    bench.during_steady(
        lambda: (bench.folder / "run" / "guard.ndjson").write_text('{"kind":"arm","time":1}\n')
    )
    folder = bench.run().folder
    assert verify_manifest(folder).sound
    (folder / "guard.ndjson").unlink()
    assert verify_manifest(folder).missing == ("guard.ndjson",)


def test_readings_are_read_when_they_are_asked_for(tmp_path: Path) -> None:
    traces = StoredTraces(tmp_path, ("main",))
    assert list(traces) == ["main"]
    with pytest.raises(KeyError):
        traces["other"]
    with pytest.raises(FileNotFoundError):
        traces["main"]


@pytest.mark.parametrize(
    "line",
    [
        '{"kind":"reading","time":1,"input":["main"],"at":"at load","voltage":1,"current":1,"mode":1}',
        '{"kind":"reading","time":1,"input":"main","at":"at load","voltage":1,"current":1,"mode":1000}',
        '{"kind":"reading","time":1,"input":"main","at":"at load","voltage":{},"current":1,"mode":Infinity}',
        '{"kind":"event","time":[]}',
        '{"kind":"zero"}',
        '{"kind":"zero","shift":1,"began":"yesterday"}',
        '{"kind":"zero","shift":1,"began":"2026-11-30T06:00:00"}',
        '{"kind":"step begins","time":0}',
    ],
)
def test_a_log_of_another_kind_is_one_line(tmp_path: Path, line: str) -> None:
    (tmp_path / "run.json").write_text('{"ended": null, "sensed": {}, "instruments": []}')
    (tmp_path / "settings.json").write_text("{}")
    (tmp_path / "log.ndjson").write_text(line + "\n")
    with pytest.raises(NoRun, match=r"expected the record of a run, got "):
        open_run(tmp_path)
