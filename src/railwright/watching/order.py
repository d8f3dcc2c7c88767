"""What a log is asked to be, from texts as people write them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import get_args

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.quantities import parse_value, quoted
from railwright.watching.bench_watch import Change, WatchOrder
from railwright.watching.conditions import LogCondition, parse_condition
from railwright.watching.files import Form

SHORTEST, LONGEST = 1e-3, 86_400.0
"""Between these lies an interval [s]."""

EVERY = "1 s"

FILE_LASTS = "1 d"
"""What a file covers where nobody says [s]."""


class OrderError(ValueError):
    """An argument that does not serve: which, and what is wrong with it."""

    def __init__(self, argument: str, told: str) -> None:
        super().__init__(argument, told)
        self.argument, self.told = argument, told

    def __str__(self) -> str:
        return f"{self.argument}: {self.told}"


# Many: each is a choice of whoever logs.
def order_of(
    bench: Bench,
    outputs: Sequence[str] = (),
    *,
    every: str = EVERY,
    change: Sequence[str] = (),
    begin: Sequence[str] = (),
    until: Sequence[str] = (),
    form: str = "csv",
    file_rows: int | None = None,
    file_lasts: str = FILE_LASTS,
    select: bool = False,
) -> WatchOrder:
    """The log that these texts ask for. Raises OrderError."""
    chosen = chosen_outputs(bench, outputs)
    interval = _time("every", every)
    if not SHORTEST <= interval <= LONGEST:
        raise OrderError("every", f"expected a time from 1 ms to 1 day, got {quoted(every)}")
    if form not in get_args(Form):
        raise OrderError("form", f"expected one of {', '.join(get_args(Form))}, got {quoted(form)}")
    if file_rows is not None and file_rows < 1:
        raise OrderError("file_rows", f"expected at least 1, got {file_rows}")
    lasting = _time("file_lasts", file_lasts)
    if lasting < interval:
        told = f"expected a time of at least the interval, got {quoted(file_lasts)}"
        raise OrderError("file_lasts", told)
    return WatchOrder(
        chosen,
        interval,
        _conditions("begin", begin, chosen, counts=False),
        _conditions("until", until, chosen, counts=True),
        _change(change),
        "parquet" if form == "parquet" else "csv",
        math.inf if file_rows is None else file_rows,
        lasting,
        select,
    )


def chosen_outputs(bench: Bench, given: Sequence[str]) -> tuple[OutputName, ...]:
    """The outputs that are named, one by one or by their supply; all where none is."""
    everything = bench.output_names
    chosen: list[OutputName] = []
    for name in given:
        found = [each for each in everything if name in (each, each.supply)]
        if not found:
            known = ", ".join([*bench.supplies, *everything])
            told = f"expected a supply or an output of the bench ({known}), got {quoted(name)}"
            raise OrderError("outputs", told)
        chosen += found
    return tuple(dict.fromkeys(chosen)) if given else everything


def default_folder(bench: Path, stamp: str) -> Path:
    """Where a log is kept that is given no folder: watches/<bench>-<time>."""
    return Path("watches") / f"{bench.name.split('.')[0]}-{stamp}"


def _conditions(
    name: str, texts: Sequence[str], outputs: Sequence[OutputName], *, counts: bool
) -> tuple[LogCondition, ...]:
    found = []
    for text in texts:
        try:
            found.append(parse_condition(text, outputs, counts=counts))
        except ValueError as error:
            raise OrderError(name, str(error)) from None
    return tuple(found)


def _time(name: str, text: str) -> float:
    try:
        seconds = parse_value(text, "s")
    except ValueError as error:
        raise OrderError(name, str(error)) from None
    if seconds <= 0.0:
        raise OrderError(name, f"expected a time above 0, got {quoted(text)}")
    return seconds


def _change(texts: Sequence[str]) -> Change | None:
    """How far readings have to move: a voltage, a current, or one of each."""
    found: dict[str, float] = {}
    for text in texts:
        quantity, value = _voltage_or_current(text)
        if quantity in found or value < 0.0:
            told = f"expected one voltage and one current, not below 0, got {quoted(text)}"
            raise OrderError("change", told)
        found[quantity] = value
    return Change(**found) if texts else None


def _voltage_or_current(text: str) -> tuple[str, float]:
    for quantity, unit in (("voltage", "V"), ("current", "A")):
        try:
            return quantity, parse_value(text, unit)
        except ValueError:
            continue
    told = f"expected a voltage such as '10 mV' or a current such as '5 mA', got {quoted(text)}"
    raise OrderError("change", told)
