"""All tests: run_tests.py [OPTIONS of pytest for the tests that do not work against real time].

Tests that work against real time mostly wait: two at a time leave most of two cores idle. All others play
meanwhile with little more than what is left (a niceness of 10). Not with that alone: one that runs a guard
has to give it a sign of life within a second, or the guard ends it. They wait for a fifth of their time,
hence three of them.
A test that works against real time and fails is played again with nothing beside it, and that decides.

No shell script: what a shell starts with `&` ignores Ctrl-C, and so would all that the tests start.
"""

from __future__ import annotations

import subprocess
import sys
from tempfile import TemporaryFile

PYTEST = [sys.executable, "-m", "pytest"]
REAL_TIME = [*PYTEST, "-q", "-o", "cache_dir=.pytest_cache/real-time", "-m", "alone"]
OTHERS = ["nice", "-n", "10", *PYTEST, "-n", "3", "--dist", "worksteal", "-m", "not alone"]


def main() -> int:
    """Run both, show what the first said after what the others did, and tell whether all is well."""
    with TemporaryFile() as said:
        beside = [*REAL_TIME, "-n", "2", "--dist", "worksteal"]
        with subprocess.Popen(beside, stdout=said, stderr=said) as first:
            others = subprocess.run([*OTHERS, *sys.argv[1:]], check=False).returncode
        said.seek(0)
        sys.stdout.write(said.read().decode("utf-8", "replace"))
        sys.stdout.flush()
    failed = first.returncode
    if failed == 1:
        again = ["--last-failed", "--last-failed-no-failures", "none"]
        failed = subprocess.run([*REAL_TIME, *again], check=False).returncode
    return int(bool(others or failed))


if __name__ == "__main__":
    sys.exit(main())
