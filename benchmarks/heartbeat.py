"""Whether a run and its guard stay alive for each other beside busy loops: no OFF by heart-beat alone.

    python -m benchmarks.heartbeat [--hours 0.05] [--loops 4] [--runs 1]

A procedure that holds for so long, on two twins, beside processes that do nothing but compute. The last line
is the longest that a run gave its guard no sign of life, and whether every run was played to its end.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchmarks.busy import beside, busy
from benchmarks.endings.child import Job, play
from benchmarks.endings.lane import DOCUMENTS, PROCEDURE, Lane

from railwright.cli.checking import check_documents
from railwright.guard.core import SILENCE
from railwright.records.ended import Ended
from railwright.settings.check import Checked


def procedure_of(place: Path, duration: float) -> Path:
    """The documents with a procedure that holds for so long [s]."""
    for path in DOCUMENTS.iterdir():
        (place / path.name).write_bytes(path.read_bytes())
    path = place / PROCEDURE
    text = re.sub(r"  - shape:.*?(?=  - power_down)", "", path.read_text("utf-8"), flags=re.DOTALL)
    path.write_text(text.replace("hold: 400 ms", f"hold: {duration:g} s"), "utf-8")
    return path


@dataclass(frozen=True)
class Kept:
    """What became of one run: how long it lasted [s], its outcome, the longest silence of it that its guard
    noticed [s], and why its guard switched off, if it did.
    """

    took: float
    outcome: dict[str, Any]
    silence: float
    off: str

    @property
    def completed(self) -> bool:
        return self.outcome.get("ended") == Ended.COMPLETED


def hold(checked: Checked, place: Path, duration: float) -> Kept:
    """One run on twins of its own, followed to its end."""
    place.mkdir()
    with Lane(place, checked) as lane:
        job = Job(lane.checked, lane.folder(), lane.runtime)
        began = time.monotonic()
        story = lane.follow(job.folder, play, job, limit=duration + 120.0)
        took = time.monotonic() - began
    outcome = story.note("outcome") or story.note("failed") or {"ended": f"code {story.code}"}
    journal = [json.loads(line) for line in (job.folder / "guard.ndjson").read_text("utf-8").splitlines()]
    off = next((line["why"] for line in journal if line["kind"] == "off begun"), "")
    return Kept(took, outcome, journal[-1].get("longest_silence", float("nan")), off)


def main(given: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="benchmarks.heartbeat")
    parser.add_argument("--hours", type=float, default=0.05)
    parser.add_argument("--loops", type=int, default=4, help="busy loops beside it")
    parser.add_argument("--runs", type=int, default=1, help="at the same time, each on a bench of its own")
    options = parser.parse_args(given)
    duration = options.hours * 3600.0
    with tempfile.TemporaryDirectory() as folder:
        documents = Path(folder) / "documents"
        documents.mkdir()
        checked = check_documents(procedure_of(documents, duration), rehearsed=False)
        with busy(options.loops), ThreadPoolExecutor(options.runs) as pool:
            jobs = [
                pool.submit(hold, checked, Path(folder) / f"run{number}", duration)
                for number in range(options.runs)
            ]
            kept = [job.result() for job in jobs]
    for each in kept:
        print(f"{each.took:.0f} s {beside(options.loops)}: {each.outcome} {each.off}")
    whole = all(each.completed for each in kept)
    ended = "all played to their end, no false OFF" if whole else "NOT PLAYED TO THE END"
    hours, silence = sum(each.took for each in kept) / 3600.0, max(each.silence for each in kept)
    print(f"{hours:.2f} h: longest silence of a run {silence:.3f} s ({SILENCE:g} s counts as dead): {ended}")
    return 0 if whole else 1


if __name__ == "__main__":
    sys.exit(main())
