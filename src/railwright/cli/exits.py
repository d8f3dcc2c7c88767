"""Exit codes, and the one place where a known error becomes a line and a code."""

from __future__ import annotations

import contextlib
import functools
import sys
from collections.abc import Callable
from enum import IntEnum
from pathlib import Path
from typing import Any

from railwright.cli.streams import loss_of
from railwright.printable import printable


class Exit(IntEnum):
    """What a command's exit code says."""

    DONE = 0
    FAILED = 1
    BAD_INPUT = 2
    STOPPED = 3
    INSTRUMENT = 4
    INCONCLUSIVE = 5
    OFF_NOT_CONFIRMED = 6
    FAULT = 70

    @property
    def meaning(self) -> str:
        return _MEANINGS[self]


_MEANINGS = {
    Exit.DONE: "done, and every requirement passed",
    Exit.FAILED: "a requirement failed",
    Exit.BAD_INPUT: "bad input: a document, an option, a file",
    Exit.STOPPED: "stopped: a finding, a trip, a stop condition, a signal",
    Exit.INSTRUMENT: "an instrument or the communication with it",
    Exit.INCONCLUSIVE: "nothing failed, but something is inconclusive",
    Exit.OFF_NOT_CONFIRMED: "outputs could not be confirmed off: use the mains switch",
    Exit.FAULT: "a fault in Railwright itself (please report it with the trace)",
}

EXIT_CODES = "\b\nExit codes:\n" + "\n".join(f"{code.value:4d}  {code.meaning}" for code in Exit)


class BadInput(Exception):
    """Something the user gave is not usable; the message is the whole line that is printed."""


def expect_free(folder: Path) -> None:
    """BadInput where something is in a folder that is about to be filled, or where it is none."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadInput(
            f"{folder}: expected a folder that is empty or not there, got one in use; name another"
        )


class EndedWith(Exception):
    """The command ends here with a code of its own; the message is the whole lines that are printed."""

    def __init__(self, code: Exit, lines: str) -> None:
        super().__init__(lines)
        self.code = code


def say(line: object) -> None:
    """One line on standard output, at once; what would steer the terminal escaped."""
    print(printable(str(line)), flush=True)


def complain(line: str) -> None:
    """One line on standard error, or several that belong together; what would steer the terminal escaped."""
    print(printable(line), file=sys.stderr)


def code_of(error: BaseException) -> tuple[Exit, str] | None:
    """Exit code and lines for an error that is somebody's, not Railwright's; None for any other.

    Errors of a package that was never imported cannot have been raised, so nothing is imported for them.
    """
    for module, name, code in _KNOWN:
        known = getattr(sys.modules.get(module), name, None)
        if known is not None and isinstance(error, known):
            return code, str(error)
    match error:
        case BadInput():
            return Exit.BAD_INPUT, str(error)
        case EndedWith():
            return error.code, str(error)
        case KeyboardInterrupt():
            return Exit.STOPPED, str(error) or "stopped from the keyboard"
        case FileExistsError() if error.errno is None:
            return Exit.BAD_INPUT, str(error)
        case OSError() if error.filename is not None:
            return Exit.BAD_INPUT, f"{error.filename}: {error.strerror}"
    return None


_KNOWN = (
    ("railwright.documents.sources", "DocumentErrors", Exit.BAD_INPUT),
    ("railwright.documents.edit", "NotEdited", Exit.BAD_INPUT),
    ("railwright.job", "NotSettled", Exit.STOPPED),
    ("railwright.job", "Blocked", Exit.STOPPED),
    ("railwright.job", "NotWritten", Exit.BAD_INPUT),
    ("railwright.frames", "NotInstalled", Exit.BAD_INPUT),
    ("railwright.records.stored", "NoRun", Exit.BAD_INPUT),
    ("railwright.recordings.errors", "RecordingError", Exit.BAD_INPUT),
    ("railwright.evaluation.alignment", "AlignmentError", Exit.BAD_INPUT),
    ("railwright.physics.solver", "SolverError", Exit.BAD_INPUT),
    ("railwright.running.outcome", "FolderRefused", Exit.BAD_INPUT),
    ("railwright.running.outcome", "RunRefused", Exit.STOPPED),
    ("railwright.watching.bench_watch", "NotSelected", Exit.BAD_INPUT),
    ("railwright.instruments.errors", "InstrumentError", Exit.INSTRUMENT),
    ("railwright.dialects.dialect", "DialectError", Exit.BAD_INPUT),
    ("railwright.documents.proof_files", "ProofFileError", Exit.BAD_INPUT),
    ("railwright.running.energised", "OffNotConfirmed", Exit.OFF_NOT_CONFIRMED),
    ("railwright.twin.launcher", "GivenTruthError", Exit.BAD_INPUT),
    ("railwright.twin.launcher", "TwinError", Exit.INSTRUMENT),
)


_stands: list[Exit] = []


def stands(code: Exit) -> None:
    """The command's exit code from now on, whatever else happens: a Ctrl-C while the last lines are printed
    changes nothing of how a run ended.
    """
    _stands[:] = [code]


def guarded(command: Callable[..., Exit]) -> Callable[..., None]:
    """The command as typer calls it: its result becomes the exit code, known errors become lines.

    The code stands also where what the command printed was not read or not written: `streams.tolerate`.
    """

    @functools.wraps(command)
    def run(*args: Any, **options: Any) -> None:
        _stands.clear()
        try:
            code = command(*args, **options)
        except (Exception, KeyboardInterrupt) as error:  # noqa: BLE001 (an unknown one is shown whole)
            known = code_of(error)
            if _stands and isinstance(error, KeyboardInterrupt):
                code = _stands[0]
            elif known is None:
                import traceback  # late: --help and `off` need none of what it imports

                complain(traceback.format_exc().rstrip())
                complain("railwright: this is a fault in Railwright itself, not in your documents")
                code = Exit.FAULT
            else:
                code, lines = known
                complain(lines)
        with contextlib.suppress(KeyboardInterrupt):  # during the waiting for a slow reader: it ends that
            sys.stdout.flush()
            if loss := loss_of(sys.stdout):
                complain(f"caution: {loss}")
        raise SystemExit(int(code))

    return run
