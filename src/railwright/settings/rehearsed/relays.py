"""Rehearsed rules about relays: whether a contact that is not rated for load is moved without any, and what
flows as one closes.
"""

from __future__ import annotations

import numpy as np

from railwright.plan.off_order import off_threshold
from railwright.quantities import state
from railwright.rehearsal.surges import ClosingSurge
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rehearsed.view import Rehearsed
from railwright.settings.rule import Hit, Outcome, Path, Unknown, rule
from railwright.settings.rules.contacts import at_contact, moved_contacts


@rule("relay-waits", Severity.CAUTION, on_sheet=False, worst=Ranking("standing"))
def relay_waits(rehearsed: Rehearsed) -> Outcome:
    """A contact that is not rated to switch under load is to be moved while its input is off, and its voltage
    has not fallen yet: the run waits for that, as the rehearsal does not, and later steps start later.
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
                    "waits until it reads off, and later steps start later than rehearsed",
                    standing=(stands, "V"),
                    input=lies.input,
                    contact=lies.name,
                    move="close" if change.closed else "open",
                    step=context.timeline.spans[change.step].name,
                ),
                "put a hold before it, long enough for the voltage to fall",
            )


def _judged(
    rehearsed: Rehearsed, surge: ClosingSurge, path: Path, what: str, bears: str, borne: float, more: str
) -> Outcome:
    """More flows than something bears [A], and more than the current limit lets through: what the load may
    draw all along is no surge, and is judged by the limit. more: what else would help.
    """
    contact, name = surge.move.lies.name, surge.move.lies.input
    lets_through = rehearsed.context.sources[name].at_most(rehearsed.context.feeds[name].limit)
    if surge.most > max(borne, lets_through):
        yield Hit(
            name,
            path,
            state(
                "rehearsed, up to {nominal} flow as '{contact}' closes onto {input}, in the worst of "
                "{corners} corners of the tolerances {surge}: the output's own capacitor gives that before "
                "the current limit responds; {what} {bears} {borne}",
                contact=contact,
                input=name,
                nominal=(surge.nominal, "A"),
                corners=surge.corners,
                surge=(surge.most, "A"),
                what=what,
                bears=bears,
                borne=(borne, "A"),
            ),
            f"close '{contact}' before {name} is switched on, or at 0 V, and let the voltage rise then{more}",
        )


@rule("closing-surge", Severity.STOP, worst=Ranking("surge", over="borne"))
def closing_surge(rehearsed: Rehearsed) -> Outcome:
    """A contact closes onto an input while a voltage stands at its output, and more flows than does the input
    no harm: the output's own capacitor gives it through the lead before the current limit responds.
    """
    for surge in rehearsed.surges:
        source = rehearsed.context.sources[surge.move.lies.input]
        path, borne = (*source.at_input, "current", "at_most"), source.input.current.at_most
        if borne is None:
            check = f"the surge as '{surge.move.lies.name}' closes"
            yield Unknown(source.name, path, "the current that does the input no harm (at_most)", check)
        else:
            charged = ", or put a resistor in the lead until it is charged"
            yield from _judged(rehearsed, surge, surge.move.change.at, "the input", "bears", borne, charged)


@rule("contact-making-current", Severity.CAUTION, worst=Ranking("surge", over="borne"))
def contact_making_current(rehearsed: Rehearsed) -> Outcome:
    """A contact closes onto an input while a voltage stands at its output, and more flows than it is rated
    for, d.c.: that rating does not say what it makes for a short time, and one that welds stays closed.
    """
    for surge in rehearsed.surges:
        lies = surge.move.lies
        if (rated := lies.contact.current) is not None:
            at = at_contact(lies, "current")
            yield from _judged(rehearsed, surge, at, f"'{lies.name}'", "is rated, d.c., for", rated, "")
