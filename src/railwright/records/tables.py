"""Tables of readings as Arrow has them, and what a file of them says of itself: which run it is of, when its
time 0 was, the unit of each column, what each number of a mode means.
"""

from __future__ import annotations

import json
from array import array
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from railwright.records.about import time_zero
from railwright.traces import Mode

if TYPE_CHECKING:
    import numpy as np
    import pyarrow as pa
    from numpy.typing import NDArray

MODES = {str(int(mode)): mode.word for mode in Mode}
"""Number of a mode, as JSON has it -> its word."""


def facts_of(about: Mapping[str, Any]) -> dict[str, str]:
    """What every file of a run's readings says of the run; about: `run.json`. time_zero: the instant of time
    0 in ISO 8601, with its offset from UTC.
    """
    facts = {"run": about.get("run"), "time_zero": time_zero(about), "software": about.get("software")}
    return {name: str(fact) for name, fact in facts.items() if fact}


def described(facts: Mapping[str, Any], units: Mapping[str, str]) -> dict[str, Any]:
    """The same with what it says of its columns. units: column -> its unit, '1' of a plain number, of which
    there are modes alone.
    """
    own: dict[str, Any] = {**facts, "units": dict(units)}
    return own | ({"modes": MODES} if "1" in units.values() else {})


def as_texts(described: Mapping[str, Any]) -> dict[str, str]:
    """Each fact as a text: what is none is JSON."""
    return {
        name: each if isinstance(each, str) else json.dumps(each, ensure_ascii=False)
        for name, each in described.items()
    }


def schema_of(facts: Mapping[str, Any], units: Mapping[str, str]) -> pa.Schema:
    """Columns of float64 with their units, in a file that says this of itself: as metadata, and once more as
    `DataFrame.attrs`, which pandas keeps under a key of its own.
    """
    import pyarrow as pa

    own = described(facts, units)
    columns = [
        pa.field(name, pa.float64(), metadata=None if unit == "1" else {"unit": unit})
        for name, unit in units.items()
    ]
    return pa.schema(columns, {**as_texts(own), "PANDAS_ATTRS": json.dumps(own)})


def number_array(
    values: array[float] | NDArray[np.float64], told: NDArray[np.bool_] | None = None
) -> pa.Array:
    """Numbers as a column; told: which of them are there (None: all). Not by pa.array, which loads pandas
    where it is installed.
    """
    import numpy as np
    import pyarrow as pa

    bits = None if told is None else pa.py_buffer(np.packbits(told, bitorder="little"))
    return pa.Array.from_buffers(pa.float64(), len(values), [bits, pa.py_buffer(values)])


def table_of(
    schema: pa.Schema, columns: Sequence[tuple[array[float] | NDArray[np.float64], NDArray[np.bool_] | None]]
) -> pa.Table:
    """Columns of numbers as a table: of each its values, and which of them are told (None: all)."""
    import pyarrow as pa

    return pa.Table.from_arrays([number_array(*each) for each in columns], schema=schema)
