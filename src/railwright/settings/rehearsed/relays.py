"""Rehearsed rules about relays: whether a contact that is not rated for load is moved without any, and what
flows as one closes.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from railwright.plan.contacts import ContactMove, contact_moves, contacts_of
from railwright.plan.off_order import off_threshold
from railwright.quantities import state
from railwright.settings.context import FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rehearsed.view import Rehearsed
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule
from railwright.settings.rules.contacts import at_contact, moved_contacts

SMALLEST = 0.1
"""Voltage at the terminals from which on a contact closes onto something [V] (chosen)."""


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


class _Closing(NamedTuple):
    """A contact that closes under a voltage, the input behind it, and the most that flows until its step is
    over: nominally, and where the tolerances let most through [A].
    """

    move: ContactMove
    source: FedInput
    nominal: float
    most: float

    def hit(self, path: Path, what: str, bears: str, borne: float, more: str) -> Hit:
        """That more flows than something bears [A]. more: what else would help."""
        contact, name = self.move.lies.name, self.source.name
        return Hit(
            name,
            path,
            state(
                "rehearsed, up to {nominal} flow as '{contact}' closes onto {input}, at the worst of the "
                "tolerances {surge}: no current limit holds what the output's own capacitor gives; {what} "
                "{bears} {borne}",
                contact=contact,
                input=name,
                nominal=(self.nominal, "A"),
                surge=(self.most, "A"),
                what=what,
                bears=bears,
                borne=(borne, "A"),
            ),
            f"close '{contact}' before {name} is switched on, or at 0 V, and let the voltage rise then{more}",
        )


def _closings(rehearsed: Rehearsed) -> Iterator[tuple[_Closing]]:
    """Contacts that close while their input, or its output's capacitor, has a voltage. One that is not rated
    for that is moved when there is none.
    """
    context = rehearsed.context
    for move in contact_moves(contacts_of(context.documents, context.feeds), context.timeline):
        name = move.lies.input
        if not move.closed or not name or move.lies.needs_no_load or name not in rehearsed.record.traces:
            continue
        end = context.timeline.spans[move.change.step].end
        standing = rehearsed.record.traces[name].closed(move.change.time, move.time)
        if standing.time.size and np.abs(standing.columns["terminal_voltage"]).max() > SMALLEST:
            nominal, most = (
                float(np.abs(traces[name].closed(move.time, end).columns["current"]).max(initial=0.0))
                for traces in (rehearsed.record.traces, rehearsed.surging)
            )
            yield (_Closing(move, context.sources[name], nominal, max(nominal, most)),)


@rule("closing-surge", Severity.STOP, worst=Ranking("surge", over="borne"))
@of_every(_closings)
def closing_surge(closing: _Closing) -> Outcome:
    """A contact closes onto an input while a voltage stands at its output, and more flows than does the input
    no harm: the output's own capacitor charges the input's through the lead, which no current limit holds.
    """
    path, borne = (*closing.source.at_input, "current", "at_most"), closing.source.input.current.at_most
    if borne is None:
        check = f"the surge as '{closing.move.lies.name}' closes"
        yield Unknown(closing.source.name, path, "the current that does the input no harm (at_most)", check)
    elif closing.most > borne:
        charged = ", or put a resistor in the lead until it is charged"
        yield closing.hit(closing.move.change.at, "the input", "bears", borne, charged)


@rule("contact-making-current", Severity.CAUTION, worst=Ranking("surge", over="borne"))
@of_every(_closings)
def contact_making_current(closing: _Closing) -> Outcome:
    """A contact closes onto an input while a voltage stands at its output, and more flows than it is rated
    for, d.c.: that rating does not say what it makes for a short time, and one that welds stays closed.
    """
    contact = closing.move.lies.contact
    if contact.current is not None and closing.most > contact.current:
        at = at_contact(closing.move.lies, "current")
        yield closing.hit(at, f"'{closing.move.lies.name}'", "is rated, d.c., for", contact.current, "")
