"""`railwright run` in a process of its own: where its streams lead, under which limits, and its moments."""

from __future__ import annotations

import ctypes
import datetime
import fcntl
import io
import os
import pickle
import resource
import sys
import termios
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from benchmarks.endings.moments import Moments, default_signals, noting

CHECKING = 0.5
"""How long the check takes where it is the moment itself [s]."""


@dataclass(frozen=True)
class Command:
    """One command. checked: file with the pickled result of its check, which is not done again.

    phase, number: the message at which its moment has come; phase `check`: while it checks. streams: path of
    each standard stream, '' for one that is closed; terminal: whether they are its controlling terminal.
    step: by how much its wall clock jumps at the moment [s]. largest: of a file that it may write [bytes].
    obeys_modes: what a folder's mode forbids is forbidden also where root starts it.
    """

    procedure: Path
    checked: Path
    folder: Path
    runtime: Path
    phase: str = ""
    number: int = 0
    options: tuple[str, ...] = ()
    streams: tuple[str, str, str] = (os.devnull, os.devnull, os.devnull)
    terminal: bool = False
    encoding: str = "utf-8"
    step: float = 0.0
    largest: int = 0
    obeys_modes: bool = False
    environment: Mapping[str, str] = field(default_factory=dict)


def play_command(command: Command, notes: Connection) -> None:
    """Become the command: all but the interpreter's start and the imports is as if a shell had started it."""
    note = noting(notes.fileno())
    default_signals()
    os.setsid()
    os.environ["RAILWRIGHT_RUNTIME"] = str(command.runtime)
    os.environ |= {"TERM": "xterm", "COLUMNS": "100", **command.environment}
    if command.largest:
        resource.setrlimit(resource.RLIMIT_FSIZE, (command.largest, command.largest))
    if command.obeys_modes:
        _obey_modes()
    _connect(command)
    moments = Moments(note, command.phase, command.number, act=lambda moments: _step(moments, command.step))
    moments.install()
    _have_checked(command, moments)
    note("ready")
    sys.argv = [
        "railwright",
        "run",
        str(command.procedure),
        "--unit=U-1",
        "--operator=benchmark",
        f"--folder={command.folder}",
        *command.options,
    ]
    from railwright.cli import main

    code = 0
    try:
        main()
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    except BaseException as error:  # noqa: BLE001 - whatever it is, it belongs into the table
        note("failed", why=f"{type(error).__name__}: {error}")
        code = 99
    note("over", time=time.monotonic(), code=code)
    os._exit(code)


def _connect(command: Command) -> None:
    """Open the standard streams anew, with the numbers that they have everywhere."""
    for number, path in enumerate(command.streams):
        os.close(number)
        if not path:
            continue
        flags = (os.O_RDONLY, os.O_WRONLY | os.O_APPEND)[number > 0]
        opened = os.open(
            path, os.O_RDWR if command.terminal else flags | (os.O_CREAT if number else 0), 0o666
        )
        if opened != number:  # one before it is closed
            os.dup2(opened, number)
            os.close(opened)
        if number == 0 and command.terminal:
            fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    for name, number in (("stdout", 1), ("stderr", 2)):
        stream = None
        if command.streams[number]:
            raw = io.FileIO(number, "w", closefd=False)
            stream = io.TextIOWrapper(io.BufferedWriter(raw), command.encoding, line_buffering=number == 2)
        setattr(sys, name, stream)
        setattr(sys, f"__{name}__", stream)


def _have_checked(command: Command, moments: Moments) -> None:
    """The check gives what it gave before; where it is the moment itself it takes a while."""
    from railwright.cli import checking

    def check(procedure: Path, **given: Any) -> Any:
        if command.phase == "check":
            moments.come()
            end = time.monotonic() + CHECKING
            while time.monotonic() < end:
                time.sleep(0.01)
        return pickle.loads(command.checked.read_bytes())

    checking.check_documents = check


def _step(moments: Moments, by: float) -> None:
    """Let this process's time of day jump."""
    if not by:
        return
    real_time, real = time.time, datetime.datetime
    now: Callable[..., datetime.datetime] = real.now

    class Stepped(real):  # type: ignore[misc, valid-type]
        """The time of day, off by so much."""

        @classmethod
        def now(cls, tz: datetime.tzinfo | None = None) -> datetime.datetime:
            return now(tz) + datetime.timedelta(seconds=by)

    time.time = lambda: real_time() + by
    datetime.datetime = Stepped  # type: ignore[misc]
    if moments.conduct is not None:
        # It holds on to the function that it was made with.
        moments.conduct.clocks.time_of_day = time.time


DAC_OVERRIDE, DAC_READ_SEARCH = 1, 2
"""Capabilities by which root may read and write what modes forbid: linux/capability.h."""

CAPABILITY_VERSION, DROP_FROM_BOUNDING_SET = 0x20080522, 24


def _obey_modes() -> None:
    """Give up, for this process and all that it starts, what lets root write into a read-only folder."""
    library = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(CAPABILITY_VERSION, 0)
    sets = (ctypes.c_uint32 * 6)()  # effective, permitted, inheritable: the lower halves, then the upper
    if library.capget(header, sets):
        raise OSError(ctypes.get_errno(), "capget")
    for each in (DAC_OVERRIDE, DAC_READ_SEARCH):
        library.prctl(DROP_FROM_BOUNDING_SET, each, 0, 0, 0)
        for place in range(3):
            sets[place] &= ~(1 << each)
    if library.capset(header, sets):
        raise OSError(ctypes.get_errno(), "capset")
