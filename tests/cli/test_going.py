"""A run that still goes on is said to, and nothing is written; once its process has ended it is not."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.cli.test_killed_run import killed
from tests.said import says
from typer.testing import Result

from railwright.guard.journal import Journal
from railwright.records.going import going_on, who_goes_on
from railwright.records.manifest import files_of
from railwright.records.stored import NoRun, open_run


@pytest.mark.parametrize("command", [("evaluate",), ("report",), ("export", "--to", "csv")])
def test_nothing_is_read_or_written_of_a_run_that_goes_on(
    cli: Callable[..., Result], tmp_path: Path, command: tuple[str, ...]
) -> None:
    place = killed(tmp_path / "stored", clock=100.0)
    before = files_of(place)
    with going_on(place / "log.ndjson"):
        result = cli(command[0], place, *command[1:])
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    assert says(line, str(place), "a run that still goes on")
    assert files_of(place) == before
    assert open_run(place).complete is False


def test_a_guard_that_lives_is_seen_by_its_journal(tmp_path: Path) -> None:
    place = killed(tmp_path / "stored", clock=100.0)
    journal = Journal()
    journal.open(place / "guard.ndjson", place / "reserve.part")
    journal.write({"time": 102.0, "kind": "off"})
    while not who_goes_on(place):
        pass
    with pytest.raises(NoRun, match="whose guard still switches off"):
        open_run(place)
    journal.close({"time": 103.0, "kind": "over", "goodbye": False})
    assert who_goes_on(place) == ""
    assert open_run(place).complete is False


@pytest.mark.slow
def test_a_lock_goes_with_its_process(tmp_path: Path) -> None:
    """By the system's own lock, taken in another process that is killed."""
    place = killed(tmp_path / "stored", clock=100.0)
    held = (
        "import fcntl, sys; f = open(sys.argv[1]); fcntl.flock(f, fcntl.LOCK_EX); print(flush=True); input()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", held, place / "log.ndjson"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as other:
        assert other.stdout is not None
        other.stdout.readline()
        with pytest.raises(NoRun, match="still goes on"):
            open_run(place)
        other.kill()
    assert open_run(place).complete is False
