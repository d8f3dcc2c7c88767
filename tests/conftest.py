"""What every test gets: locks and off plans in a folder of their own, and the line between quick and slow."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from tests.bench import EXAMPLE, PROCEDURE, demo_with

from railwright.documents.loader import Documents, load_documents

TESTS = Path(__file__).parent

JUDGE = "an outside program or a reference solution judges"
PROCESSES = "starts processes of its own"
REAL_TIME = "lasts as long as what it plays: fake supplies, a guard or a log in real time"
LONG = "works for long: thousands of cases, or code compiled for it"

SLOW = {
    "external": JUDGE,
    "test_fault_matrix.py": LONG,
    "test_fuzz.py": PROCESSES,
    "test_job.py": LONG,
    "test_notebook.py": PROCESSES,
    "test_same_outcomes.py": PROCESSES,
    "test_spread.py": PROCESSES,
    "test_wheel.py": PROCESSES,
    "test_compiled_cache.py": PROCESSES,
    "cli/test_demo.py": PROCESSES,
    "cli/test_detail.py": PROCESSES,
    "cli/test_evaluate_recordings.py": LONG,
    "cli/test_exits.py": PROCESSES,
    "cli/test_killed_run.py": PROCESSES,
    "cli/test_off.py": REAL_TIME,
    "cli/test_other_commands.py": REAL_TIME,
    "cli/test_printer.py": PROCESSES,
    "cli/test_printing.py": PROCESSES,
    "cli/test_rehearse_cases.py": LONG,
    "cli/test_streams.py": PROCESSES,
    "cli/test_warm_up.py": PROCESSES,
    "guard/test_alone.py": PROCESSES,
    "guard/test_locks.py": PROCESSES,
    "guard/test_process.py": PROCESSES,
    "guard/test_wire.py": REAL_TIME,
    "instruments": REAL_TIME,
    "physics/loads/test_new_load.py": LONG,
    "physics/test_energy.py": LONG,
    "physics/test_rosenbrock.py": LONG,
    "recordings/test_memory.py": PROCESSES,
    "rehearsal/test_ensemble.py": LONG,
    "running/test_hostile.py": REAL_TIME,
    "running/test_interruption.py": PROCESSES,
    "running/test_lists.py": REAL_TIME,
    "running/test_log.py": REAL_TIME,
    "running/test_one_bench.py": REAL_TIME,
    "running/test_one_command_a_message.py": REAL_TIME,
    "running/test_progress_that_fails.py": REAL_TIME,
    "running/test_readings.py": REAL_TIME,
    "running/test_runner.py": REAL_TIME,
    "running/test_stored.py": REAL_TIME,
    "running/test_waiting.py": REAL_TIME,
    "running/test_within_a_program.py": PROCESSES,
    "settings/first_power": LONG,
    "settings/hookup/test_random.py": LONG,
    "settings/windows/test_cases.py": LONG,
    "twin/test_launcher.py": REAL_TIME,
}
"""Folder or file of tests -> why `make test-fast` leaves it out."""

QUICK = "not slow and not alone"
"""The marker expression of `make test-fast`."""


def is_slow(path: Path) -> bool:
    return any(path == TESTS / name or TESTS / name in path.parents for name in SLOW)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """What is left out is not even imported."""
    return True if config.option.markexpr == QUICK and is_slow(collection_path) else None


def pytest_itemcollected(item: pytest.Item) -> None:
    if is_slow(item.path):
        item.add_marker(pytest.mark.slow)


_waited: list[str] = []
"""What the test that is going on has done and a quick one does not."""


def _hear(event: str, given: tuple[Any, ...]) -> None:
    if event == "subprocess.Popen":
        program = os.fsdecode(given[0] or given[1][0])
        if Path(program).name.startswith(("python", "bash", "sh", "railwright")):
            _waited.append(f"starts {program}")
    elif event == "socket.connect":
        _waited.append(f"connects to {given[1]}")


sys.addaudithook(_hear)


@pytest.fixture(autouse=True)
def _quick(request: pytest.FixtureRequest) -> Iterator[None]:
    """A test that starts a program or connects to a supply is marked: its folder or file stands in `SLOW`."""
    _waited.clear()
    yield
    marked = any(request.node.get_closest_marker(name) for name in ("slow", "alone"))
    assert marked or not _waited, f"not quick, so mark it slow: {_waited}"


@pytest.fixture(scope="session", autouse=True)
def _runtime_folder() -> Iterator[None]:
    # A short path: the name of a socket in it has to fit into a hundred bytes.
    with TemporaryDirectory(prefix="rw-", ignore_cleanup_errors=True) as folder:
        before = os.environ.get("RAILWRIGHT_RUNTIME")
        os.environ["RAILWRIGHT_RUNTIME"] = str(Path(folder))
        yield
        if before is None:
            del os.environ["RAILWRIGHT_RUNTIME"]
        else:
            os.environ["RAILWRIGHT_RUNTIME"] = before


@pytest.fixture(scope="session")
def documents() -> Documents:
    """The example's documents as they are."""
    return load_documents(EXAMPLE / PROCEDURE)


@pytest.fixture
def bench(tmp_path: Path) -> Callable[..., Documents]:
    """The example's documents with edits, in the test's folder: `bench((BENCH, old, new))`."""

    def made(*edits: tuple[str, str, str]) -> Documents:
        return demo_with(tmp_path, *edits)

    return made
