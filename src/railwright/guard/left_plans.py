"""Off plans that lie in the runtime folder: each guard writes its own, and takes it away when it ends by
itself. One whose guard was killed stays, for whoever switches off by hand.
"""

from __future__ import annotations

import os
import re
import signal
import stat
from contextlib import suppress
from pathlib import Path

from railwright.guard.off_plan import OffPlan

LARGEST_PLAN = 5_000_000
"""Bytes that a plan may have."""

_NAME = re.compile(r"plan-(\d+)\.json")


def plan_path(folder: Path, guard: int) -> Path:
    """Where the guard with this process number writes its plan."""
    return folder / f"plan-{guard}.json"


def read_plan(path: Path) -> OffPlan | None:
    """A plan that was written to a file; None where there is none, or none that can be read."""
    try:
        # The folder is everybody's: a pipe that lies there must hold nobody up.
        with open(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC), "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                return None
            return OffPlan.from_json(file.read(LARGEST_PLAN).decode())
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def left_plans(folder: Path) -> list[tuple[Path, OffPlan]]:
    """The plans of guards that are no longer there, the newest first."""
    found: list[tuple[float, Path, OffPlan]] = []
    with suppress(OSError):
        for path in folder.iterdir():
            name = _NAME.fullmatch(path.name)
            if name is None or is_guard(int(name[1])):
                continue
            plan = read_plan(path)
            if plan is not None:
                with suppress(OSError):
                    found.append((path.stat().st_mtime, path, plan))
    return [(path, plan) for _, path, plan in sorted(found, key=lambda each: each[0], reverse=True)]


def forget_left_plans(folder: Path, newer: Path) -> None:
    """Take away what earlier guards left for any address of a newer plan. No name is looked up for it."""
    mine = _written(read_plan(newer))
    for path, left in left_plans(folder):
        if path != newer and mine & _written(left):
            with suppress(OSError):
                path.unlink()


def _written(plan: OffPlan | None) -> frozenset[str]:
    """The addresses of a plan as they were written."""
    return (
        frozenset(each.address.strip().upper() for each in plan.supplies) if plan is not None else frozenset()
    )


def is_guard(process: int) -> bool:
    """Whether a process of this number is there and is a guard, as far as it can be seen."""
    try:
        command = Path(f"/proc/{process}/cmdline").read_bytes().split(b"\0")
    except FileNotFoundError:
        # Without /proc, one that is there counts as a guard: its plan is then taken for one in use.
        return not Path("/proc/self").exists() and _is_there(process)
    except OSError:
        return False
    return b"railwright.guard" in command


def end_guard(process: int) -> str:
    """End a guard that is in the way; '' where that was done, else why not."""
    try:
        descriptor = os.pidfd_open(process)
    except ProcessLookupError:
        return ""
    except (OSError, AttributeError) as error:
        return f"process {process} cannot be ended here ({error})"
    try:
        # Looked at after it was opened: no other process can have taken its number since.
        if not is_guard(process):
            return f"process {process} is no guard of Railwright"
        signal.pidfd_send_signal(descriptor, signal.SIGKILL)
    except ProcessLookupError:
        return ""
    except OSError as error:
        return f"process {process} cannot be ended: {error.strerror}"
    finally:
        os.close(descriptor)
    return ""


def _is_there(process: int) -> bool:
    try:
        os.kill(process, 0)
    except PermissionError:
        return True
    except OSError:
        return False
    return True
