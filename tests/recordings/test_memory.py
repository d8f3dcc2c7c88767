"""How much memory a recording takes while it is read: a few blocks of it, however large it is."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pyarrow as pa
import pytest
from pyarrow import csv, parquet
from scipy.io import wavfile
from tests.recordings.samples import KINDS

ROWS = 4_000_000
"""96 MB of numbers in three columns; a Parquet file has them in one row group, which is the worst case."""

ALLOWED = 64
"""Megabytes that reading may take on top of what the libraries do."""

MEASURE = """
import resource, sys  # ru_maxrss would be that of the process that started this one
from pathlib import Path
import h5py, numpy, pyarrow.csv, pyarrow.parquet
from railwright.recordings.opening import open_recording
from railwright.recordings.samples import Channel

def kilobytes(what):
    return int(Path("/proc/self/status").read_text().partition(what)[2].split()[0])

def largest():
    return kilobytes("VmHWM:") // 1024

with open_recording(Path(sys.argv[1])) as recording:
    channels = [Channel(place) for place, _ in recording.channels]
    next(recording.blocks(channels))
    begun = largest()
    # Whatever would hold the file whole fails, and does not only show in the figure.
    most = (kilobytes("VmData:") << 10) + (80 << 20)
    resource.setrlimit(resource.RLIMIT_DATA, (most, resource.RLIM_INFINITY))
"""

BLOCKS = """
    count = sum(block.time.size for block in recording.blocks(channels))
    shown = recording.thinned(channels, most=100_000)
    part = recording.read(channels, 2.0, 2.01)
    print(count, shown.time.size, shown.values[0].max(), part.time.size, largest() - begun)
"""

WHOLE = """
    print(recording.read(channels).time.size)
"""


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the same noise as every kind of file; one sample stands out."""
    folder = tmp_path_factory.mktemp("large")
    voltage, current = np.random.default_rng(1).normal(size=(2, ROWS))
    voltage[ROWS - 7] = 99.0
    table = pa.table({"time_s": np.arange(ROWS) * 1e-6, "main_voltage_V": voltage, "main_current_A": current})
    parquet.write_table(table, folder / "a.parquet", row_group_size=ROWS, use_dictionary=False)
    csv.write_csv(table, folder / "a.csv")
    with h5py.File(folder / "a.h5", "w") as file:
        file["time_s"], file["main_current_A"] = table["time_s"].to_numpy(), current
        file["a_voltage_V"] = voltage
    wavfile.write(folder / "a.wav", 1_000_000, np.column_stack((voltage, current)))
    return folder


def measured(path: Path, do: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", MEASURE + do, path]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)


@pytest.mark.parametrize("kind", KINDS)
def test_a_large_file_is_never_in_memory(large: Path, kind: str) -> None:
    done = measured(large / f"a{kind}", BLOCKS)
    assert done.returncode == 0, done.stderr
    count, shown, top, part, megabytes = done.stdout.split()
    assert (int(count), float(top), int(part)) == (ROWS, 99.0, 10_003)
    assert 10_000 < int(shown) <= 100_000
    assert int(megabytes) < ALLOWED < ROWS * 24 / 1e6


def test_the_same_limit_does_not_let_the_file_be_held(large: Path) -> None:
    done = measured(large / "a.wav", WHOLE)
    assert done.returncode != 0
    assert "MemoryError" in done.stderr
