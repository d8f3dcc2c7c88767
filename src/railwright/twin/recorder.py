"""An external transient recorder beside the supplies: its own errors, its own grid, its own time.

Its time is zero at its trigger, and its time base runs a little fast or slow. What it writes is a CSV with
one row a sample (`time_s`, `main_voltage_V`, `main_current_A`, …), voltages at the device's connectors.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from railwright.documents.bench import Recorder
from railwright.records.manifest import write_atomically
from railwright.traces import Traces, crossing
from railwright.twin.truth import SystematicError, Truth

if TYPE_CHECKING:
    from railwright.traces import Array

ASSUMED_TIME_BASE = 50e-6
"""Bound of the relative error of a recorder's time base (declared: no document speaks of it)."""


@dataclass(frozen=True, slots=True)
class Trigger:
    """What starts a recording: a channel that passes a level [V or A] in one direction, and how much before
    it is kept [s].
    """

    input: str
    channel: Literal["voltage", "current"]
    level: float
    direction: Literal["rise", "fall"] = "rise"
    before: float = 0.02
    length: float = 0.5


def first_crossing(
    time: Array, values: Array, level: float, direction: str, after: float = -1.0
) -> float | None:
    """First time at which a piecewise linear trace passes the level in that direction, later than `after`;
    None: never.
    """
    import numpy as np

    above = values >= level if direction == "rise" else values <= level
    hits = np.flatnonzero(~above[:-1] & above[1:] & (time[1:] > after))
    if not hits.size:
        return None
    return crossing(time, values, int(hits[0]) + 1, level)


def capture(
    name: str,
    recorder: Recorder,
    true: Mapping[str, tuple[Array, Array, Array]],
    trigger: Trigger,
    seed: int,
    after: float = -1.0,
) -> dict[str, Array] | None:
    """One recording: column name -> samples, shape (n,); None when the trigger did not come.

    true: input -> (time, voltage, current), true traces on one common time base [s], piecewise linear. Only
    what they cover is recorded; a recording that would end after them is None too: it is not complete yet.
    """
    import numpy as np

    time, voltage, current = true[trigger.input]
    seen = voltage if trigger.channel == "voltage" else current
    at = first_crossing(time, seen, trigger.level, trigger.direction, after)
    if at is None or min(float(rows[0][-1]) for rows in true.values()) < at + trigger.length - trigger.before:
        return None
    truth = Truth(seed)
    drift = truth.uniform(f"{name}.time base", -ASSUMED_TIME_BASE, ASSUMED_TIME_BASE)
    # The trigger is found in the recorder's own samples: up to one interval late.
    late = truth.uniform(f"{name}.trigger", 0.0, recorder.interval)
    count = round(trigger.length / recorder.interval) + 1
    first = -round(trigger.before / recorder.interval)
    steps = np.arange(first, first + count, dtype=np.float64)
    real = at + late + steps * recorder.interval * (1 + drift)
    columns = {"time_s": steps * recorder.interval}
    for input_name, (true_time, *channels) in true.items():
        for channel, unit, values, accuracy in zip(
            ("voltage", "current"), "VA", channels, (recorder.voltage, recorder.current), strict=True
        ):
            if accuracy is None:
                continue
            label = f"{name}.{input_name}.{channel}"
            error = SystematicError(
                truth.uniform(f"{label}.gain", -accuracy.of_value, accuracy.of_value),
                truth.uniform(f"{label}.offset", -accuracy.offset, accuracy.offset),
                accuracy.resolution or 0.0,
                accuracy.noise or 0.0,
            )
            columns[f"{input_name}_{channel}_{unit}"] = _sample(label, error, real, true_time, values, seed)
    return columns


# Many: which recorder records what, when, and to where.
def write_capture(
    name: str,
    recorder: Recorder,
    traces: Mapping[str, Traces],
    trigger: Trigger,
    path: Path,
    *,
    inputs: Iterable[str] | None = None,
    seed: int,
    after: float,
) -> bool:
    """Write what a recorder captures of true traces to a CSV file; True when a complete capture was there.

    inputs: what its probes are connected to (default: the trigger's input).
    """
    wanted = (trigger.input, *(each for each in inputs or () if each != trigger.input))
    true = {
        each: (traces[each].time, traces[each].columns["voltage"], traces[each].columns["current"])
        for each in wanted
    }
    columns = capture(name, recorder, true, trigger, seed, after)
    if columns is None:
        return False
    write_atomically(path, as_csv(columns))
    return True


def _sample(label: str, error: SystematicError, at: Array, time: Array, values: Array, seed: int) -> Array:
    """Samples of a true trace at instants, shape (n,), with the channel's errors, noise and grid."""
    import numpy as np

    noise = np.random.default_rng([seed, zlib.crc32(f"{label}.noise".encode())]).standard_normal(at.shape)
    raw = np.interp(at, time, values) * (1 + error.gain) + error.offset + error.noise * noise
    return np.asarray(np.round(raw / error.resolution) * error.resolution if error.resolution else raw)


def as_csv(columns: Mapping[str, Array]) -> str:
    """A recording as text: a header, then a line for each sample."""
    import numpy as np

    table = np.column_stack(list(columns.values()))
    text = StringIO()
    np.savetxt(
        text,
        table,
        fmt=["%.7f"] + ["%.6g"] * (table.shape[1] - 1),
        delimiter=",",
        header=",".join(columns),
        comments="",
    )
    return text.getvalue()
