"""The front door of logging: a bench and what is wanted of it, in texts; a log on disk, and how it ended."""

from __future__ import annotations

import datetime as dt
import os
import time
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.arguments import as_path, as_text, as_truth, as_whole
from railwright.documents.loader import load_bench
from railwright.running.interruption import StopRequest
from railwright.watching.bench_watch import BenchWatch, WatchOutcome, WatchProgress, ending_data
from railwright.watching.order import EVERY, FILE_LASTS, default_folder, order_of

if TYPE_CHECKING:
    import pandas as pd

    from railwright.documents.bench import Bench
    from railwright.watching.bench_watch import WatchOrder


@dataclass(frozen=True, eq=False)
class BenchLog:
    """A log of a bench in its folder, and how it ended."""

    outcome: WatchOutcome

    @property
    def folder(self) -> Path:
        return self.outcome.folder

    @property
    def files(self) -> tuple[Path, ...]:
        """Its files of rows, in their order."""
        return log_files(self.folder)

    def as_data(self) -> dict[str, Any]:
        """How it ended, with its statistics: SI numbers, stable keys."""
        return {"folder": str(self.folder), **ending_data(self.outcome)}

    def to_dataframe(self) -> pd.DataFrame:
        """All rows, as their columns are called in the files. In memory: of days, read file by file."""
        import pandas as pd

        read = [
            pd.read_parquet(path)
            if path.suffix == ".parquet"
            else pd.read_csv(path, parse_dates=["utc"], keep_default_na=False, na_values=["nan"])
            for path in self.files
        ]
        return pd.concat(read, ignore_index=True)

    def __repr__(self) -> str:
        return f"<BenchLog in '{self.folder}': {self.outcome.rows} rows, {self.outcome.why}>"


def log_files(folder: Path) -> tuple[Path, ...]:
    """The files with the rows of a log, in their order; of one that was killed, the CSV file of what was to
    become Parquet.
    """
    return tuple(sorted(each for each in folder.glob("rows-*") if each.suffix in (".csv", ".parquet")))


# Many: each is a choice of whoever logs.
def watch(
    bench: str | os.PathLike[str],
    outputs: Sequence[str] = (),
    *,
    every: str = EVERY,
    change: Sequence[str] = (),
    begin: Sequence[str] = (),
    until: Sequence[str] = (),
    folder: str | os.PathLike[str] | None = None,
    form: str = "csv",
    file_rows: int | None = None,
    file_lasts: str = FILE_LASTS,
    select: bool = False,
    stop: StopRequest | None = None,
    progress: WatchProgress | None = None,
) -> BenchLog:
    """Log outputs of a bench that run already, or all of them; it sets and switches nothing.

    every: the interval. change: write only rows with a reading that moved by more than a voltage, a current,
    or one of each. begin, until: conditions of which the first that is met begins and ends the log, such as
    `left.1 current below 100 mA for 10 s`, `3 h`, `1000 rows`, `2026-03-01T08:00`; without `until` it goes on
    until `stop` asks for its end. form: "csv" or "parquet". file_rows, file_lasts: when a new file begins.
    select: outputs may be selected to be read, where they cannot be read otherwise. progress: is told what
    happens.

    Raises DocumentErrors where the bench document is wrong, ValueError for an argument that does not serve,
    FileExistsError where the folder is in use, InstrumentError where a supply cannot be read at first.
    """
    path = as_path("bench", bench)
    found = load_bench(path).model
    order = order_of(
        found,
        [as_text("outputs", each) for each in ([outputs] if isinstance(outputs, str) else outputs)],
        every=as_text("every", every),
        change=change,
        begin=begin,
        until=until,
        form=as_text("form", form),
        file_rows=None if file_rows is None else as_whole("file_rows", file_rows, 1),
        file_lasts=as_text("file_lasts", file_lasts),
        select=as_truth("select", select),
    )
    stamp = f"{dt.datetime.now():%Y%m%d-%H%M%S}"
    to = default_folder(path, stamp) if folder is None else as_path("folder", folder)
    with closing(StopRequest()) as own:
        return log_bench(found, order, to, stop or own, progress)


def log_bench(
    bench: Bench, order: WatchOrder, folder: Path, stop: StopRequest, progress: WatchProgress | None = None
) -> BenchLog:
    """As `watch`, of a bench and an order that were read already."""
    from railwright.guard.locks import runtime_folder
    from railwright.guard.process_link import ProcessLink
    from railwright.watching.run_readings import guard_at

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileExistsError(
            f"{folder}: expected a folder that is empty or not there, got one in use; name another"
        )
    locks = runtime_folder()
    made = BenchWatch(
        bench,
        order,
        folder,
        link=ProcessLink,
        guard_at=lambda address: guard_at(address, locks),
        offset=lambda: time.time() - time.monotonic(),
        stop=stop,
        progress=progress,
    )
    return BenchLog(made.go())
