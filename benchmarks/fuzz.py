"""Hostile input: messages, replies, documents, records and recordings with damage drawn by a seed.

What comes out is an answer or an error in words; anything else (a traceback, a hang, a control character that
reaches the terminal) is a finding, and the exit code is then 1. The last line gives the counts and the
largest resident size.

    python -m benchmarks.fuzz [--messages N] [--replies N] [--documents N] [--records N] [--seed S]
        [--also FOLDER]
"""

from __future__ import annotations

import argparse
import faulthandler
import sys
import time
from collections.abc import Callable
from pathlib import Path

from benchmarks.fuzzing import documents, messages, records, replies
from benchmarks.fuzzing.trial import Findings, peak


def main() -> int:
    """Run the parts that are asked for, and tell what they found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=500_000)
    parser.add_argument("--replies", type=int, default=50_000)
    parser.add_argument("--documents", type=int, default=5_000)
    parser.add_argument("--records", type=int, default=5_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--also", type=Path, action="append", default=[], help="a folder of documents to damage too"
    )
    given = parser.parse_args()
    faulthandler.enable()
    folders = (documents.EXAMPLE, *given.also)
    parts: tuple[Callable[[], Findings], ...] = (
        lambda: messages.run(given.seed, given.messages),
        lambda: replies.run(given.seed, given.replies),
        lambda: documents.run(given.seed, given.documents, folders),
        lambda: records.run(given.seed, given.records),
    )
    counts, found = [], 0
    for part in parts:
        begin = time.perf_counter()
        findings = part()
        for line in findings.lines():
            print(line)
        print(f"{findings.part}: {time.perf_counter() - begin:.0f} s, {peak():.0f} MB at most", flush=True)
        counts.append(f"{findings.tried} {findings.part}")
        found += len(findings.found)
    print(f"{', '.join(counts)}: {found} findings, {peak():.0f} MB at most")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
