"""Reading a recording of every kind, whole and checked, against the library that knows the kind, bare.

Bare is what a few lines of one's own would do: the whole file into arrays, nothing checked, named or turned
into SI units. Ours gives blocks, with every number and time checked, and holds one of them. Each time is the
best of several, ours and the bare one in turn. Prints both, the memory that reading takes on top of what the
libraries do (each in a process of its own), and ours over bare; the last line is that of all kinds together.

    python -m benchmarks.recordings [--rows 4000000]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import h5py
import numpy as np
import pyarrow as pa
from pyarrow import csv, parquet
from scipy.io import wavfile

from railwright.recordings.opening import open_recording
from railwright.recordings.samples import Channel

KINDS = ("csv", "parquet", "h5", "wav")
COLUMNS = ("time_s", "main_voltage_V", "main_current_A")
REPEATS = 5


def write(folder: Path, rows: int) -> None:
    """The same noise as every kind of file."""
    made = np.random.default_rng(1).normal(size=(2, rows))
    table = pa.table(dict(zip(COLUMNS, (np.arange(rows) * 1e-6, *made), strict=True)))
    csv.write_csv(table, folder / "a.csv")
    parquet.write_table(table, folder / "a.parquet", use_dictionary=False)
    with h5py.File(folder / "a.h5", "w") as file:
        for name in COLUMNS:
            file.create_dataset(name, data=table[name].to_numpy(), chunks=(min(rows, 1 << 16),))
    wavfile.write(folder / "a.wav", 1_000_000, made.T)


def bare(path: Path) -> int:
    """Rows, of which every column is in memory."""
    match path.suffix:
        case ".csv":
            table = csv.read_csv(path)
        case ".parquet":
            table = parquet.read_table(path)
        case ".h5":
            with h5py.File(path) as file:
                arrays = [file[name][()] for name in COLUMNS]
        case _:
            _, samples = wavfile.read(path)
            arrays = [np.ascontiguousarray(samples[:, place]) for place in range(2)]
    if path.suffix in (".csv", ".parquet"):
        arrays = [table[name].to_numpy() for name in COLUMNS]
    return len(arrays[0])


def ours(path: Path) -> int:
    """Rows, of which every one was checked."""
    with open_recording(path) as recording:
        channels = [Channel(place) for place, _ in recording.channels]
        return sum(block.time.size for block in recording.blocks(channels))


def largest() -> int:
    """Largest memory of this process so far [kB]; ru_maxrss would be that of the process that started it."""
    return int(Path("/proc/self/status").read_text().partition("VmHWM:")[2].split()[0])


def memory(read: Callable[[Path], int], path: Path, small: Path) -> float:
    """What reading a file takes on top of reading a small one [MB]."""
    read(small)
    begun = largest()
    read(path)
    return (largest() - begun) / 1024


def seconds(read: Callable[[Path], int], path: Path, rows: int) -> float:
    begin = time.perf_counter()
    assert read(path) == rows
    return time.perf_counter() - begin


def main() -> None:
    """Write, read, compare and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=4_000_000)
    rows = parser.parse_args().rows
    totals = [0.0, 0.0]
    with tempfile.TemporaryDirectory() as name:
        folder, small = Path(name), Path(name) / "small"
        small.mkdir()
        write(folder, rows)
        write(small, 1000)
        for kind in KINDS:
            path = folder / f"a.{kind}"
            best = [float("inf"), float("inf")]
            for _ in range(REPEATS):
                best = [min(t, seconds(read, path, rows)) for t, read in zip(best, (ours, bare), strict=True)]
            megabytes = []
            for read in (ours, bare):
                with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
                    megabytes.append(pool.submit(memory, read, path, small / f"a.{kind}").result())
            totals = [total + took for total, took in zip(totals, best, strict=True)]
            print(
                f"{kind:8}{path.stat().st_size / 1e6:6.0f} MB: {best[0]:6.2f} s and {megabytes[0]:4.0f} MB, "
                f"bare {best[1]:6.2f} s and {megabytes[1]:4.0f} MB: {best[0] / best[1]:.2f}"
            )
    print(f"reading recordings, times reading them bare: {totals[0] / totals[1]:.2f}")


if __name__ == "__main__":
    main()
