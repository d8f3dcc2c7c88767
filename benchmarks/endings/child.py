"""The process of one run, forked from a server that has everything imported already."""

from __future__ import annotations

import os
import pickle
import signal
import sys
import traceback
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from benchmarks.endings.moments import Moments, default_signals, noting, signalling

from railwright.running.runner import run


@dataclass(frozen=True)
class Kill:
    """Who gets which signal, at which message of which phase; no victims: nobody does."""

    victims: tuple[str, ...] = ()
    signal: int = signal.SIGKILL
    phase: str = ""
    number: int = 0
    manner: str = "after"
    cut: float = 0.5


@dataclass(frozen=True)
class Job:
    """One run. checked: file with the pickled documents, set points and settings."""

    checked: Path
    folder: Path
    runtime: Path
    kill: Kill = field(default_factory=Kill)


def play(job: Job, notes: Connection) -> None:
    """Play the run of a job; what becomes of it is noted, as far as it comes to that."""
    note = noting(notes.fileno())
    default_signals()
    os.setsid()
    os.environ["RAILWRIGHT_RUNTIME"] = str(job.runtime)
    kill = job.kill
    moments = Moments(
        note, kill.phase, kill.number, kill.manner, kill.cut, signalling(kill.victims, kill.signal)
    )
    moments.install()
    code = 0
    try:
        documents, set_points, settings = pickle.loads(job.checked.read_bytes())
        given: dict[str, Any] = {"unit": "U-1", "operator": "benchmark", "settings": settings}
        outcome = run(documents, set_points, folder=job.folder, wait_for_lost=2.0, **given)
        note(
            "outcome",
            ended=outcome.ended,
            cause=outcome.cause,
            off_confirmed=outcome.off_confirmed,
            not_confirmed=outcome.not_confirmed,
            counts=moments.counts,
        )
    except BaseException:  # noqa: BLE001 - whatever it is, it belongs into the table
        note("failed", why=traceback.format_exc()[-1500:])
        code = 1
    sys.stdout.flush()
    os._exit(code)
