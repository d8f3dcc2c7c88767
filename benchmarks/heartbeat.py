"""Whether a run and its guard stay alive for each other beside busy loops: no OFF by heart-beat alone.

    python -m benchmarks.heartbeat [--hours 0.05] [--loops 4]

A procedure that holds for so long, on two twins, beside processes that do nothing but compute. The last line
is the longest that the run gave its guard no sign of life, and whether the run was played to its end.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import re
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from benchmarks.endings.child import Job, play
from benchmarks.endings.lane import DOCUMENTS, PROCEDURE, Lane

from railwright.cli.checking import check_documents
from railwright.guard.core import SILENCE
from railwright.running.outcome import Ended


def compute() -> None:
    """A busy loop."""
    while True:
        pass


def procedure_of(place: Path, duration: float) -> Path:
    """The documents with a procedure that holds for so long [s]."""
    for path in DOCUMENTS.iterdir():
        (place / path.name).write_bytes(path.read_bytes())
    path = place / PROCEDURE
    text = re.sub(r"  - shape:.*?(?=  - power_down)", "", path.read_text("utf-8"), flags=re.DOTALL)
    path.write_text(text.replace("hold: 400 ms", f"hold: {duration:g} s"), "utf-8")
    return path


def main(given: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="benchmarks.heartbeat")
    parser.add_argument("--hours", type=float, default=0.05)
    parser.add_argument("--loops", type=int, default=4, help="busy loops beside it")
    options = parser.parse_args(given)
    duration = options.hours * 3600.0
    with tempfile.TemporaryDirectory() as folder:
        documents, place = Path(folder) / "documents", Path(folder) / "lane"
        documents.mkdir()
        place.mkdir()
        checked = check_documents(procedure_of(documents, duration), rehearsed=False)
        busy = [multiprocessing.Process(target=compute, daemon=True) for _ in range(options.loops)]
        with Lane(place, checked) as lane:
            for process in busy:
                process.start()
            began = time.monotonic()
            job = Job(lane.checked, lane.folder(), lane.runtime)
            story = lane.follow(job.folder, play, job, limit=duration + 120.0)
            took = time.monotonic() - began
            for process in busy:
                process.kill()
        outcome = story.note("outcome") or story.note("failed") or {"ended": f"code {story.code}"}
        journal = (job.folder / "guard.ndjson").read_text("utf-8").splitlines()
    over = json.loads(journal[-1])
    print(f"{took:.0f} s beside {options.loops} busy loops: {outcome}")
    completed = outcome.get("ended") == Ended.COMPLETED
    ended = "played to its end, no false OFF" if completed else "NOT PLAYED TO ITS END"
    silence = over.get("longest_silence", float("nan"))
    print(f"longest silence of the run {silence:.3f} s ({SILENCE:g} s counts as dead): {ended}")
    return 0 if completed else 1


if __name__ == "__main__":
    sys.exit(main())
