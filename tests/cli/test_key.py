"""A key ends what is repeated, on a real terminal: a run of its own process behind a pseudo-terminal."""

from __future__ import annotations

import os
import pty
import select
import sys
import time
from pathlib import Path

import pytest
from tests.truth.small import fed_by, write

import railwright as rw

TURN, PATIENCE = 0.2, 90.0


def job(folder: Path) -> Path:
    hold = {"hold": f"{TURN / 2} s"}
    shape = {"input": "main", "segments": [{"step_to": "11 V"}, hold, {"step_to": "12 V"}, hold]}
    given = fed_by({"resistor": {"resistance": "30 ohm"}}, nominal="12 V")
    return write(
        folder,
        {"main": given},
        {
            "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
            "limits": {"main": {"current_limit": "2 A", "at_limit": "regulate", "ovp": "30 V"}},
            "steps": [
                {"power_up": {"order": ["main"], "settle": "200 ms"}, "name": "up"},
                {"shape": {**shape, "repeat_until": "key", "at_most": 200}, "name": "keyed"},
                {"power_down": {"order": ["main"]}},
            ],
            "record": {"every": "50 ms"},
        },
    )


@pytest.mark.alone
def test_enter_ends_a_repeated_shape_after_its_turn(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "railwright", "run", "--twins", "--unit", "K", "--operator", "O"]
    command += ["--folder", str(tmp_path / "run"), str(job(tmp_path / "job"))]
    child, terminal = pty.fork()
    if child == 0:
        os.execvpe(command[0], command, {**os.environ, "TERM": "xterm", "COLUMNS": "140"})
    shown, begun, pressed = b"", time.monotonic(), False
    since: float | None = None
    try:
        while time.monotonic() - begun < PATIENCE:
            if select.select([terminal], [], [], 0.1)[0]:
                try:
                    if not (more := os.read(terminal, 65536)):
                        break
                except OSError:  # the other end is closed
                    break
                shown += more
            if since is None and b"keyed" in shown:
                since = time.monotonic()
            if since is not None and not pressed and time.monotonic() - since > 1.5:
                os.write(terminal, b"\n")
                pressed = True
    finally:
        if time.monotonic() - begun >= PATIENCE:
            os.kill(child, 15)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        os.close(terminal)
    # 5: nothing is required of it, so that nothing is judged.
    assert pressed, shown[-2000:]
    assert code in (0, 5), shown[-2000:]
    keyed = rw.read_run(tmp_path / "run").record.span("keyed")
    lasted = keyed.end - keyed.start
    assert 1.0 < lasted < 10.0
    assert abs(lasted / TURN - round(lasted / TURN)) < 0.2
