"""The example's documents in a folder of their own, and the command line without a new process."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from railwright.cli.app import app
from railwright.examples import example

PROCEDURE, BENCH, DEVICE = "power-input.procedure.yaml", "quay.bench.yaml", "tide-gauge.device.yaml"


@pytest.fixture(scope="session", autouse=True)
def _compiled() -> None:
    """The solver is in the cache: no command says that it compiles it."""
    from railwright.physics.simulation import warm_up

    warm_up()


@pytest.fixture
def documents(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder, with copies of the example's documents in it."""
    for document in example().glob("*.yaml"):
        shutil.copyfile(document, tmp_path / document.name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def edit(documents: Path) -> Callable[[str, str, str], int]:
    """Replace a piece of a document that is there once; the line it stands in."""

    def replace(name: str, old: str, new: str) -> int:
        path = documents / name
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {name}"
        path.write_text(text.replace(old, new), encoding="utf-8")
        return text[: text.index(old)].count("\n") + 1

    return replace


@pytest.fixture
def cli() -> Callable[..., Result]:
    """Call a command; its result with exit_code, stdout and stderr."""

    def call(*arguments: object) -> Result:
        return CliRunner().invoke(app, [str(argument) for argument in arguments])

    return call
