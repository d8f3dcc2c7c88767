"""A cell is charged: its output is set to what stands there before it goes on, and does not go on at all where
nothing, or the wrong thing, stands there.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.running.charging import BLEEDS, Edit, played, written

from railwright.records.ended import Ended

AT_TERMINALS: Edit = ("procedure", "sense: at load", "sense: at terminals")
SLOWLY: Edit = ("procedure", "settle: 100 ms", "rise: 20 V/s, settle: 100 ms")


@pytest.mark.parametrize(
    ("edits", "seed"),
    [((), 1), ((AT_TERMINALS,), 2), ((SLOWLY,), 3), ((("device", "30 %", "80 %"),), 4)],
    ids=["sensed", "at terminals", "with a rise", "nearly full"],
)
def test_nothing_flows_out_of_the_cell(edits: tuple[Edit, ...], seed: int, tmp_path: Path) -> None:
    """Beside the bleeder, which takes as much while the output is off: by Ohm's law, in the fixture's words."""
    done = played(tmp_path / "run", written(tmp_path, *edits))
    assert done.outcome.ended is Ended.COMPLETED, done.outcome.cause
    assert done.least > BLEEDS
    assert len(done.said("source read")) == 1


OTHERWISE = {
    "a lead is open": ((), ("open",), {}, "no source is connected"),
    "wrong polarity": ((), ("reversed",), {}, "the wrong way round"),
    "below never_under": ((("device", "2.5 V", "3.5 V"),), (), {}, "must never be under"),
    "full": ((("device", "30 %", "100 %"),), (), {}, "full already"),
}


@pytest.mark.parametrize("name", OTHERWISE)
def test_what_must_not_be_charged_is_never_energised(name: str, tmp_path: Path) -> None:
    edits, faults, true, told = OTHERWISE[name]
    done = played(tmp_path / "run", written(tmp_path, *edits), faults, true)
    assert (done.outcome.ended, done.outcome.energised) == (Ended.STOPPED, False)
    assert told in done.outcome.cause
    assert "pass" not in done.outcomes
