"""Every entry of every shipped dialect changed in turn: the program speaks the changed one, the simulated
supplies the shipped one.

    python -m benchmarks.dialect_entries [--dialect NAME ...] [--every N] [--show VERDICT ...]

A run has to stop before anything is on, or what it rests on must not come out as proved with `dialect try
--provoke`; where it is played and all is proved, what it reports, sets and tells has to be true. Trips are
told of a second run, with a short. Virtual time; about a second a change. Every untrue case is shown, and
with --show those of another verdict. The last line counts: changed, stopped before anything was on, not
proved, came out true all the same, untrue. Exit code 1 where one is untrue.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

from benchmarks.changed_entries.changes import changes
from benchmarks.changed_entries.judge import NOT_PROVED, STOPPED, TRUE, UNTRUE, judged

from railwright.dialects.files import dialect_names

VERDICTS = (STOPPED, NOT_PROVED, TRUE, UNTRUE)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--dialect", action="append", choices=dialect_names(), default=[])
    parser.add_argument("--every", type=int, default=1, help="only each Nth change (default: each)")
    parser.add_argument("--show", action="append", choices=VERDICTS, default=[])
    given = parser.parse_args()
    whole: Counter[str] = Counter()
    for dialect in given.dialect or dialect_names():
        counts: Counter[str] = Counter()
        for change in list(changes(dialect))[:: given.every]:
            place = Path(tempfile.mkdtemp())
            try:
                came = judged(dialect, change, place)
            except Exception as error:
                raise RuntimeError(f"{dialect}: {change}") from error
            finally:
                shutil.rmtree(place, ignore_errors=True)
            counts[came.verdict] += 1
            if came.untrue or came.verdict in given.show:
                told = "; ".join(came.untrue) or came.why
                print(f"{dialect}: {change}: {came.verdict}: {told}", flush=True)
        print(f"{dialect}: {_counted(counts)}", flush=True)
        whole += counts
    print(_counted(whole))
    return 1 if whole[UNTRUE] else 0


def _counted(counts: Counter[str]) -> str:
    parts = ", ".join(f"{counts[verdict]} {verdict}" for verdict in VERDICTS)
    return f"{counts.total()} changed: {parts}"


if __name__ == "__main__":
    sys.exit(main())
