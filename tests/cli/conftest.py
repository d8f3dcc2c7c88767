"""The example's documents in a folder of their own, and the command line without a new process."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from tests.bench import copy_demo
from tests.bench import edit as edit_file
from typer.testing import CliRunner, Result

from railwright.cli.app import app


@pytest.fixture(scope="session", autouse=True)
def _compiled() -> None:
    """The solver is in the cache: no command says that it compiles it."""
    from railwright.physics.simulation import warm_up

    warm_up()


@pytest.fixture
def documents(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder, with copies of the example's documents in it."""
    copy_demo(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def edit(documents: Path) -> Callable[[str, str, str], int]:
    """Replace a piece of a document that is there once; the line it stands in."""

    def replace(name: str, old: str, new: str) -> int:
        return edit_file(documents / name, old, new)

    return replace


@pytest.fixture
def cli() -> Callable[..., Result]:
    """Call a command; its result with exit_code, stdout and stderr."""

    def call(*arguments: object) -> Result:
        return CliRunner().invoke(app, [str(argument) for argument in arguments])

    return call
