"""Files of a run that are none, too large, or made to be deep: one line each."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

import pytest
from tests.running.small import Small
from tests.said import says

from railwright.records.stored import NoRun, open_run


def no_run(folder: Path) -> str:
    begin = time.process_time()
    with pytest.raises(NoRun) as caught:
        open_run(folder)
    assert time.process_time() - begin < 2.0
    assert str(caught.value).isprintable()
    return str(caught.value)


@pytest.mark.parametrize("name", ["run.json", "settings.json", "events.json", "record-main.parquet"])
def test_a_file_of_a_run_that_is_none_or_too_large(bench: Small, name: str) -> None:
    path = bench.run().folder / name
    path.unlink()
    os.mkfifo(path)
    assert "got a pipe" in no_run(path.parent)
    path.unlink()
    path.touch()
    os.truncate(path, 8 << 30)
    assert says(no_run(path.parent), name, "8.59 GB")


def test_a_log_that_is_none_or_too_large(bench: Small) -> None:
    folder = bench.run().folder
    about = json.loads((folder / "run.json").read_text("utf-8"))
    (folder / "run.json").write_text(json.dumps({**about, "ended": None}), "utf-8")
    log = folder / "log.ndjson"
    os.truncate(log, 8 << 30)
    assert says(no_run(folder), "log.ndjson", "8.59 GB", "4 GB")
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
    assert says(open_run(folder).differences.lines()[0], "hashes")
