"""The same samples as every kind of recording, as other programs would write them."""

from __future__ import annotations

from pathlib import Path

import h5py
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import parquet
from scipy.io import wavfile

Array = NDArray[np.float64]

RATE = 1000
KINDS = (".csv", ".parquet", ".h5", ".wav")


def columns(count: int, seed: int = 1) -> dict[str, Array]:
    """Time, voltage and current of a rail with a dip and noise, under the names of their columns."""
    noise = np.random.default_rng(seed).normal(size=(2, count))
    time = np.arange(count) * (1.0 / RATE)
    dip = (time > time[-1] / 4) & (time < time[-1] / 2)
    return {
        "time_s": time,
        "main_voltage_V": np.where(dip, 9.0, 12.0) + 0.01 * noise[0],
        "main_current_A": np.where(dip, 0.4, 0.3) + 0.001 * noise[1],
    }


def written(folder: Path, kind: str, made: dict[str, Array], name: str = "scope") -> Path:
    """The file of that kind: bit by bit the same numbers in each. A WAV holds no names, units and times."""
    path = folder / f"{name}{kind}"
    if kind == ".csv":
        rows = zip(*(each.tolist() for each in made.values()), strict=True)
        lines = [",".join(made), *(",".join(map(repr, row)) for row in rows)]
        path.write_text("\n".join(lines) + "\n")
    elif kind == ".parquet":
        parquet.write_table(pa.table(made), path, row_group_size=1 + len(made["time_s"]) // 3)
    elif kind == ".h5":
        with h5py.File(path, "w") as file:
            for column, values in made.items():
                file.create_dataset(column, data=values, chunks=(min(1000, values.size),), compression="gzip")
    else:
        wavfile.write(path, RATE, np.column_stack(list(made.values())[1:]))
    return path
