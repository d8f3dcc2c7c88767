"""`railwright warm-up`, and the line before a compilation that takes long.

What is compiled takes half a minute, so it is compiled by a stand-in here: plain Python, or a small function.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.bench import PROCEDURE
from typer.testing import Result

from railwright.cli import checking
from railwright.cli.exits import BadInput
from railwright.compilation import FLOAT, compile_kept
from railwright.compiled_cache import announce

Cli = Callable[..., Result]

STAND_IN = """
import functools, json, sys
import railwright.compilation as compilation

made, called = {}, []

def compile_kept(function, takes, name, sources, seconds=None):
    assert all(path.is_file() for path in sources)
    made[function.__name__] = seconds

    @functools.wraps(function)
    def stand_in(*arguments):
        called.append(function.__name__)
        return function(*arguments)

    return stand_in

compilation.compile_kept = compile_kept
from railwright.cli.app import app
try:
    app(sys.argv[1:])
finally:
    print(json.dumps({"made": made, "called": sorted(set(called))}), file=sys.stderr)
"""


def warmed_up(folder: Path, *options: str) -> tuple[subprocess.CompletedProcess[str], dict[str, Any]]:
    """The command without a compiler, what it would have compiled, and what of it was called."""
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(filter(None, sys.path)),
        "NUMBA_DISABLE_JIT": "1",
        "RAILWRIGHT_CACHE": str(folder),
    }
    command = [sys.executable, "-c", STAND_IN, "warm-up", *options]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done, json.loads(done.stderr.splitlines()[-1])


def test_it_calls_everything_that_is_compiled(tmp_path: Path) -> None:
    done, seen = warmed_up(tmp_path)
    assert {"play", "_play_cases", "tunnel_lines", "_steps", "_fewest"} <= set(seen["made"])
    assert sorted(seen["made"]) == seen["called"]
    announced = {name for name, seconds in seen["made"].items() if seconds is not None}
    assert announced == {"play", "_play_cases"}
    *parts, last = done.stdout.splitlines()
    assert [line.split(":")[0] for line in parts] == ["solver", "solver of ensembles", "point lists"]
    assert last == f"compiled code: {tmp_path}"


def test_quiet_it_says_where_the_code_is(tmp_path: Path) -> None:
    done, _ = warmed_up(tmp_path, "--quiet")
    assert done.stdout == f"compiled code: {tmp_path}\n"


def test_a_cache_that_cannot_be_written_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cli: Cli
) -> None:
    (tmp_path / "file").write_text("", "utf-8")
    monkeypatch.setenv("RAILWRIGHT_CACHE", str(tmp_path / "file"))
    result = cli("warm-up")
    assert result.exit_code == 2
    expected = "expected a folder that can be written; name another by RAILWRIGHT_CACHE"
    assert result.stderr == f"{tmp_path / 'file'}: {expected}\n"


@pytest.fixture
def _silent_afterwards() -> Iterator[None]:
    yield
    announce(None)


@pytest.mark.usefixtures("_silent_afterwards")
def test_a_command_that_has_to_compile_says_so_on_standard_error_once(
    documents: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cli: Cli
) -> None:
    monkeypatch.setenv("RAILWRIGHT_CACHE", str(tmp_path / "cache"))

    def rehearsing(*given: Any, **options: Any) -> Any:
        assert compile_kept(stand_in_of_the_solver, [FLOAT], "of-a-test", [], seconds=20.0)(2.0) == 1.0
        raise BadInput("played")

    monkeypatch.setattr(checking, "check_documents", rehearsing)
    first, second = cli("check", PROCEDURE), cli("check", PROCEDURE)
    assert first.stderr.splitlines() == ["compiling once, about 20 s", "played"]
    assert second.stderr.splitlines() == ["played"]
    assert first.stdout == second.stdout == ""


def stand_in_of_the_solver(value: float) -> float:
    return value / 2.0
