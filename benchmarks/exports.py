"""A run of many readings as CSV, Parquet and HDF5: how long each takes, how much memory, who finds the units.

Each kind is exported in a process of its own and opened by pandas, polars, xarray and h5py; those that are
not installed (polars, as a rule) are named and left out. The last line is the ratio of the programs that
found every unit to those that are there.

    python -m benchmarks.exports [--rows 1000000]
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from railwright.archive.export import export_run
from railwright.archive.stored import StoredRun
from railwright.examples import example
from railwright.job import Job
from railwright.records.ended import Ended
from railwright.records.manifest import Differences
from railwright.records.names import EXPORT_KINDS, ExportKind
from railwright.records.stored import RunData
from railwright.settings.settle import Settings
from railwright.traces import Record, Traces

WANTED = {"time": "s", "voltage": "V", "current": "A", "mode": "1"}


def export(kind: ExportKind, rows: int, folder: Path) -> None:
    """A run of one input whose readings are noise; prints what the export alone took."""
    draw = np.random.default_rng(1)
    columns = {"voltage": draw.normal(12.0, 0.01, rows), "current": draw.normal(0.3, 0.001, rows)}
    traces = Traces(np.arange(rows) / 50.0, {**columns, "mode": np.ones(rows)})
    record = Record("supply readings", {"main": traces})
    about = {"run": "many", "began": "2026-11-30T06:00:00+00:00", "off_confirmed": True}
    data = RunData(folder, about, {}, record, Ended.COMPLETED, Differences(), None)
    documents = Job.open(example() / "power-input.procedure.yaml").documents
    before, begin = peak(), time.perf_counter()
    export_run(StoredRun(data, documents, Settings({}, (), (), ())), kind, folder)
    print(f"{time.perf_counter() - begin:.2f} {peak() - before:.0f}")


def peak() -> float:
    """The most memory that this process has had [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


def pandas_units(folder: Path) -> dict[str, str]:
    import pandas as pd

    frame = pd.read_parquet(folder / "many-record-main.parquet")
    csv = pd.read_csv(folder / "many-record-main.csv", comment="#")
    assert list(csv) == list(frame)
    return short(frame.attrs["units"])


def polars_units(folder: Path) -> dict[str, str]:
    import polars as pl  # type: ignore[import-not-found, unused-ignore]

    csv = pl.read_csv(folder / "many-record-main.csv", comment_prefix="#")
    units = json.loads(pl.read_parquet_metadata(folder / "many-record-main.parquet")["units"])
    assert csv.columns == list(units)
    return short(units)


def short(units: dict[str, str]) -> dict[str, str]:
    """By channel, of what is called by a header."""
    names = {"time_s": "time", "main_voltage_V": "voltage", "main_current_A": "current", "main_mode": "mode"}
    return {names[header]: unit for header, unit in units.items()}


def xarray_units(folder: Path) -> dict[str, str]:
    import xarray as xr

    with xr.open_dataset(folder / "many.h5", group="inputs/main", engine="h5netcdf") as data:
        return {str(name): each.attrs["units"] for name, each in data.variables.items()}


def h5py_units(folder: Path) -> dict[str, str]:
    import h5py

    with h5py.File(folder / "many.h5") as file:
        return {name: each.attrs["units"] for name, each in file["inputs/main"].items()}


READERS: dict[str, tuple[Callable[[Path], dict[str, str]], tuple[str, ...]]] = {
    "pandas": (pandas_units, ("pandas",)),
    "polars": (polars_units, ("polars",)),
    "xarray": (xarray_units, ("xarray", "h5netcdf")),
    "h5py": (h5py_units, ("h5py",)),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--kind", choices=EXPORT_KINDS)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    if given.kind:
        export(given.kind, given.rows, given.folder)
        return
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for kind in EXPORT_KINDS:
            own = ("--rows", str(given.rows), "--kind", kind, "--folder", str(folder))
            command = [sys.executable, "-m", "benchmarks.exports", *own]
            done = subprocess.run(command, capture_output=True, text=True, check=True, env=dict(os.environ))
            took, memory = done.stdout.split()
            size = sum(path.stat().st_size for path in folder.glob(f"*.{kind.replace('hdf5', 'h5')}")) / 1e6
            print(f"{kind}: {given.rows:,} rows in {took} s, {memory} MB more memory, {size:.0f} MB")
        found, here = 0, 0
        for name, (units_of, needs) in READERS.items():
            if missing := [need for need in needs if find_spec(need) is None]:
                print(f"{name}: left out, {', '.join(missing)} not installed")
                continue
            here += 1
            units = units_of(folder)
            found += units == WANTED
            print(f"{name}: {units}")
    print(f"programs that found every unit, of those that are here: {found / here:.2f}")


if __name__ == "__main__":
    main()
