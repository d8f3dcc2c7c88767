"""What a session of pytest may do, and did, with a bench. Loaded at every start of pytest."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest


class EnergisedBench(NamedTuple):
    """The bench that may be energised in this session: its document, which unit is there, who is."""

    document: Path
    unit: str
    operator: str


BENCH = pytest.StashKey[EnergisedBench]()
"""There where a bench may be energised."""

RUNS = pytest.StashKey[list[str]]()
"""Lines of the runs on a bench, told at the end of the session."""


def bench_of(config: pytest.Config) -> EnergisedBench:
    """The bench that the command line asks for. UsageError, of one line, where it may not be energised."""
    bench = config.getoption("bench")
    typed = {str(each).partition("=")[0] for each in config.invocation_params.args}
    for option in ("--bench", "--energise"):
        if option not in typed:
            told = f"{option}: expected it on the command line itself, beside --bench FILE and --energise"
            raise pytest.UsageError(f"{told}, got none there; nothing was energised")
    of_workers = (config.getoption(name, default=None) for name in ("numprocesses", "tx", "dist"))
    if hasattr(config, "workerinput") or any(each not in (None, 0, [], "no") for each in of_workers):
        told = "expected one process, got parallel workers; leave -n, --tx and --dist out"
        raise pytest.UsageError(f"--energise: {told}; nothing was energised")
    if not Path(bench).is_file():
        raise pytest.UsageError(f"--bench: expected the file of a bench document, got '{bench}'")
    given = [config.getoption(name) or "" for name in ("bench_unit", "bench_operator")]
    for option, text in zip(("--bench-unit", "--bench-operator"), given, strict=True):
        if not text.strip():
            raise pytest.UsageError(f"{option}: expected it beside --energise, got none; write it")
    return EnergisedBench(Path(bench).resolve(), *given)
