"""Rehearsed rules about relays: whether a contact that is not rated for load is moved without any."""

from __future__ import annotations

import numpy as np

from railwright.plan.off_order import off_threshold
from railwright.quantities import state
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rehearsed.view import Rehearsed
from railwright.settings.rule import Hit, Outcome, rule
from railwright.settings.rules.contacts import moved_contacts


@rule("relay-waits", Severity.CAUTION, on_sheet=False, worst=Ranking("standing"))
def relay_waits(rehearsed: Rehearsed) -> Outcome:
    """A contact that is not rated to switch under load is to be moved while its input is off, and its voltage
    has not fallen yet: the run waits for that, as the rehearsal does not, and what follows comes later.
    """
    context = rehearsed.context
    for change, lies, _, on in moved_contacts(context):
        traces = rehearsed.record.traces.get(lies.input)
        # While it is on, a run refuses to move it: relay-under-load.
        if on or traces is None or lies.contact.under_load or not traces.time.size:
            continue
        stands = float(np.interp(change.time, traces.time, np.abs(traces.columns["terminal_voltage"])))
        if stands >= off_threshold(context.device, lies.input):
            yield Hit(
                lies.input,
                change.at,
                state(
                    "rehearsed, {standing} stand at {input} as '{contact}' is to {move} in '{step}': the run "
                    "waits until it reads off, and what follows comes later",
                    standing=(stands, "V"),
                    input=lies.input,
                    contact=lies.name,
                    move="close" if change.closed else "open",
                    step=context.timeline.spans[change.step].name,
                ),
                "put a hold before it, long enough for the voltage to fall",
            )
