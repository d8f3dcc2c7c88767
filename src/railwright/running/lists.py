"""Point lists on their way into the outputs of an input, and into the record."""

from __future__ import annotations

from collections.abc import Sequence

from railwright.plan.listing import Listing
from railwright.running.recorder import RunRecorder
from railwright.running.rig import Rig
from railwright.traces import Span


def load_list(rig: Rig, recorder: RunRecorder, spans: Sequence[Span], listing: Listing) -> None:
    """Load and verify a list, and write down what was loaded. spans: of the plan's steps."""
    rig.load(listing)
    recorder.write(
        "point list",
        input=listing.input,
        step=spans[listing.step].name,
        between=listing.points.between,
        count=listing.count,
        voltages=listing.points.voltages.tolist(),
        dwells=listing.points.dwells.tolist(),
    )
