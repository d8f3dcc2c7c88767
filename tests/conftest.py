"""What every test gets: locks and off plans in a folder of their own, and the line between quick and slow."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from tests.bench import EXAMPLE, PROCEDURE, demo_with
from tests.slow import ALONE, QUICK, has_alone, is_slow

from railwright.collection import THRESHOLD
from railwright.dialects.files import USER_FOLDER
from railwright.documents.loader import Documents, load_documents

gc.set_threshold(*THRESHOLD)  # as in a command: looking for garbage was a tenth of the time


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """What is left out is not even imported."""
    wanted = config.option.markexpr
    out = (wanted == QUICK and is_slow(collection_path)) or (
        wanted == ALONE and not has_alone(collection_path)
    )
    return True if out else None


def pytest_collection_finish() -> None:
    """What was imported and collected stays: nobody has to look through it for garbage."""
    gc.freeze()


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
    """A test that starts a program or connects to a supply is marked as slow (tests/slow.py)."""
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


@pytest.fixture(scope="session", autouse=True)
def _user_folder() -> Iterator[None]:
    """No dialects, and nothing proved, of whoever runs the tests."""
    with (
        TemporaryDirectory(prefix="rw-", ignore_cleanup_errors=True) as folder,
        pytest.MonkeyPatch.context() as patch,
    ):
        patch.setenv(USER_FOLDER, folder)
        yield


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
