"""Files of a run, and recordings beside it, that are none, too large, or made to be deep: one line each."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

import pytest
from tests.running.small import Small

from railwright.documents.csv_values import RecordingError
from railwright.running.recording import read_recording
from railwright.running.stored import NoRun, open_run

INPUTS = ("main", "aux")


def refused(path: Path) -> str:
    with pytest.raises(RecordingError) as caught:
        read_recording(path, "scope", INPUTS)
    assert str(caught.value).isprintable()
    return caught.value.told


def no_run(folder: Path) -> str:
    begin = time.process_time()
    with pytest.raises(NoRun) as caught:
        open_run(folder)
    assert time.process_time() - begin < 2.0
    assert str(caught.value).isprintable()
    return str(caught.value)


def test_a_recording_of_eight_gigabytes(tmp_path):
    (tmp_path / "a.csv").touch()
    os.truncate(tmp_path / "a.csv", 8 << 30)
    told = refused(tmp_path / "a.csv")
    assert told == "expected a recording (a CSV file), got 8.59 GB, and at most 1 GB are read; cut it down"


def test_a_recording_that_is_a_pipe(tmp_path):
    os.mkfifo(tmp_path / "a.csv")
    assert refused(tmp_path / "a.csv").startswith("expected a recording (a CSV file), got a pipe")


@pytest.mark.parametrize("text", ["SECRET\n", "root:SECRET:1\n", "SECRET: 1, SECRET\nx\n", "SECRET" * 40_000])
def test_nothing_of_another_file_is_repeated(tmp_path, text):
    (tmp_path / "a.csv").write_text(text)
    assert "SECRET" not in refused(tmp_path / "a.csv")


def test_bytes_that_are_no_text_far_inside(tmp_path):
    rows = "".join(f"{n * 1e-3:.4f},12.0\n" for n in range(200_000))
    (tmp_path / "a.csv").write_bytes(b"time_s,main_voltage_V\n" + rows.encode() + b"1000,\xff\n")
    with pytest.raises(RecordingError) as caught:
        read_recording(tmp_path / "a.csv", "scope", INPUTS)
    assert caught.value.line == 200_002
    assert "expected text in UTF-8" in caught.value.told


def test_a_letter_across_the_pieces_that_are_looked_at(tmp_path):
    begin = "# " + "x" * ((1 << 20) - 3) + "µ\n"
    (tmp_path / "a.csv").write_text(begin + "time_s,main_voltage_V\n0,12\n1,11\n")
    assert refused(tmp_path / "a.csv").startswith("expected a header such as")  # the line is too long
    begin = "".join(f"# {'x' * 97}\n" for _ in range(10_485)) + "# " + "x" * 73 + "µ\n"
    (tmp_path / "a.csv").write_text(begin + "time_s,main_voltage_V\r\n0,12\r\n1,11\r\n\r\n")
    assert read_recording(tmp_path / "a.csv", "scope", INPUTS).traces["main"].time.tolist() == [0.0, 1.0]


@pytest.mark.parametrize("name", ["run.json", "settings.json", "events.json", "record-main.parquet"])
def test_a_file_of_a_run_that_is_none_or_too_large(bench: Small, name: str) -> None:
    path = bench.run().folder / name
    path.unlink()
    os.mkfifo(path)
    assert "got a pipe" in no_run(path.parent)
    path.unlink()
    path.touch()
    os.truncate(path, 8 << 30)
    assert "got 8.59 GB, and at most" in no_run(path.parent)


def test_a_log_that_is_none_or_too_large(bench: Small) -> None:
    folder = bench.run().folder
    about = json.loads((folder / "run.json").read_text("utf-8"))
    (folder / "run.json").write_text(json.dumps({**about, "ended": None}), "utf-8")
    log = folder / "log.ndjson"
    os.truncate(log, 8 << 30)
    assert "got 8.59 GB, and at most 4 GB are read" in no_run(folder)
    log.unlink()
    os.mkfifo(log)
    assert "got a pipe" in no_run(folder)


@pytest.mark.parametrize("name", ["run.json", "settings.json"])
def test_json_that_is_nested_without_end(bench: Small, name: str) -> None:
    path = bench.run().folder / name
    path.write_text('{"a":' * 200_000)
    assert "nested too deeply" in no_run(path.parent)


def test_a_manifest_that_is_nested_without_end_is_told(bench: Small) -> None:
    folder = bench.run().folder
    (folder / "manifest.json").write_text("[" * 200_000)
    assert "expected hashes of files" in open_run(folder).differences.lines()[0]
