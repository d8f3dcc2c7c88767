"""A procedure without requirements is not judged, wherever that is said; one with any is."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.truth.saying import HEAD, played, station
from typer.testing import CliRunner

from railwright.archive.stored import evaluate_run, open_stored
from railwright.cli.commands import COMMANDS, application
from railwright.evaluation.outcome import Outcome

PROCEDURE = f"""procedure: Up and down
{HEAD}  - hold: 500 ms
    name: steady
  - power_down: {{order: [transducer, main], gap: 20 ms}}
record: {{every: 10 ms}}
"""
LEVEL = "requires:\n  - {name: level, measure: high_state_level, of: main, during: steady, between: %s}\n"


@pytest.mark.parametrize(
    ("requires", "outcome", "code"),
    [
        ("", Outcome.NOT_JUDGED, 5),
        ("requires: []\n", Outcome.NOT_JUDGED, 5),
        (LEVEL % "11.8 V .. 12.2 V", Outcome.PASS, 0),
        (LEVEL % "12.5 V .. 12.9 V", Outcome.FAIL, 1),
    ],
)
def test_what_is_judged(requires: str, outcome: Outcome, code: int, tmp_path: Path) -> None:
    with played(station(tmp_path, PROCEDURE + requires), seed=1) as (_, folder):
        assert evaluate_run(open_stored(folder), []).outcome is outcome
    for command in ("evaluate", "report"):
        done = CliRunner().invoke(application(COMMANDS), [command, str(folder)])
        assert done.exit_code == code, done.output
    # What a rehearsal predicts is the same; without requirements it has done all that was asked of it.
    rehearsed = CliRunner().invoke(
        application(COMMANDS), ["rehearse", str(tmp_path / "truth.procedure.yaml")]
    )
    assert rehearsed.exit_code == (0 if outcome is Outcome.NOT_JUDGED else code)
