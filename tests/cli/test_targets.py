"""A file that a command read is never written over by it, whatever name the option gives it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.bench import BENCH, DEVICE, PROCEDURE, copy_demo

NAMES = (PROCEDURE, DEVICE, BENCH)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy_demo(tmp_path)
    os.symlink("quay.bench.yaml", tmp_path / "link.csv")
    os.link(tmp_path / "tide-gauge.device.yaml", tmp_path / "other-name.csv")
    return tmp_path


@pytest.mark.parametrize(
    ("command", "option", "target"),
    [
        (["rehearse", NAMES[0]], "--csv", NAMES[1]),
        (["rehearse", NAMES[0]], "--csv", "link.csv"),
        (["rehearse", NAMES[0]], "--csv", "other-name.csv"),
        (["rehearse", NAMES[0]], "--csv", f"./{NAMES[0]}"),
        (["waveform", NAMES[0]], "--to", "link.csv"),
        (["waveform", NAMES[0]], "--table", NAMES[2]),
        (["twin", NAMES[2], "--free-ports"], "--truth", NAMES[2]),
        (["twin", NAMES[2], "--procedure", NAMES[0], "--free-ports"], "--truth", NAMES[1]),
    ],
)
def test_a_file_that_was_read_is_not_written(
    folder: Path, command: list[str], option: str, target: str
) -> None:
    before = {name: (folder / name).read_bytes() for name in NAMES}
    done = subprocess.run(
        [sys.executable, "-m", "railwright", *command, option, target],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 2, done.stdout + done.stderr
    assert done.stderr.startswith(f"{option}: expected a file that is not read here")
    assert {name: (folder / name).read_bytes() for name in NAMES} == before
    assert not [*folder.glob("*.part")]
