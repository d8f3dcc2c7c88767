"""Records as tables and labelled arrays, for those who have pandas or xarray."""

from __future__ import annotations

from types import ModuleType
from typing import TYPE_CHECKING, Any

from railwright.traces import Mode, Record, Traces, channel_attributes

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr


class NotInstalled(ImportError):
    """A library that only some methods need is missing; one line that says how to get it."""


def not_installed(name: str, extra: str = "frames") -> NotInstalled:
    """What to raise where this library is missing, which comes with this extra."""
    return NotInstalled(
        f"expected {name} for this, got none: install it with pip install 'railwright[{extra}]'"
    )


def _pandas() -> ModuleType:
    try:
        import pandas
    except ImportError:
        raise not_installed("pandas") from None
    return pandas


def _xarray() -> ModuleType:
    try:
        import xarray
    except ImportError:
        raise not_installed("xarray") from None
    return xarray


def trace_frame(traces: Traces) -> pd.DataFrame:
    """Channels of one input: index `time` [s], one column a channel; `mode` is a categorical of words."""
    pandas = _pandas()
    columns: dict[str, Any] = dict(traces.columns)
    if "mode" in columns:
        words = [mode.word for mode in Mode]
        columns["mode"] = pandas.Categorical.from_codes(columns["mode"].astype(int), words)
    found: pd.DataFrame = pandas.DataFrame(columns, index=pandas.Index(traces.time, name="time"))
    return found


def record_frame(record: Record) -> pd.DataFrame:
    """Channels of all inputs below each other: index (`input`, `time`)."""
    frames = {name: trace_frame(traces) for name, traces in record.traces.items()}
    found: pd.DataFrame = _pandas().concat(frames, names=["input", "time"])
    return found


def record_dataset(record: Record) -> xr.Dataset:
    """Channels as variables `input_channel` over the input's own time `input_time` [s], with their units.

    `mode` stays a number; its attributes say what each means, as the CF conventions have it.
    """
    variables: dict[str, Any] = {}
    for name, traces in record.traces.items():
        time = f"{name}_time"
        variables[time] = (time, traces.time, {"units": "s"})
        for channel, values in traces.columns.items():
            variables[f"{name}_{channel}"] = (time, values, channel_attributes(channel))
    found: xr.Dataset = _xarray().Dataset(variables, attrs={"origin": record.origin})
    return found


def rows_frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    """One row for each mapping."""
    found: pd.DataFrame = _pandas().DataFrame(rows)
    return found
