"""What happens once a procedure is over and everything is switched off is none of its figures.

The truth is a count: a converter that runs to the end has not stopped while the procedure was played,
whatever it does as its capacitor runs empty (common practice, no source).
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from tests.bench import BENCH, PROCEDURE, demo_with

from railwright.rehearsal.rehearse import rehearse
from railwright.settings.settle import settle

TODAY = dt.date(2026, 11, 25)


@pytest.mark.parametrize(
    ("edits", "stops"),
    [
        ((), 1),
        (((BENCH, "bleeder: 1 kohm", "bleeder: 100 ohm"),), 1),
        (((PROCEDURE, "- hold: 2 s", "- hold: 500 ms"),), 1),
        (((PROCEDURE, "line_to: 6 V", "line_to: 8 V"),), 0),
    ],
    ids=["as it is", "it runs empty sooner", "a shorter hold", "it never stops"],
)
def test_only_what_happens_in_the_procedure_counts(
    edits: tuple[tuple[str, str, str], ...], stops: int, tmp_path: Path
) -> None:
    """The brown-out goes below 7.6 V, where the converter stops, once or not at all."""
    documents = demo_with(tmp_path, *edits)
    found = rehearse(documents, settle(documents, TODAY).set_points)
    assert found.inputs["main"].stops == stops
    assert found.inputs["main"].starts == stops + 1
