"""A process in which one tree's program runs: asked and answering in lines of JSON.

    PYTHONPATH=TREE:REPOSITORY python -m benchmarks.same_outcomes.worker FOLDER COMMANDS

FOLDER becomes the working directory. COMMANDS are arguments of the program, a JSON list of lists, that warm
it up: every request runs in a fork of a process in which they have run, so that nothing that one job leaves
behind reaches the next, and nothing is imported or compiled anew.
"""

from __future__ import annotations

import json
import os
import runpy
import signal
import sys
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO

LIMIT = 900
"""Seconds after which a request is given up: the kernel ends its process."""

FAULT = 70
"""Exit code of a request that raised what the program itself does not handle."""


def command(arguments: list[str]) -> int:
    """`python -m railwright ARGUMENTS`, its exit code."""
    sys.argv = ["railwright", *arguments]
    try:
        runpy.run_module("railwright", run_name="__main__")
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(end.code is not None)
    return 0


def forked(work: Callable[[], int]) -> dict[str, Any]:
    """Do it in a fork: its exit code (less than 0: the signal that ended it), standard output and error."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        child = os.fork()
        if child == 0:
            _child(work, out, err)
        _, status = os.waitpid(child, 0)
        texts = []
        for file in (out, err):
            file.seek(0)
            texts.append(file.read().decode(errors="replace"))
    return {"code": os.waitstatus_to_exitcode(status), "out": texts[0], "err": texts[1]}


def _child(work: Callable[[], int], out: BinaryIO, err: BinaryIO) -> None:
    code = FAULT
    try:
        signal.alarm(LIMIT)
        os.dup2(out.fileno(), 1)
        os.dup2(err.fileno(), 2)
        code = work()
    except BaseException:  # noqa: BLE001 - whatever it is, it is told, and the process ends here
        traceback.print_exc()
    finally:
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
        os._exit(code)


def answer(request: dict[str, Any]) -> dict[str, Any]:
    """What one request comes to."""
    if request["do"] == "command":
        return forked(lambda: command(request["arguments"]))
    # What follows uses the tree's own modules, and is imported where it is used: the others need none.
    from benchmarks.same_outcomes import tree

    if request["do"] == "play":
        return forked(lambda: tree.play(request))
    return forked(lambda: shown(tree.vocabulary()))


def shown(data: dict[str, list[str]]) -> int:
    """Print it as JSON."""
    print(json.dumps(data))
    return 0


def main() -> None:
    """Warm up, say where the program lies, and answer until nothing more is asked."""
    told = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    os.chdir(sys.argv[1])
    import railwright

    # In this process itself, so that every fork finds modules imported and compiled code loaded.
    with open(os.devnull, "w") as nowhere:
        kept = [os.dup(number) for number in (1, 2)]
        for number in (1, 2):
            os.dup2(nowhere.fileno(), number)
        for arguments in json.loads(sys.argv[2]):
            command(arguments)
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
        for number, copy in zip((1, 2), kept, strict=True):
            os.dup2(copy, number)
    ready = {"tree": str(Path(railwright.__file__ or "").absolute().parents[1])}
    print(json.dumps(ready), file=told, flush=True)
    for line in sys.stdin:
        print(json.dumps(answer(json.loads(line))), file=told, flush=True)


if __name__ == "__main__":
    main()
